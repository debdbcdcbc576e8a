"""What each f-number brings at its best engraving, and what defocus, motion and diffraction take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.advice.valued import ValuedSetting
from auditor.evidence.blur_classes import blur_shares, sets_of_causes, share_loss, sharp_curve
from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects


@dataclass(frozen=True, slots=True)
class Stop:
    """One f-number at its best engraving."""

    f_number: float
    focus_distance_m: float
    share: float  # of the subjects met that would have been sharp
    low: float
    high: float
    lost_to_defocus: float  # what each takes; with the share they add up to 1
    lost_to_motion: float
    lost_to_diffraction: float
    median_time_s: float  # what the light would have asked for; NaN where unknown
    median_iso: float
    tried: bool  # whether the zone lies where subjects were met


def best_by_stop(
    settings: Sequence[ValuedSetting],
    subjects: Subjects,
    tolerances: Tolerances,
    answer: LightAnswer,
    speed_m_s: float,
) -> tuple[Stop, ...]:
    """Describe every f-number at the engraving that makes most subjects sharp; nothing is decided here.

    ``settings`` are those valued for these subjects and tolerances, the best first, with the likeliest
    ``answer`` to the light.
    """
    best: dict[float, ValuedSetting] = {}
    for one in settings:
        best.setdefault(one.f_number, one)
    found = []
    for number, one in sorted(best.items()):
        times = times_at(subjects, number, answer)
        lost = lost_to_causes(subjects, tolerances, number, one.focus_distance_m, times, speed_m_s)
        # The split is of the median light; the loss it is put on is that of the comparison.
        scale = (1 - one.share_sharp) / max(sum(lost.values()), 1e-9)
        found.append(
            Stop(
                f_number=number,
                focus_distance_m=one.focus_distance_m,
                share=one.share_sharp,
                low=one.sharp_low,
                high=one.sharp_high,
                **{f"lost_to_{cause}": part * scale for cause, part in lost.items()},
                median_time_s=one.median_shutter_s,
                median_iso=one.median_iso,
                tried=one.within_experience,
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
    """Share the loss of sharp subjects among its causes."""
    n = len(subjects)
    curve = sharp_curve(tolerances.log_sharp, tolerances.kappa).mean(axis=1)
    weight = subjects.weight / subjects.weight.sum()
    time = np.where(subjects.flash, np.nan, exposure_time_s)
    number, ring = np.full(n, f_number), np.full(n, focus_distance_m)
    setting = (subjects.focal_length_mm, number, ring, subjects.log_m, subjects.log_sd, time)
    return share_loss(
        {
            causes: float(weight @ blur_shares(*setting, speed_m_s, subjects.handbook_mm, causes) @ curve)
            for causes in sets_of_causes()
        }
    )
