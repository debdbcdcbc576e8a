"""Differences of two rates within strata, and how many bursts would show one.

Two settings are compared only where both were used, stratum by stratum; the differences are averaged.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import erfc, stdtr, stdtrit

from auditor.evidence.proportions import Floats, two_sided_z


@dataclass(frozen=True, slots=True)
class PooledDifference:
    """A difference of two rates, a minus b, in shares (0.05: five points); NaN where no stratum has both."""

    difference: float
    low: float
    high: float
    p_value: float  # two-sided, of no difference in any stratum; NaN where it cannot be tested


NOTHING = PooledDifference(math.nan, math.nan, math.nan, math.nan)


def difference_by_runs(
    hits: npt.ArrayLike,
    n: npt.ArrayLike,
    is_a: npt.ArrayLike,
    outing: npt.ArrayLike,
    confidence: float = 0.95,
) -> PooledDifference:
    """Return the difference within outings where each run of a setting counts as one observation.

    Hits, trials, ``is_a`` (a run of setting a, else of b) and outing have shape (runs,). Places and moments
    differ from one run of a setting to the next, so the trials of a run are alike. Weighted least squares of
    the runs' rates with a level for each outing; the variance is that of clusters, a run each, with Student's
    t. NaN where there are not more runs than outings and one: then place and setting cannot be separated.

    Liang & Zeger (1986), Biometrika 73:13 (variance); MacKinnon & White (1985), J. Econometrics 29:305 (its
    correction for few observations).
    """
    a = np.asarray(is_a, bool)
    _, place = np.unique(np.asarray(outing), return_inverse=True)
    both = (np.bincount(place, a) > 0) & (np.bincount(place, ~a) > 0)
    used = both[place]
    if not used.any():
        return NOTHING
    a, size, rate = a[used].astype(float), np.asarray(n, float)[used], np.asarray(hits, float)[used]
    rate = rate / size
    _, place = np.unique(place[used], return_inverse=True)
    free = len(a) - (int(place.max()) + 1) - 1
    if free < 1:
        return NOTHING

    def centred(values: Floats) -> Floats:
        return np.asarray(
            values - (np.bincount(place, size * values) / np.bincount(place, size))[place], dtype=float
        )

    own, rates = centred(a), centred(rate)
    information = float((size * own**2).sum())
    difference = float((size * own * rates).sum() / information)
    score = size * own * (rates - difference * own)
    error = math.sqrt(float((score**2).sum()) * len(a) / free) / information
    half = float(stdtrit(free, 0.5 + confidence / 2)) * error
    p_value = float(2 * stdtr(free, -abs(difference) / error)) if error > 0 else float(difference == 0)
    return PooledDifference(difference, difference - half, difference + half, p_value)


def stratified_difference(
    hits_a: npt.ArrayLike,
    n_a: npt.ArrayLike,
    hits_b: npt.ArrayLike,
    n_b: npt.ArrayLike,
    confidence: float = 0.95,
) -> PooledDifference:
    """Return the Mantel-Haenszel risk difference of independent trials, strata of any size.

    Hits and trials of both settings have shape (strata,); strata that lack one of them say nothing. Variance
    after Sato, sound for few large and for many small strata; test after Cochran, Mantel and Haenszel with
    continuity correction, which keeps false claims below the level where strata are small.

    Greenland & Robins (1985), Biometrics 41:55; Sato (1989), Biometrics 45:1323; Mantel & Haenszel (1959),
    J. Natl. Cancer Inst. 22:719.
    """
    x, n, y, m = (np.asarray(values, float) for values in (hits_a, n_a, hits_b, n_b))
    both = (n > 0) & (m > 0)
    x, n, y, m = x[both], n[both], y[both], m[both]
    if not both.any():
        return NOTHING
    total = n + m
    weight = float((n * m / total).sum())
    difference = float(((x * m - y * n) / total).sum() / weight)
    p = float(((n**2 * y - m**2 * x + n * m * (m - n) / 2) / total**2).sum())
    q = float(((x * (m - y) + y * (n - x)) / (2 * total)).sum())
    half = two_sided_z(confidence) * math.sqrt(max(difference * p + q, 0.0)) / weight
    hits = x + y
    expected = hits * n / total
    variance = float((n * m * hits * (total - hits) / (total**2 * (total - 1))).sum())
    beyond = max(abs(float((x - expected).sum())) - 0.5, 0.0)
    score = beyond / math.sqrt(variance) if variance > 0 else math.nan
    p_value = float(erfc(score / math.sqrt(2)))
    return PooledDifference(difference, difference - half, difference + half, p_value)


def bursts_to_show(rate: float, points: float, level: float = 0.05, power: float = 0.8) -> float:
    """Return how many bursts of each of two settings show a difference with the chance ``power``.

    Of a common hit ``rate`` (0 to 1) and a true difference of so many percentage ``points``, at a two-sided
    level.

    Fleiss (1981), Statistical Methods for Rates and Proportions, 2nd ed., eq. 3.14 (without continuity
    correction).

    >>> round(bursts_to_show(0.3, 10))
    328
    """
    gap = points / 100
    middle = min(max(rate, gap / 2), 1 - gap / 2)
    a, b = middle + gap / 2, middle - gap / 2
    z_level, z_power = two_sided_z(1 - level), two_sided_z(2 * power - 1)
    root = z_level * math.sqrt(2 * middle * (1 - middle)) + z_power * math.sqrt(a * (1 - a) + b * (1 - b))
    return (root / gap) ** 2
