"""What each f-number brings at its best engraving, and what defocus, motion and diffraction take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.advice.paired import Paired
from auditor.evidence.blur_classes import blur_shares, sets_of_causes, share_loss, sharp_curve
from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects


@dataclass(frozen=True, slots=True)
class Stop:
    """One f-number at its best engraving.

    Attributes
    ----------
    f_number, focus_distance_m : float
    share, low, high : float
        Share of the subjects met that would have been sharp.
    lost_to_defocus, lost_to_motion, lost_to_diffraction : float
        Shares that each takes; with ``share`` they add up to 1.
    median_time_s, median_iso : float
        What the light would have asked for; NaN where unknown.
    tried : bool
        Whether the zone lies where subjects were met.
    """

    f_number: float
    focus_distance_m: float
    share: float
    low: float
    high: float
    lost_to_defocus: float
    lost_to_motion: float
    lost_to_diffraction: float
    median_time_s: float
    median_iso: float
    tried: bool


def best_by_stop(
    paired: Paired,
    subjects: Subjects,
    tolerances: Tolerances,
    answer: LightAnswer,
    speed_m_s: float,
) -> tuple[Stop, ...]:
    """Describe every f-number of a comparison at the engraving that makes most subjects sharp.

    Parameters
    ----------
    paired : Paired
        A view of it: nothing is decided here.
    subjects, tolerances
        Those that it was made from.
    answer : LightAnswer
        The likeliest way in which the light is answered.
    speed_m_s : float
    """
    found = []
    for number in np.unique(paired.f_number):
        rows = np.flatnonzero(paired.f_number == number)
        rows = rows[paired.tried[rows]] if paired.tried[rows].any() else rows
        row = int(rows[paired.share[rows].argmax()])
        times = times_at(subjects, float(number), answer)
        lost = lost_to_causes(
            subjects, tolerances, float(number), float(paired.focus_distance_m[row]), times, speed_m_s
        )
        share = float(paired.share[row])
        # The split is of the median light; the loss it is put on is that of the comparison.
        scale = (1 - share) / max(sum(lost.values()), 1e-9)
        with np.errstate(invalid="ignore"):
            iso = subjects.iso * subjects.exposure_time_s / times * (number / subjects.f_number) ** 2
        found.append(
            Stop(
                f_number=float(number),
                focus_distance_m=float(paired.focus_distance_m[row]),
                share=share,
                low=float(paired.low[row]),
                high=float(paired.high[row]),
                lost_to_defocus=lost["defocus"] * scale,
                lost_to_motion=lost["motion"] * scale,
                lost_to_diffraction=lost["diffraction"] * scale,
                median_time_s=_median(times),
                median_iso=_median(iso),
                tried=bool(paired.tried[row]),
            )
        )
    return tuple(found)


def lost_to_causes(
    subjects: Subjects,
    tolerances: Tolerances,
    f_number: float,
    focus_distance_m: float,
    exposure_time_s: Floats,
    speed_m_s: float,
) -> dict[str, float]:
    """Share the loss of sharp subjects among its causes: the mean over all orders in which they could go.

    Blurs add up as squares and the curve bends, so what one costs hangs on which others are there; the mean
    over all orders is the only fair share that adds up (Shapley 1953, A value for n-person games).
    """
    n = len(subjects)
    curve = sharp_curve(tolerances.log_sharp, tolerances.kappa).mean(axis=1)
    weight = subjects.weight / subjects.weight.sum()
    time = np.where(subjects.flash, np.nan, exposure_time_s)
    sharp = {
        causes: float(
            weight
            @ blur_shares(
                subjects.focal_length_mm,
                np.full(n, f_number),
                np.full(n, focus_distance_m),
                subjects.log_m,
                subjects.log_sd,
                time,
                speed_m_s,
                subjects.handbook_mm,
                causes,
            )
            @ curve
        )
        for causes in sets_of_causes()
    }
    return share_loss(sharp)


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
