"""Whether the sharp zone predicts keepers, and whether its criterion suits this photographer.

Always with a criterion that was not fitted on the same frames: where the zone rests on the measured
tolerance, the check goes back to the handbook's.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import Codes, CountedFrames, is_keeper
from auditor.evidence.proportions import Floats, two_sided_z
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.weighted_shares import Sampled, share_ratio, weighted_shares
from auditor.evidence.weights import SAMPLED_BY, sampled_frames
from auditor.optics.blur import allowance_mm
from auditor.optics.sensors import parse_criterion

TOO_STRICT: Final = "too strict"
ABOUT_RIGHT: Final = "about right"
TOO_GENEROUS: Final = "too generous"
CANNOT_TELL: Final = "cannot tell"
FITTED_CRITERION = "measured"
HANDBOOK = "handbook"
_BESIDE = ("diffraction_mm", "motion_mm")  # what blurs beside defocus
Mask = npt.NDArray[np.bool_]
WIDEST = 3.0  # high over low of the allowance beyond which "about right" would say too much


@dataclass(frozen=True, slots=True)
class ZoneCheck:
    """Frames inside and outside the sharp zone, kept and not kept.

    Counts are of frames with a known subject distance, as they are; rates and ratios are put back to all
    frames (:mod:`auditor.evidence.weighted_shares`), with their intervals.
    """

    criterion: str  # that the check used
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
    times: float  # how many times the share inside is that outside
    times_low: float
    times_high: float
    odds_ratio: float  # of a keeper inside over outside; NaN where one side, or one verdict, is missing
    low: float
    high: float
    kept_outside: float  # share of the keepers that lie outside the zone
    kept_outside_low: float
    kept_outside_high: float
    verdict: str  # on the criterion: one of the four above
    allowance_mm: float  # what the tolerance in use leaves for defocus; NaN where it does not carry
    allowance_low: float
    allowance_high: float
    coc_mm: float  # the criterion in the archive's usual frame


def check_zone(counted: CountedFrames, tolerance: Tolerance) -> ZoneCheck:
    """Hold the zone against the keepers, and its criterion against the tolerance of the same frames.

    Reads ``coc_criterion, coc_mm, sensor_width_mm, sensor_height_mm, defocus_mm, diffraction_mm, motion_mm,
    in_zone``, and what :func:`auditor.evidence.weights.sampled_frames` reads.
    """
    criterion, coc, inside, known = _by_criterion(counted.frames)
    frames = counted.frames.loc[known, [*SAMPLED_BY, *_BESIDE]]
    inside, coc, kept = inside[known], coc[known], counted.kept[known]
    hit, within, sampled = _sides(frames, inside)
    of_kept = weighted_shares(~within, np.where(hit, 0, -1), 1, sampled, tolerance.confidence)
    ratio, low, high = odds_ratio(within, hit, sampled.burst, tolerance.confidence, sampled.weight)
    usual = float(np.median(coc)) if coc.size else math.nan
    allowance = _allowance(frames, tolerance)
    return ZoneCheck(
        criterion=criterion,
        in_kept=int((kept & inside).sum()),
        in_not_kept=int((~kept & inside).sum()),
        out_kept=int((kept & ~inside).sum()),
        out_not_kept=int((~kept & ~inside).sum()),
        **_rates(hit, within, sampled, tolerance.confidence),
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


def rates_in_and_out(frames: pd.DataFrame, inside: Mask, confidence: float) -> dict[str, float]:
    """Return the shares kept inside and outside the zone, put back to all frames, and their ratio.

    Of counted zone-focused frames whose side of the zone is known, ``inside`` of shape (n,); keys ``in_rate``
    to ``times_high`` as in :class:`ZoneCheck`.
    """
    return _rates(*_sides(frames, inside), confidence)


def _sides(frames: pd.DataFrame, inside: Mask) -> tuple[Mask, Mask, Sampled]:
    """Whether each sampled frame was kept, whether it lies inside, and how it was drawn."""
    drawn, sampled = sampled_frames(frames[SAMPLED_BY].assign(_inside=inside))
    return is_keeper(drawn), drawn["_inside"].to_numpy(bool), sampled


def _rates(hit: Mask, within: Mask, sampled: Sampled, confidence: float) -> dict[str, float]:
    shares = weighted_shares(hit, np.where(within, 0, 1), 2, sampled, confidence)
    found = {
        f"{side}_{name}": float(getattr(shares, name)[place])
        for place, side in enumerate(("in", "out"))
        for name in ("rate", "low", "high")
    }
    ratio = share_ratio(hit, within, ~within, sampled, confidence)
    return found | dict(zip(("times", "times_low", "times_high"), ratio, strict=True))


def odds_ratio(
    inside: Mask, kept: Mask, burst: Codes, confidence: float = 0.95, weight: Floats | None = None
) -> tuple[float, float, float]:
    """Return the odds ratio of a keeper inside against outside, with its interval.

    ``inside, kept, burst`` and ``weight`` (frames that each one stands for, else 1) have shape (n,). The
    interval is symmetric in the log; its variance is the robust one of a logistic regression with bursts as
    clusters. Where a cell is empty, half a frame is added to each.

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


def _by_criterion(frames: pd.DataFrame) -> tuple[str, Floats, Mask, Mask]:
    """The criterion to check, its size, which frames lie inside its zone, and for which that is known."""
    names = frames["coc_criterion"].dropna()
    name = str(names.iloc[0]) if len(names) else ""
    if not name.startswith(FITTED_CRITERION):
        inside = frames["in_zone"]
        known = inside.notna().to_numpy()
        return name, frames["coc_mm"].to_numpy(float), inside.fillna(False).to_numpy(bool), known
    diagonal = np.hypot(*(frames[f"sensor_{side}_mm"].to_numpy(float) for side in ("width", "height")))
    coc = np.asarray(parse_criterion(HANDBOOK).coc_mm(diagonal), float)
    defocus = frames["defocus_mm"].to_numpy(float)  # a point at a limit blurs to exactly the criterion
    return HANDBOOK, coc, defocus <= coc, np.isfinite(defocus) & np.isfinite(coc)


def _allowance(frames: pd.DataFrame, tolerance: Tolerance) -> tuple[float, float, float]:
    """What the tolerance and its interval leave for defocus beside the usual diffraction and motion."""
    if not tolerance.carries:
        return math.nan, math.nan, math.nan
    usual = []
    for name in _BESIDE:
        known = frames[name][np.isfinite(frames[name])]
        usual.append(float(known.median()) if len(known) else 0.0)
    eye = tolerance.eye
    left = np.nan_to_num(allowance_mm(np.array([eye.blur_mm, eye.low, eye.high]), *usual))
    return float(left[0]), float(left[1]), float(left[2])
