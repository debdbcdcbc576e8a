"""What could be wrong with a fitted tolerance: too little to go on, a bad fit, choices that it leans on.

Each doubt is a short flag; the sentences are written elsewhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from scipy.optimize import isotonic_regression
from scipy.special import chdtrc, ndtr

from auditor.evidence.burst_blur import LOG_BLUR, BurstBlur, usable_frames
from auditor.evidence.bursts import is_keeper, zone_focused
from auditor.evidence.keeper_curve import keep_probability
from auditor.evidence.proportions import Floats
from auditor.evidence.tolerance_fit import ToleranceFit
from auditor.evidence.weighted_shares import Sampled, weighted_shares
from auditor.evidence.weights import has_distance, was_drawn

NOT_ENOUGH: Final = "not_enough"  # raised together with one of the next five
FEW_KEEPERS: Final = "few_keepers"
FEW_NOT_KEPT: Final = "few_not_kept"
LITTLE_SPREAD: Final = "little_spread"  # the bursts differ too little in blur
ONE_SIDE: Final = "one_side"  # hardly a burst sharper, or hardly one less sharp, than the tolerance
AT_THE_EDGE: Final = "at_the_edge"  # the fit ran to the end of the tolerances that were tried
NO_DISTANCES: Final = "no_distances"  # nothing to fit at all
POOR_FIT: Final = "poor_fit"  # the curve does not go through the rates
CHOSEN_BY_DISTANCE: Final = "chosen_by_distance"  # the tolerance moves when the ceiling may hang on distance
DISTANCES_OF_KEEPERS: Final = (
    "distances_of_keepers"  # known mostly for keepers, and nothing was drawn by chance
)
DISTANCES_OF_NOT_KEPT: Final = "distances_of_not_kept"  # the other way about
LEANS_ON_SPEED: Final = "leans_on_speed"  # slower subjects move it out of its interval
BETWEEN_OUTINGS: Final = "between_outings"  # within sessions hits do not surely fall with blur
LEANS_ON_GUESS: Final = "leans_on_guess_error"  # half or double the guess error moves it out of its interval
FLAGS: Final = (
    NOT_ENOUGH, FEW_KEEPERS, FEW_NOT_KEPT, LITTLE_SPREAD, ONE_SIDE, AT_THE_EDGE, NO_DISTANCES, POOR_FIT,
    CHOSEN_BY_DISTANCE, DISTANCES_OF_KEEPERS, DISTANCES_OF_NOT_KEPT, LEANS_ON_GUESS, LEANS_ON_SPEED,
    BETWEEN_OUTINGS,
)  # fmt: skip
LOPSIDED: Final = frozenset({DISTANCES_OF_KEEPERS, DISTANCES_OF_NOT_KEPT})
# With one of these, sentences and advice do not rest on the tolerance.
FORBIDDING: Final = LOPSIDED | {NOT_ENOUGH, NO_DISTANCES}

FEWEST = 20  # bursts with a keeper, and without
LEAST_SPREAD = 2.0  # ratio of the 90th to the 10th percentile of the blur
SIDE_SHARE, SIDE_BURSTS = 0.05, 15  # of the bursts, and bursts, that must lie on each side of the tolerance
KEEPER_RATIO = 1.5
POOR_FIT_LEVEL = 0.01
OUTINGS_LEVEL = 0.05
GROUPS = 10


def enough_flags(bursts: BurstBlur, tolerance_mm: float, *, at_edge: bool = False) -> list[str]:
    """Return ``not_enough`` and its reasons; an empty list where there is enough.

    Parameters
    ----------
    bursts : BurstBlur
    tolerance_mm : float
        NaN where nothing could be fitted.
    at_edge : bool
        Whether the fit ran to the end of its grid.
    """
    reasons = []
    if bursts.hit.sum() < FEWEST:
        reasons.append(FEW_KEEPERS)
    if (~bursts.hit).sum() < FEWEST:
        reasons.append(FEW_NOT_KEPT)
    if len(bursts):
        low, high = np.quantile(bursts.blur_mm, [0.1, 0.9])
        if high < LEAST_SPREAD * low:
            reasons.append(LITTLE_SPREAD)
        side = min((bursts.blur_mm < tolerance_mm).sum(), (bursts.blur_mm > tolerance_mm).sum())
        if at_edge:
            reasons.append(AT_THE_EDGE)
        elif np.isfinite(tolerance_mm) and side < max(SIDE_SHARE * len(bursts), SIDE_BURSTS):
            reasons.append(ONE_SIDE)
    return [NOT_ENOUGH, *reasons] if reasons else []


def expected_rates(bursts: BurstBlur, fit: ToleranceFit) -> Floats:
    """Return each burst's chance of a keeper under the fitted curve, shape (n,)."""
    curve = keep_probability(np.exp(LOG_BLUR), fit.tolerance_mm, fit.steepness, fit.ceiling, fit.floor)
    chance = bursts.shares @ curve
    if np.isnan(fit.growth):
        return np.asarray(chance)
    return np.asarray(-np.expm1(bursts.frames**fit.growth * np.log1p(-chance)))


def calibration(bursts: BurstBlur, expected: Floats, confidence: float) -> pd.DataFrame:
    """Return the hit rate over blur in groups of equal size, put back to all bursts, and what is expected.

    Parameters
    ----------
    bursts : BurstBlur
    expected : numpy.ndarray, shape (n,)
        NaN where nothing was fitted.
    confidence : float

    Returns
    -------
    pandas.DataFrame
        ``blur_from_mm, blur_to_mm, blur_mm`` (median), ``bursts, hits, hit_rate, low, high``, ``falling``
        (the best rates that only fall with blur: isotonic regression) and ``expected``.
    """
    groups = int(np.clip(len(bursts) // 15, 1, GROUPS)) if len(bursts) else 0
    parts = np.array_split(np.argsort(bursts.blur_mm, kind="stable"), groups) if groups else []
    place = np.zeros(len(bursts), dtype=np.intp)
    for number, members in enumerate(parts):
        place[members] = number
    # Bursts were drawn by their marks, as far as they were drawn.
    drawn = Sampled(bursts.weight, bursts.hit.astype(np.intp), np.arange(len(bursts)))
    shares = weighted_shares(bursts.hit, place, groups, drawn, confidence)
    return pd.DataFrame(
        {
            "blur_from_mm": [bursts.blur_mm[members].min() for members in parts],
            "blur_to_mm": [bursts.blur_mm[members].max() for members in parts],
            "blur_mm": [np.median(bursts.blur_mm[members]) for members in parts],
            "bursts": [members.size for members in parts],
            "hits": [int(bursts.hit[members].sum()) for members in parts],
            "hit_rate": shares.rate,
            "low": shares.low,
            "high": shares.high,
            "expected": [np.average(expected[m], weights=bursts.weight[m]) for m in parts],
            "falling": falling_rates(shares.rate, shares.stands_for),
        }
    )


def falling_rates(rates: Floats, weights: Floats) -> Floats:
    """Return the rates nearest to those given that never rise: isotonic regression, shape (n,)."""
    if not len(rates):
        return np.zeros(0)
    return np.asarray(isotonic_regression(rates, weights=weights, increasing=False).x)


def goodness_of_fit(bursts: BurstBlur, expected: Floats, parameters: int = 4) -> float:
    """Return the p-value of the fitted curve: groups of like expectation, Pearson's chi-squared.

    Sums are weighted, and each group's variance is that of a draw by marks. Groups whose expected hits or
    misses are below 3 are joined with their neighbour. NaN with too few groups.

    References
    ----------
    Hosmer & Lemeshow (1980), Commun. Stat. A 9:1043, with degrees of freedom of groups less parameters.
    """
    weight = bursts.weight
    of_hits, of_misses = (weight[side].mean() if side.any() else 1.0 for side in (bursts.hit, ~bursts.hit))
    columns = np.stack(
        [
            weight * bursts.hit,
            weight * expected,
            # A burst's part in the variance, given how often hits and misses were drawn.
            weight * expected * (1 - expected) * (of_hits * (1 - expected) + of_misses * expected),
            weight * expected / of_hits,
            weight * (1 - expected) / of_misses,
        ],
        axis=1,
    )
    groups: list[Floats] = []
    for members in np.array_split(np.argsort(expected, kind="stable"), 2 * GROUPS):
        row = columns[members].sum(axis=0)
        if groups and groups[-1][3:].min() < 3:
            groups[-1] = groups[-1] + row
        else:
            groups.append(row)
    if len(groups) <= parameters + 1:
        return float("nan")
    observed, wanted, variance = np.array(groups).T[:3]
    statistic = ((observed - wanted) ** 2 / np.maximum(variance, 1e-9)).sum()
    return float(chdtrc(len(groups) - parameters, statistic))


def falls_within_outings(table: pd.DataFrame) -> float:
    """Return the one-sided p-value of hits falling with blur within sessions.

    A trend test of bursts' hits over their log blur, each session with its own rate: what differs between
    outings has no say. NaN where no session holds both hits and misses.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.

    References
    ----------
    Mantel (1963), J. Am. Stat. Assoc. 58:690 (extension of the stratified test to scores).
    """
    frames = usable_frames(table)
    if not len(frames):
        return float("nan")
    bursts = frames.assign(score=np.log(frames["blur_mm"]), outing=frames["session"].fillna(-1)).groupby(
        "code"
    )
    burst = bursts.agg(score=("score", "median"), hit=("burst_hit", "first"), outing=("outing", "first"))
    own = burst.groupby("outing")
    n = own["hit"].transform("size")
    hit = burst["hit"].astype(float)
    score = burst["score"] - own["score"].transform("mean")
    rate = hit.groupby(burst["outing"]).transform("mean")
    variance = float((score**2 * rate * (1 - rate) * n / (n - 1).clip(lower=1)).sum())
    if variance <= 0:
        return float("nan")
    return float(ndtr((score * (hit - rate)).sum() / np.sqrt(variance)))


def lopsided_distances(table: pd.DataFrame) -> str | None:
    """Return a flag where distances are known for over 1.5 times the share among keepers, or among the rest.

    None where frames were drawn by chance.
    """
    frames = zone_focused(table)
    if was_drawn(frames).any():
        return None
    known = has_distance(frames)
    kept = is_keeper(frames)
    if not kept.any() or kept.all() or not known.any():
        return None
    of_kept, of_rest = known[kept].mean(), known[~kept].mean()
    if of_kept > KEEPER_RATIO * of_rest:
        return DISTANCES_OF_KEEPERS
    return DISTANCES_OF_NOT_KEPT if of_rest > KEEPER_RATIO * of_kept else None
