"""Which exposure time a frame would have had at another stop, in the light that was there.

The sensitivity follows the stop first, between its limits; only then does the time (the usual way of zone
focusing: common practice, no source). What nobody stated is carried as uncertain: several answers, weighted.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.advice.limits import USUAL_ISO_MAX, find_limits
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects
from auditor.optics.lens import known
from auditor.settings import Settings

ONE_ISO = 0.97  # share of the frames at one sensitivity that makes it the only one used
STAYS = 0.7  # chance that somebody who used one sensitivity alone keeps to it
_SAME = 1.02


@dataclass(frozen=True, slots=True)
class LightAnswer:
    """One way in which the camera may answer another stop."""

    iso_min: float
    iso_max: float
    wanted_s: float  # exposure time kept while the sensitivity can follow
    weight: float  # how likely it is


def only_iso(iso: Floats) -> float | None:
    """The one sensitivity that was ever used, but for slips; None where there are several, or none known."""
    found = iso[known(iso)]
    if not found.size:
        return None
    steps = np.round(np.log2(found) * 6)
    values, counts = np.unique(steps, return_counts=True)
    most = counts.argmax()
    if counts[most] < ONE_ISO * found.size:
        return None
    return float(np.median(found[steps == values[most]]))


def light_answers(frames: pd.DataFrame, settings: Settings) -> tuple[LightAnswer, ...]:
    """The ways in which the light may have been answered; one where the highest sensitivity is stated.

    A single sensitivity ever used is not the highest accepted: its owner may keep to it, or go to the usual
    one. Where several were used the highest seen is the limit, or one stop above it. Reads ``iso,
    exposure_time_s`` of the frames of one lens.
    """
    limits = find_limits(frames, settings)
    wanted = limits.wanted_shutter_s
    if settings.iso_max is not None:
        return (LightAnswer(limits.iso_min, limits.iso_max, wanted, 1.0),)
    single = only_iso(frames["iso"].to_numpy(float))
    if single is not None:
        free = max(USUAL_ISO_MAX, single)
        return (
            LightAnswer(single, single, wanted, STAYS),
            LightAnswer(min(limits.iso_min, single), free, wanted, 1 - STAYS),
        )
    return (
        LightAnswer(limits.iso_min, limits.iso_max, wanted, 0.7),
        LightAnswer(limits.iso_min, 2 * limits.iso_max, wanted, 0.3),
    )


def times_at(subjects: Subjects, f_number: float, answer: LightAnswer) -> Floats:
    """Exposure time of each subject at another stop [s], shape (n,).

    A frame's own time is kept where its sensitivity could follow; at a limit the wanted time is what the
    camera would return to. Where time or light is unknown the time stays as it was.

    At ISO 400 and 1/250 s, two stops down: the sensitivity follows to 1600, or the time becomes 1/62 s.

    >>> from types import SimpleNamespace
    >>> frame = SimpleNamespace(f_number=np.array([4.0]), exposure_time_s=np.array([1 / 250]),
    ...                         iso=np.array([400.0]), ev=np.array([10.0]))
    >>> times_at(frame, 8.0, LightAnswer(100, 6400, 1 / 250, 1.0)).round(4).tolist()
    [0.004]
    >>> times_at(frame, 8.0, LightAnswer(400, 400, 1 / 250, 1.0)).round(4).tolist()
    [0.016]
    """
    own = subjects.exposure_time_s
    needed = subjects.iso * own * (f_number / subjects.f_number) ** 2
    free = (subjects.iso < answer.iso_max / _SAME) & (subjects.iso > answer.iso_min * _SAME)
    wanted = np.where(free, own, answer.wanted_s)
    with np.errstate(invalid="ignore"):
        time = needed / np.clip(needed / wanted, answer.iso_min, answer.iso_max)
    lit = np.isfinite(subjects.ev) & np.isfinite(time)
    same = np.abs(np.log(f_number / subjects.f_number)) < np.log(_SAME)
    return np.asarray(np.where(lit & ~same, time, own))
