"""Shares, counts and quantiles with their intervals: scalars or arrays in, the same shape out.

Where nothing was counted the answer is NaN, never 0.
"""

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammainccinv, gammaincinv, ndtri, stdtrit

Floats: TypeAlias = npt.NDArray[np.float64]
Interval: TypeAlias = tuple[Any, Any]  # low and high: floats for scalar input, arrays for arrays

# Few bursts can look more even than chance by luck, so a design effect below 1 needs this many of them.
BURSTS_TO_TRUST_EVENNESS = 10
SMALLEST_DESIGN_EFFECT = 0.1


def two_sided_z(confidence: float) -> float:
    """Return the standard normal quantile of a two-sided level; ValueError unless it is between 0 and 1."""
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    return float(ndtri(0.5 + confidence / 2))


def _like_input(values: npt.ArrayLike) -> Any:
    array = np.asarray(values, float)
    return array.item() if array.ndim == 0 else array


def wilson(hits: npt.ArrayLike, n: npt.ArrayLike, confidence: float = 0.95) -> Interval:
    """Return Wilson's score interval of a proportion, NaN where n is 0 or unknown.

    The limits are the proportions p at which (hits/n - p)² = z² p(1-p)/n. Hits and trials are broadcast
    together, 0 <= hits <= n; fractions are allowed (effective sizes).

    Wilson (1927), J. Am. Stat. Assoc. 22:209; recommended for small n by Brown, Cai & DasGupta (2001).

    >>> low, high = wilson(15, 148)
    >>> round(low, 4), round(high, 4)
    (0.0624, 0.1605)
    """
    z = two_sided_z(confidence)
    x, size = np.broadcast_arrays(np.asarray(hits, float), np.asarray(n, float))
    size = np.where(size > 0, size, np.nan)
    share = x / size
    centre = share + z**2 / (2 * size)
    half = z * np.sqrt(np.clip(share * (1 - share), 0, None) / size + z**2 / (4 * size**2))
    scale = 1 + z**2 / size
    low = np.where(share <= 0, share, (centre - half) / scale)
    high = np.where(share >= 1, share, (centre + half) / scale)
    return _like_input(low), _like_input(high)


def clustered_intervals(
    keepers: npt.ArrayLike,
    frames: npt.ArrayLike,
    group: npt.ArrayLike,
    n_groups: int,
    confidence: float = 0.95,
) -> tuple[Floats, Floats]:
    """Return the interval of the frame rate of each group, allowing for frames of a burst being alike.

    Keepers and frames of each burst, and its group (0..n_groups-1), have shape (bursts,); a burst whose
    frames lie in two groups is given once per group. Limits have shape (n_groups,), NaN without frames.

    Wilson's interval at the effective sample size n/D: D is the design effect, the variance of the ratio
    estimate over bursts against that of independent frames, and n/D is reduced once more by (z/t)² for the
    few bursts from which D was learned, unequal ones counted at Kish's effective number (Σm)²/Σm². D may be
    below 1, where photographers keep one frame of each burst. Without a keeper, or with keepers only, D is
    unknown: every burst then counts as one trial.

    Rao & Scott (1992), Biometrics 48:577 (design effect of a ratio); Korn & Graubard (1998), Surv. Methodol.
    24:193 (effective size with the t correction); Dean & Pagano (2015), J. Surv. Stat. Methodol. 3:484
    (Wilson's interval at that size); Kish (1965), Survey Sampling, section 11.7.
    """
    x, m = np.asarray(keepers, float), np.asarray(frames, float)
    codes = np.asarray(group, dtype=np.intp)

    def total(values: Floats) -> Floats:
        return np.bincount(codes, values, minlength=n_groups).astype(float)

    bursts, n, hits = total(np.ones_like(m)), total(m), total(x)
    size = np.where(n > 0, n, np.nan)
    share = hits / size
    residual = x - share[codes] * m
    spread = total(residual**2)
    several = np.maximum(bursts - 1, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        effect = bursts / several * spread / (share * (1 - share) * size)
    smallest = np.where(bursts >= BURSTS_TO_TRUST_EVENNESS, SMALLEST_DESIGN_EFFECT, 1.0)
    known = (hits > 0) & (hits < n) & (bursts > 1)
    effect = np.where(known, np.maximum(effect, smallest), size / np.maximum(bursts, 1))
    z = two_sided_z(confidence)
    # Few large bursts among many small ones are worth as little as few bursts.
    alike = n**2 / np.maximum(total(m**2), 1)
    shrink = (z / stdtrit(np.maximum(alike - 1, 1), 0.5 + confidence / 2)) ** 2
    effective = size / effect * np.where(known, shrink, 1.0)
    low, high = wilson(share * effective, effective, confidence)
    return np.asarray(low), np.asarray(high)


def clustered_counts(
    keepers: npt.ArrayLike, group: npt.ArrayLike, n_groups: int, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Return the interval of the number of keepers to be expected of each group, where they come in bursts.

    Keepers of each burst and its group have shape (bursts,), limits (n_groups,). Bursts are taken to come by
    chance, each with its own number of keepers: the gamma interval of a weighted
    sum of Poisson counts. With one keeper a burst it is the exact interval of a Poisson count.

    Fay & Feuer (1997), Stat. Med. 16:791; Garwood (1936), Biometrika 28:437 (weights of one).
    """
    x, codes = np.asarray(keepers, float), np.asarray(group, dtype=np.intp)
    total = np.bincount(codes, x, minlength=n_groups).astype(float)
    variance = np.bincount(codes, x**2, minlength=n_groups).astype(float)
    most = np.ones(n_groups)
    np.maximum.at(most, codes, x)
    tail = (1 - confidence) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        low = variance / total * gammaincinv(total**2 / variance, tail)
    upper, spread = total + most, variance + most**2
    high = spread / upper * gammainccinv(upper**2 / spread, tail)
    return np.where(total > 0, low, 0.0), high


def weighted_quantile_interval(
    values: npt.ArrayLike, weights: npt.ArrayLike, share: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Return the interval of a quantile: where the weighted distribution meets the limits of its share.

    Values and weights (0 or more, not all 0) have shape (n,); ``share`` of the values lies below.

    Woodruff (1952), J. Am. Stat. Assoc. 47:635; Wilson's interval for the share, at Kish's effective size
    (Survey Sampling, 1965, section 11.7).
    """
    x, w = np.asarray(values, float), np.asarray(weights, float)
    n = w.sum() ** 2 / (w**2).sum()
    low, high = wilson(share * n, n, confidence)
    limits = np.quantile(x, [low, high], weights=w, method="inverted_cdf")
    return float(limits[0]), float(limits[1])


def benjamini_hochberg(p_values: npt.ArrayLike) -> Floats:
    """Return p-values adjusted so that the expected share of false claims stays under the level, shape (n,).

    NaN where no test was made; such places stay NaN and do not count (Benjamini & Hochberg 1995, J. R. Stat.
    Soc. B 57:289).
    """
    from scipy.stats import false_discovery_control  # scipy.stats is slow to import

    p = np.asarray(p_values, float)
    adjusted = np.full(p.shape, np.nan)
    known = ~np.isnan(p)
    if known.any():
        adjusted[known] = false_discovery_control(p[known])
    return adjusted
