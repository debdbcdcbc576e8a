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
from auditor.evidence.proportions import Floats, wilson
from auditor.evidence.tolerance_fit import ToleranceFit

NOT_ENOUGH: Final = "not_enough"  # raised together with one of the next three
FEW_KEEPERS: Final = "few_keepers"
FEW_NOT_KEPT: Final = "few_not_kept"
LITTLE_SPREAD: Final = "little_spread"  # hardly a burst sharper, or less sharp, than the tolerance
NO_DISTANCES: Final = "no_distances"  # nothing to fit at all
POOR_FIT: Final = "poor_fit"  # the curve does not go through the rates
CHOSEN_BY_DISTANCE: Final = "chosen_by_distance"  # the tolerance moves when the ceiling may hang on distance
DISTANCES_OF_KEEPERS: Final = (
    "distances_of_keepers"  # known mostly for keepers, and no sample weights say why
)
DISTANCES_OF_NOT_KEPT: Final = "distances_of_not_kept"  # the other way about
LEANS_ON_SPEED: Final = "leans_on_speed"  # slower subjects move it out of its interval
BETWEEN_OUTINGS: Final = "between_outings"  # within sessions hits do not surely fall with blur
LEANS_ON_GUESS: Final = "leans_on_guess_error"  # half or double the guess error moves it out of its interval
FLAGS: Final = (
    NOT_ENOUGH, FEW_KEEPERS, FEW_NOT_KEPT, LITTLE_SPREAD, NO_DISTANCES, POOR_FIT, CHOSEN_BY_DISTANCE,
    DISTANCES_OF_KEEPERS, DISTANCES_OF_NOT_KEPT, LEANS_ON_GUESS, LEANS_ON_SPEED, BETWEEN_OUTINGS,
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


def enough_flags(bursts: BurstBlur, tolerance_mm: float) -> list[str]:
    """Return ``not_enough`` and its reasons; an empty list where there is enough.

    Parameters
    ----------
    bursts : BurstBlur
    tolerance_mm : float
        NaN where nothing could be fitted.
    """
    reasons = []
    if bursts.hit.sum() < FEWEST:
        reasons.append(FEW_KEEPERS)
    if (~bursts.hit).sum() < FEWEST:
        reasons.append(FEW_NOT_KEPT)
    if len(bursts):
        low, high = np.quantile(bursts.blur_mm, [0.1, 0.9])
        side = min((bursts.blur_mm < tolerance_mm).sum(), (bursts.blur_mm > tolerance_mm).sum())
        needed = max(SIDE_SHARE * len(bursts), SIDE_BURSTS)
        if high < LEAST_SPREAD * low or side < needed:
            reasons.append(LITTLE_SPREAD)
    return [NOT_ENOUGH, *reasons] if reasons else []


def expected_rates(bursts: BurstBlur, fit: ToleranceFit) -> Floats:
    """Return each burst's chance of a keeper under the fitted curve, shape (n,)."""
    curve = keep_probability(np.exp(LOG_BLUR), fit.tolerance_mm, fit.steepness, fit.ceiling, fit.floor)
    chance = bursts.shares @ curve
    if np.isnan(fit.growth):
        return np.asarray(chance)
    return np.asarray(-np.expm1(bursts.frames**fit.growth * np.log1p(-chance)))


def calibration(bursts: BurstBlur, expected: Floats, confidence: float) -> pd.DataFrame:
    """Return the hit rate over blur in groups of equal size, beside what the curve expects.

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
    order = np.argsort(bursts.blur_mm, kind="stable")
    rows = []
    for members in np.array_split(order, groups) if groups else []:
        blur, hit = bursts.blur_mm[members], bursts.hit[members]
        low, high = wilson(hit.sum(), hit.size, confidence)
        rows.append(
            (blur[0], blur[-1], np.median(blur), hit.size, int(hit.sum()), hit.mean(), low, high,
             expected[members].mean())
        )  # fmt: skip
    columns = [
        "blur_from_mm", "blur_to_mm", "blur_mm", "bursts", "hits", "hit_rate", "low", "high", "expected",
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=columns)
    return table.assign(falling=falling_rates(table["hit_rate"].to_numpy(), table["bursts"].to_numpy()))


def falling_rates(rates: Floats, weights: Floats) -> Floats:
    """Return the rates nearest to those given that never rise: isotonic regression, shape (n,)."""
    if not len(rates):
        return np.zeros(0)
    return np.asarray(isotonic_regression(rates, weights=weights, increasing=False).x)


def goodness_of_fit(bursts: BurstBlur, expected: Floats, parameters: int = 4) -> float:
    """Return the p-value of the fitted curve: groups of like expectation, Pearson's chi-squared.

    Groups whose expected hits or misses are below 3 are joined with their neighbour. NaN with too few groups.

    References
    ----------
    Hosmer & Lemeshow (1980), Commun. Stat. A 9:1043, with degrees of freedom of groups less parameters.
    """
    order = np.argsort(expected, kind="stable")
    groups: list[list[float]] = []
    for members in np.array_split(order, 2 * GROUPS):
        row = [float(bursts.hit[members].sum()), float(expected[members].sum()), float(members.size)]
        if groups and min(groups[-1][1], groups[-1][2] - groups[-1][1]) < 3:
            groups[-1] = [a + b for a, b in zip(groups[-1], row, strict=True)]
        else:
            groups.append(row)
    if len(groups) <= parameters + 1:
        return float("nan")
    observed, wanted, size = np.array(groups).T
    statistic = ((observed - wanted) ** 2 / np.maximum(wanted * (1 - wanted / size), 1e-9)).sum()
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

    None where sample weights say how the frames with distances were drawn.
    """
    frames = zone_focused(table)
    if frames["sample_weight"].notna().any():
        return None
    known = (frames["subject_distance_m"] > 0).to_numpy()
    kept = is_keeper(frames)
    if not kept.any() or kept.all() or not known.any():
        return None
    of_kept, of_rest = known[kept].mean(), known[~kept].mean()
    if of_kept > KEEPER_RATIO * of_rest:
        return DISTANCES_OF_KEEPERS
    return DISTANCES_OF_NOT_KEPT if of_rest > KEEPER_RATIO * of_kept else None
