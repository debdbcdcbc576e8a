"""Whether the sharp zone predicts keepers, and whether its criterion suits this photographer.

Always with a criterion that was not fitted on the same frames: where the zone rests on the measured
tolerance, the check goes back to the handbook's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import is_keeper, zone_focused
from auditor.evidence.proportions import Floats, two_sided_z
from auditor.evidence.tolerance import Tolerance, defocus_allowance_mm
from auditor.evidence.weighted_shares import share_ratio, weighted_shares
from auditor.evidence.weights import sampled_frames
from auditor.optics.sensors import parse_criterion

TOO_STRICT: Final = "too strict"
ABOUT_RIGHT: Final = "about right"
TOO_GENEROUS: Final = "too generous"
CANNOT_TELL: Final = "cannot tell"
FITTED_CRITERION = "measured"
HANDBOOK = "handbook"
WIDEST = 3.0  # high over low of the allowance beyond which "about right" would say too much


@dataclass(frozen=True, slots=True)
class ZoneCheck:
    """Frames inside and outside the sharp zone, kept and not kept.

    Attributes
    ----------
    criterion : str
        The criterion that the check used.
    in_kept, in_not_kept, out_kept, out_not_kept : int
        Counted zone-focused frames with a known subject distance, as they are.
    in_rate, in_low, in_high, out_rate, out_low, out_high : float
        Share kept inside and outside, put back to all frames (:mod:`auditor.evidence.weighted_shares`).
    times, times_low, times_high : float
        How many times the share inside is that outside.
    odds_ratio, low, high : float
        Odds of a keeper inside over outside, put back to all frames, with an interval that allows for frames
        of a burst being alike; half a frame is added to each cell where one is empty. NaN where one side, or
        one verdict, is missing.
    kept_outside, kept_outside_low, kept_outside_high : float
        Share of the keepers that lie outside the zone, put back to all.
    verdict : str
        On the criterion: ``too strict``, ``about right``, ``too generous`` or ``cannot tell``.
    allowance_mm, allowance_low, allowance_high : float
        What the keeper tolerance leaves for defocus, which the verdict holds against the criterion; NaN where
        the tolerance does not carry, 0 where motion and diffraction use it up.
    coc_mm : float
        The criterion in the archive's usual frame.
    """

    criterion: str
    in_kept: int
    in_not_kept: int
    out_kept: int
    out_not_kept: int
    in_rate: float
    in_low: float
    in_high: float
    out_rate: float
    out_low: float
    out_high: float
    times: float
    times_low: float
    times_high: float
    odds_ratio: float
    low: float
    high: float
    kept_outside: float
    kept_outside_low: float
    kept_outside_high: float
    verdict: str
    allowance_mm: float
    allowance_low: float
    allowance_high: float
    coc_mm: float


def check_zone(table: pd.DataFrame, tolerance: Tolerance) -> ZoneCheck:
    """Hold the zone against the keepers, and its criterion against the keeper tolerance.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    tolerance : Tolerance
        Fitted on the same table; its ``confidence`` is the level of all intervals.
    """
    frames = zone_focused(table)
    criterion, coc = _criterion_of(frames)
    inside, known = _inside(frames, criterion, coc)
    frames, inside, coc_known = frames[known].reset_index(drop=True), inside[known], coc[known]
    kept = is_keeper(frames)
    out_kept = int((kept & ~inside).sum())
    drawn, sampled = sampled_frames(frames.assign(_inside=inside))
    hit, within = is_keeper(drawn), drawn["_inside"].to_numpy(bool)
    of_kept = weighted_shares(~within, np.where(hit, 0, -1), 1, sampled, tolerance.confidence)
    ratio, low, high = odds_ratio(within, hit, sampled.burst, tolerance.confidence, sampled.weight)
    usual = float(np.median(coc_known)) if coc_known.size else math.nan
    allowance = _allowance(frames, tolerance)
    return ZoneCheck(
        criterion=criterion,
        in_kept=int((kept & inside).sum()),
        in_not_kept=int((~kept & inside).sum()),
        out_kept=out_kept,
        out_not_kept=int((~kept & ~inside).sum()),
        **rates_in_and_out(frames, inside, tolerance.confidence),
        odds_ratio=ratio,
        low=low,
        high=high,
        kept_outside=float(of_kept.rate[0]),
        kept_outside_low=float(of_kept.low[0]),
        kept_outside_high=float(of_kept.high[0]),
        verdict=verdict_on(usual, *allowance),
        allowance_mm=allowance[0],
        allowance_low=allowance[1],
        allowance_high=allowance[2],
        coc_mm=usual,
    )


def rates_in_and_out(
    frames: pd.DataFrame, inside: npt.NDArray[np.bool_], confidence: float
) -> dict[str, float]:
    """Return the shares kept inside and outside the zone, put back to all frames, and their ratio.

    Parameters
    ----------
    frames : pandas.DataFrame
        Counted zone-focused frames whose side of the zone is known.
    inside : numpy.ndarray of bool, shape (n,)
    confidence : float

    Returns
    -------
    dict of str to float
        ``in_rate, in_low, in_high, out_rate, out_low, out_high, times, times_low, times_high``, as in
        :class:`ZoneCheck`.
    """
    drawn, sampled = sampled_frames(frames.assign(_inside=inside))
    hit, within = is_keeper(drawn), drawn["_inside"].to_numpy(bool)
    shares = weighted_shares(hit, np.where(within, 0, 1), 2, sampled, confidence)
    found = {
        f"{side}_{name}": float(getattr(shares, name)[place])
        for place, side in enumerate(("in", "out"))
        for name in ("rate", "low", "high")
    }
    ratio = share_ratio(hit, within, ~within, sampled, confidence)
    return found | dict(zip(("times", "times_low", "times_high"), ratio, strict=True))


def odds_ratio(
    inside: npt.NDArray[np.bool_],
    kept: npt.NDArray[np.bool_],
    burst: npt.NDArray[np.intp],
    confidence: float = 0.95,
    weight: Floats | None = None,
) -> tuple[float, float, float]:
    """Return the odds ratio of a keeper inside against outside, with its interval.

    The interval is symmetric in the log; its variance is the robust one of a logistic regression with bursts
    as clusters. Where a cell is empty, half a frame is added to each.

    Parameters
    ----------
    inside, kept : numpy.ndarray of bool, shape (n,)
    burst : numpy.ndarray of int, shape (n,)
        Burst of each frame, numbered from 0.
    confidence : float
    weight : numpy.ndarray, shape (n,), optional
        Frames that each one stands for; 1 where none are given.

    References
    ----------
    Liang & Zeger (1986), Biometrika 73:13 (clusters); Haldane (1956), Ann. Hum. Genet. 20:309 (empty cells).
    """
    if not inside.any() or inside.all() or not kept.any() or kept.all():
        return math.nan, math.nan, math.nan
    own = np.ones(kept.size) if weight is None else weight / weight.mean()
    cells = np.array([[own[a & b].sum() for b in (kept, ~kept)] for a in (inside, ~inside)])
    if (cells == 0).any():
        cells += 0.5
    n = cells.sum(axis=1)
    rate = cells[:, 0] / n
    side = np.where(inside, 0, 1)
    sign = np.where(inside, 1.0, -1.0)
    influence = own * sign * (kept - rate[side]) / (n * rate * (1 - rate))[side]
    sums = np.bincount(burst, influence)
    bursts = np.unique(burst).size
    variance = float((sums**2).sum()) * bursts / max(bursts - 1, 1)
    log_ratio = math.log(cells[0, 0] * cells[1, 1] / (cells[0, 1] * cells[1, 0]))
    half = two_sided_z(confidence) * math.sqrt(variance)
    return math.exp(log_ratio), math.exp(log_ratio - half), math.exp(log_ratio + half)


def verdict_on(coc_mm: float, allowance: float, low: float, high: float) -> str:
    """Judge a criterion by the interval of what the tolerance leaves for defocus.

    Examples
    --------
    >>> verdict_on(0.030, 0.050, 0.041, 0.062), verdict_on(0.030, 0.033, 0.025, 0.042)
    ('too strict', 'about right')
    """
    if math.isnan(coc_mm) or math.isnan(allowance):
        return CANNOT_TELL
    if low > coc_mm:
        return TOO_STRICT
    if high < coc_mm:
        return TOO_GENEROUS
    return ABOUT_RIGHT if high < WIDEST * low else CANNOT_TELL


def _criterion_of(frames: pd.DataFrame) -> tuple[str, npt.NDArray[np.float64]]:
    names = frames["coc_criterion"].dropna()
    name = str(names.iloc[0]) if len(names) else ""
    coc = frames["coc_mm"].to_numpy(float)
    if not name.startswith(FITTED_CRITERION):
        return name, coc
    diagonal = np.hypot(*(frames[f"sensor_{side}_mm"].to_numpy(float) for side in ("width", "height")))
    return HANDBOOK, np.asarray(parse_criterion(HANDBOOK).coc_mm(diagonal), float)


def _inside(
    frames: pd.DataFrame, criterion: str, coc: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return which frames lie inside the zone of the criterion, and for which that is known."""
    names = frames["coc_criterion"].fillna("").to_numpy(object)
    if len(names) and str(names[0]).startswith(FITTED_CRITERION) and criterion == HANDBOOK:
        defocus = frames["defocus_mm"].to_numpy(float)  # a point at a limit blurs to exactly the criterion
        return defocus <= coc, np.isfinite(defocus) & np.isfinite(coc)
    inside = frames["in_zone"]
    return inside.fillna(False).to_numpy(bool), inside.notna().to_numpy()


def _allowance(frames: pd.DataFrame, tolerance: Tolerance) -> tuple[float, float, float]:
    if not tolerance.carries:
        return math.nan, math.nan, math.nan
    diffraction, motion = frames["diffraction_mm"].to_numpy(float), frames["motion_mm"].to_numpy(float)
    known = diffraction[np.isfinite(diffraction)]
    usual = float(np.median(known)) if known.size else 0.0
    left = [
        float(defocus_allowance_mm(mm, usual, motion))
        for mm in (tolerance.eye.blur_mm, tolerance.eye.low, tolerance.eye.high)
    ]
    middle, low, high = (0.0 if math.isnan(value) else value for value in left)
    return middle, low, high
