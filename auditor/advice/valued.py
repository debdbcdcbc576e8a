"""The settings that may be advised with what each should bring, best first, and each f-number at its best.

Nothing is decided here; every number is that of the comparison and of the level of the lens. Columns are
named as the contract names them in JSON.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.advice.paired import Paired
from auditor.evidence.blur_classes import sets_of_causes, share_loss, sharp_curve
from auditor.evidence.blur_tolerance import Tolerances, subject_shares
from auditor.evidence.level import Level
from auditor.evidence.proportions import Floats, two_sided_z
from auditor.evidence.subjects import Subjects, sessions_at_random
from auditor.optics.lens import sharp_zone


def value_settings(
    paired: Paired,
    kept: Paired,
    level: Level,
    subjects: Subjects,
    answer: LightAnswer,
    coc_mm: float,
    confidence: float,
) -> pd.DataFrame:
    """Value every setting of a comparison, the best first; those not tried there come last.

    Columns: the setting and its sharp zone by the criterion ``coc_mm``; ``share_sharp`` of the subjects met,
    ``sharp_low, sharp_high``; ``expected_hit_rate`` of presses with a keeper, ``low, high`` (NaN where
    nothing was counted); the median exposure that the light asked for (NaN where unknown); and
    ``within_experience``, whether the zone lies where subjects were met.

    ``paired`` and ``kept`` are the shares sharp, and kept up to the common level, of the same settings and
    subjects; ``level`` is what is kept now, ``answer`` the likeliest to the light.
    """
    focal = float(np.median(subjects.focal_length_mm))
    shift_mm = np.median(subjects.shift_mm)
    zone = sharp_zone(focal, paired.f_number, paired.focus_distance_m, coc_mm, shift_mm=shift_mm)
    rate, low, high = _hit_rates(kept, level, confidence)
    numbers, place = np.unique(paired.f_number, return_inverse=True)
    times, isos = np.array([_median_exposure(subjects, number, answer) for number in numbers]).T
    valued = {
        "f_number": paired.f_number,
        "focus_distance_m": paired.focus_distance_m,
        "near_limit_m": zone.near_limit_m,
        "far_limit_m": zone.far_limit_m,
        "share_sharp": paired.share,
        "sharp_low": paired.low,
        "sharp_high": paired.high,
        "expected_hit_rate": rate,
        "low": low,
        "high": high,
        "median_shutter_s": times[place],
        "median_iso": isos[place],
        "within_experience": paired.tried,
    }
    return pd.DataFrame(valued).iloc[np.lexsort((-paired.share, ~paired.tried))].reset_index(drop=True)


def best_by_stop(
    settings: pd.DataFrame, subjects: Subjects, tolerances: Tolerances, answer: LightAnswer, speed_m_s: float
) -> pd.DataFrame:
    """Return every f-number at the engraving that makes most subjects sharp, and what takes the others.

    ``settings`` are those of :func:`value_settings` for these subjects and tolerances, with the likeliest
    ``answer`` to the light. ``expected`` (the share sharp) and what is ``lost_to_<cause>`` add up to 1.
    """
    best = settings.drop_duplicates("f_number").sort_values("f_number", ignore_index=True)
    best = best.drop(columns=["near_limit_m", "far_limit_m", "expected_hit_rate", "low", "high"])
    best = best.rename(columns={"share_sharp": "expected", "sharp_low": "low", "sharp_high": "high"})
    losses, subjects = [], sessions_at_random(subjects)
    for number, ring, expected in best.iloc[:, :3].itertuples(index=False):
        times = times_at(subjects, number, answer)
        lost = lost_to_causes(subjects, tolerances, number, ring, times, speed_m_s)
        # The split is of the median light; the loss it is put on is that of the comparison.
        scale = (1 - expected) / max(sum(lost.values()), 1e-9)
        losses.append({f"lost_to_{cause}": part * scale for cause, part in lost.items()})
    return best.join(pd.DataFrame(losses))


def lost_to_causes(
    subjects: Subjects,
    tolerances: Tolerances,
    f_number: float,
    focus_distance_m: float,
    exposure_time_s: Floats,
    speed_m_s: float,
) -> dict[str, float]:
    """Share the loss of sharp subjects at a setting among its causes."""
    n = len(subjects)
    number, ring = np.full(n, f_number), np.full(n, focus_distance_m)
    moved = replace(subjects, f_number=number, focus_distance_m=ring, exposure_time_s=exposure_time_s)
    curve = sharp_curve(tolerances.log_sharp, tolerances.kappa).mean(axis=1)
    weight = subjects.weight / subjects.weight.sum()
    return share_loss(
        {
            causes: float(weight @ subject_shares(moved, speed_m_s, causes) @ curve)
            for causes in sets_of_causes()
        }
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


def _median_exposure(subjects: Subjects, f_number: float, answer: LightAnswer) -> tuple[float, float]:
    """Exposure time [s] and sensitivity of the middle subject at another stop; NaN where unknown."""
    times = times_at(subjects, f_number, answer)
    with np.errstate(invalid="ignore"):
        iso = subjects.iso * subjects.exposure_time_s / times * (f_number / subjects.f_number) ** 2
    time, sensitivity = (values[np.isfinite(values)] for values in (times, iso))
    return (
        float(np.median(time)) if time.size else np.nan,
        float(np.median(sensitivity)) if sensitivity.size else np.nan,
    )
