"""Shares of a drawn sample put back to all frames, with their intervals.

The frames with a distance are a sample stratified by preset and mark; a frame's weight says for how many it
stands. A share is Hajek's ratio of weighted sums over a domain (a distance band, the inside of the zone).
Its variance has two parts: that of the draw, and that of the frames, which are themselves a draw of what
might have come before the lens.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.evidence.bursts import Codes
from auditor.evidence.proportions import (
    BURSTS_TO_TRUST_EVENNESS,
    SMALLEST_DESIGN_EFFECT,
    Floats,
    two_sided_z,
    wilson,
)


@dataclass(frozen=True, slots=True)
class Sampled:
    """The frames with a distance, n of them; arrays of shape (n,)."""

    weight: Floats  # frames that each one stands for, above 0
    stratum: Codes  # it was drawn from, 0 and up
    burst: Codes  # it belongs to, 0 and up

    def chosen(self, rows: Codes) -> "Sampled":
        """Return some of them."""
        return Sampled(self.weight[rows], self.stratum[rows], self.burst[rows])


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of d domains; arrays of shape (d,), NaN for a domain without a frame."""

    rate: Floats
    low: Floats
    high: Floats
    variance: Floats
    stands_for: Floats  # frames of the archive that the domain's sampled frames stand for


def ratio_variance(residual: Floats, total: Floats, domain: Codes, sampled: Sampled) -> Floats:
    """Return the variance of ratios over a stratified draw without replacement, shape (d,).

    Taylor linearisation: for domain d with ratio R the variable of a sampled frame is w (y - R x) / X,
    summed by stratum with the factor (1 - n/N) n/(n - 1). A stratum with one sampled frame of several is
    centred at 0.

    ``residual``, y - R x of each frame in its own domain, and ``domain`` (-1 for none) have shape (n,);
    ``total``, X: the weighted sum of x over each domain, shape (d,).

    Woodruff (1971), J. Am. Stat. Assoc. 66:411; Särndal, Swensson & Wretman (1992), Model Assisted Survey
    Sampling, sections 5.5, 5.6 and 5.8 (ratios, domains).
    """
    strata = int(sampled.stratum.max(initial=-1)) + 1
    n = np.bincount(sampled.stratum, minlength=strata).astype(float)
    stands_for = np.bincount(sampled.stratum, sampled.weight, minlength=strata)
    inside = domain >= 0
    own = sampled.weight[inside] * residual[inside] / total[domain[inside]]
    cell, place = np.unique(domain[inside] * max(strata, 1) + sampled.stratum[inside], return_inverse=True)
    sums, squares = np.bincount(place, own), np.bincount(place, own**2)
    stratum = cell % max(strata, 1)
    size = n[stratum]
    left = np.clip(1 - size / np.maximum(stands_for[stratum], size), 0.0, 1.0)
    scatter = np.where(size > 1, size / np.maximum(size - 1, 1) * (squares - sums**2 / size), squares)
    return np.bincount(cell // max(strata, 1), left * scatter, minlength=total.size).astype(float)


def weighted_shares(
    hit: npt.ArrayLike, domain: npt.ArrayLike, domains: int, sampled: Sampled, confidence: float = 0.95
) -> Shares:
    """Return the share of hits in each domain, with Wilson's interval at the effective number R(1 - R)/V.

    V is the variance of the draw (:func:`ratio_variance`) plus D R(1 - R)/N: N frames of the archive lie in
    the domain, and D is the design effect of frames of a burst being alike, 1 where hardly a burst was drawn
    twice. Where R is 0 or 1 the effective number is the smaller of N and Kish's (sum w)²/sum w², bursts
    summed.

    ``hit`` and ``domain`` of each sampled frame (0..domains-1, -1 for none) have shape (n,).

    Hájek (1971), in Foundations of Statistical Inference, 236; Kish (1965), Survey Sampling, section 11.7;
    Dean & Pagano (2015), J. Surv. Stat. Methodol. 3:484 (Wilson's interval at an effective size).

    Sixty frames of a thousand: 30 of 50 keepers were drawn, 20 of them inside, and 30 of 950 others.

    >>> kept = np.repeat([True, False], 30)
    >>> drawn = Sampled(np.where(kept, 50 / 30, 950 / 30), (~kept).astype(int), np.arange(60))
    >>> inside = np.r_[np.repeat([0, -1], [20, 10]), np.repeat([0, -1], [12, 18])]
    >>> shares = weighted_shares(kept, inside, 1, drawn)
    >>> shares.rate.round(3).tolist(), shares.low.round(3).tolist(), shares.high.round(3).tolist()
    ([0.081], [0.047], [0.135])
    """
    y, code = np.asarray(hit, float), np.asarray(domain, dtype=np.intp)
    inside = code >= 0
    own, weight = code[inside], sampled.weight[inside]
    total = np.bincount(own, weight, minlength=domains).astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.bincount(own, weight * y[inside], minlength=domains) / total
    residual = np.where(inside, y - rate[np.where(inside, code, 0)], 0.0) if domains else np.zeros_like(y)
    draw = ratio_variance(residual, total, code, sampled)
    effect, kish = _alike(weight * residual[inside], weight, own, sampled.burst[inside], domains)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = draw + effect * rate * (1 - rate) / total
        effective = np.where((rate > 0) & (rate < 1), rate * (1 - rate) / variance, np.minimum(total, kish))
    low, high = wilson(np.clip(rate, 0, 1) * effective, effective, confidence)
    return Shares(rate, np.asarray(low), np.asarray(high), variance, total)


def share_ratio(
    hit: npt.ArrayLike,
    first: npt.ArrayLike,
    second: npt.ArrayLike,
    sampled: Sampled,
    confidence: float = 0.95,
) -> tuple[float, float, float]:
    """Return how many times the share of hits in one domain is that in another, with its interval.

    ``hit, first, second`` (members of the two domains, which may overlap) have shape (n,). The interval is
    symmetric in the log, its variance linearised as that of the shares. NaN where a domain has no frame or
    the second no hit; the interval is NaN where the first has none.
    """
    y, one, two = (np.asarray(values, float) for values in (hit, first, second))
    weight, nan = sampled.weight, float("nan")
    size = [float(weight @ part) for part in (one, two)]
    if min(size) <= 0:
        return nan, nan, nan
    rate = [float(weight @ (part * y)) / n for part, n in zip((one, two), size, strict=True)]
    if rate[1] <= 0 or rate[0] <= 0:
        return (nan if rate[1] <= 0 else 0.0), nan, nan
    influence = one * (y - rate[0]) / (size[0] * rate[0]) - two * (y - rate[1]) / (size[1] * rate[1])
    whole = np.zeros(y.size, dtype=np.intp)
    draw = float(ratio_variance(influence, np.ones(1), whole, sampled)[0])
    effect, _ = _alike(weight * influence, weight, whole, sampled.burst, 1)
    own = float(weight @ influence**2)
    half = two_sided_z(confidence) * np.sqrt(draw + float(effect[0]) * own)
    times = rate[0] / rate[1]
    return times, float(times * np.exp(-half)), float(times * np.exp(half))


def _alike(
    influence: Floats, weight: Floats, domain: Codes, burst: Codes, domains: int
) -> tuple[Floats, Floats]:
    """Design effect of bursts, and Kish's effective number of them, for each domain, shape (d,)."""
    pair, place = np.unique(domain * (int(burst.max(initial=0)) + 1) + burst, return_inverse=True)
    of = pair // (int(burst.max(initial=0)) + 1)
    bursts = np.bincount(of, minlength=domains)
    by_burst = np.bincount(of, np.bincount(place, influence) ** 2, minlength=domains)
    by_frame = np.bincount(domain, influence**2, minlength=domains)
    with np.errstate(divide="ignore", invalid="ignore"):
        effect = np.where(by_frame > 0, bursts / np.maximum(bursts - 1, 1) * by_burst / by_frame, 1.0)
        kish = np.bincount(domain, weight, minlength=domains) ** 2 / np.bincount(
            of, np.bincount(place, weight) ** 2, minlength=domains
        )
    alone = np.bincount(domain, minlength=domains) == bursts  # nothing can be alike
    effect = np.where(alone, 1.0, effect)
    least = np.where(bursts >= BURSTS_TO_TRUST_EVENNESS, SMALLEST_DESIGN_EFFECT, 1.0)
    return np.maximum(effect, least), kish
