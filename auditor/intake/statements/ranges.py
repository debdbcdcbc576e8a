"""Which values a quantity can have, whichever way it comes in: table, notes or session file."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Range:
    """Values above ``above`` up to ``most``; infinity where it means something."""

    above: float
    most: float
    may_be_infinite: bool = False

    def holds(self, values: np.ndarray) -> np.ndarray:
        """Whether each value lies in the range; unknown does not, shape (n,)."""
        with np.errstate(invalid="ignore"):
            inside = (values > self.above) & (values <= self.most)
            return np.asarray(inside | (np.isposinf(values) & self.may_be_infinite))

    def __str__(self) -> str:
        return f"above {self.above:g}, at most {self.most:g}" + (" or inf" if self.may_be_infinite else "")


_DISTANCE_M = Range(0, 1_000_000, may_be_infinite=True)
_PIXELS = Range(0, 10_000_000)
_SENSOR_MM = Range(0, 1000)
RANGES = {
    "focal_length_mm": Range(0, 100_000),
    "f_number": Range(0, 10_000),
    "exposure_time_s": Range(0, 10_000_000),
    "iso": Range(0, 1_000_000_000),
    "sensor_width_mm": _SENSOR_MM,
    "sensor_height_mm": _SENSOR_MM,
    "focus_distance_m": _DISTANCE_M,
    "subject_distance_m": _DISTANCE_M,
    "subject_distance_rel_sd": Range(0, 5),
    "sample_weight": Range(0, 1e12),
    "pixel_width": _PIXELS,
    "pixel_height": _PIXELS,
    "standing_share": Range(0, 1),
    "face_share": Range(0, 1),
}
# What people call them in the notes and the session file.
_WRITTEN_AS = {
    "focal_length": "focal_length_mm",
    "focus_distance": "focus_distance_m",
    "subject_distance": "subject_distance_m",
    "subject_distance_sd": "subject_distance_rel_sd",
}


def range_of(name: str) -> Range | None:
    """Return the range of a column, also by the name that people write; None where any value goes."""
    return RANGES.get(_WRITTEN_AS.get(name, name))


def out_of_range(name: str, value: object) -> str:
    """Say what is allowed where a value is not; empty where it is."""
    allowed = range_of(name)
    if allowed is None or isinstance(value, bool) or not isinstance(value, (int, float)) or math.isnan(value):
        return ""
    return "" if allowed.holds(np.asarray([float(value)]))[0] else str(allowed)
