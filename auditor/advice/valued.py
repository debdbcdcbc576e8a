"""The settings that may be advised with what each should bring, in order of what it promises.

Nothing is decided here; every number is that of the comparison and of the level of the lens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.advice.paired import Paired
from auditor.evidence.level import Level
from auditor.evidence.proportions import two_sided_z
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

    Parameters
    ----------
    paired, kept : Paired
        Shares sharp, and shares kept up to the common level, of the same settings and subjects.
    level : Level
        Of the presses of the lens: what is kept now.
    answer : LightAnswer
        The likeliest way in which the light is answered.
    coc_mm : float
        Criterion of the sharp zone [mm].
    """
    focal = float(np.median(subjects.focal_length_mm))
    zone = sharp_zone(focal, paired.f_number, paired.focus_distance_m, coc_mm)
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
