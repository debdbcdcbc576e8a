"""The settings that may be advised with what each should bring, best first, and each f-number at its best.

Nothing is decided here; every number is that of the comparison and of the level of the lens.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.advice.paired import Paired
from auditor.evidence.blur_classes import blur_shares, sets_of_causes, share_loss, sharp_curve
from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.level import Level
from auditor.evidence.proportions import Floats, two_sided_z
from auditor.evidence.subjects import Subjects
from auditor.optics.lens import sharp_zone


@dataclass(frozen=True, slots=True)
class ValuedSetting:
    """One setting of ring and stop."""

    f_number: float
    focus_distance_m: float
    near_limit_m: float  # of its sharp zone by the criterion of the frames, from the sensor plane
    far_limit_m: float
    share_sharp: float  # of the subjects met that would have been sharp
    sharp_low: float
    sharp_high: float
    expected_hit_rate: float  # share of presses that should hold a keeper; NaN where nothing was counted
    low: float
    high: float
    median_shutter_s: float  # what the light asked for; NaN where unknown
    median_iso: float
    within_experience: bool  # whether its zone lies where subjects were met


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


def value_settings(
    paired: Paired,
    kept: Paired,
    level: Level,
    subjects: Subjects,
    answer: LightAnswer,
    coc_mm: float,
    confidence: float,
) -> tuple[ValuedSetting, ...]:
    """Value every setting of a comparison, the best first; those not tried there come last.

    ``paired`` and ``kept`` are the shares sharp, and kept up to the common level, of the same settings and
    subjects; ``level`` is what is kept now, ``answer`` the likeliest to the light, ``coc_mm`` the criterion
    of the sharp zone.
    """
    focal = float(np.median(subjects.focal_length_mm))
    shift_mm = np.median(subjects.shift_mm)
    zone = sharp_zone(focal, paired.f_number, paired.focus_distance_m, coc_mm, shift_mm=shift_mm)
    rate, low, high = _hit_rates(kept, level, confidence)
    exposure = {}
    for number in np.unique(paired.f_number).tolist():
        times = times_at(subjects, number, answer)
        with np.errstate(invalid="ignore"):
            iso = subjects.iso * subjects.exposure_time_s / times * (number / subjects.f_number) ** 2
        exposure[number] = _median(times), _median(iso)
    return tuple(
        ValuedSetting(
            f_number=float(paired.f_number[row]),
            focus_distance_m=float(paired.focus_distance_m[row]),
            near_limit_m=float(zone.near_limit_m[row]),
            far_limit_m=float(zone.far_limit_m[row]),
            share_sharp=float(paired.share[row]),
            sharp_low=float(paired.low[row]),
            sharp_high=float(paired.high[row]),
            expected_hit_rate=float(rate[row]),
            low=float(low[row]),
            high=float(high[row]),
            median_shutter_s=exposure[float(paired.f_number[row])][0],
            median_iso=exposure[float(paired.f_number[row])][1],
            within_experience=bool(paired.tried[row]),
        )
        for row in np.lexsort((-paired.share, ~paired.tried)).tolist()
    )


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
    rest = (speed_m_s, subjects.handbook_mm)
    sharp = {
        causes: weight @ blur_shares(*setting, *rest, causes, subjects.shift_mm) @ curve
        for causes in sets_of_causes()
    }
    return share_loss({causes: float(share) for causes, share in sharp.items()})


def _hit_rates(kept: Paired, level: Level, confidence: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The level times what each setting keeps over now; errors of both add as squares of logs."""
    rate = np.minimum(level.rate * kept.gain, 1.0)
    z = two_sided_z(confidence)
    with np.errstate(divide="ignore", invalid="ignore"):
        of_level = np.log(level.high / max(level.low, 1e-6)) / (2 * z)
        of_gain = np.log(kept.gain_high / np.maximum(kept.gain_low, 1e-6)) / (2 * z)
        reach = np.exp(z * np.hypot(of_level, of_gain))
    return rate, rate / reach, np.minimum(rate * reach, 1.0)


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
