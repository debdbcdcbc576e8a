"""Which values a quantity can have, whichever way it comes in: table, notes, sheet or session file."""

import difflib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Read = Callable[[Any], Any]


class NotAllowedError(ValueError):
    """A value that is not what its key allows; the text says what is."""

    @property
    def step(self) -> str:
        """What to do, as a sentence."""
        return f"It needs {self}.".replace("?.", "?")


def any_text(value: Any) -> str:
    """Read a text with something in it."""
    if not isinstance(value, str) or not value.strip():
        raise NotAllowedError("a text in quotes")
    return value.strip()


def one_of(*allowed: str) -> Read:
    """Return a reader of one of some words."""

    def read(value: Any) -> str:
        if value not in allowed:
            raise NotAllowedError(" or ".join(f'"{item}"' for item in allowed) + nearest(str(value), allowed))
        return str(value)

    return read


def number(low: float, high: float, words: str) -> Read:
    """Return a reader of a finite number in a range, which the words tell."""

    def read(value: Any) -> float:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not low <= value <= high or math.isinf(value):
            raise NotAllowedError(f"a number {words}")
        return float(value)

    return read


def nearest(word: str, allowed: Sequence[str]) -> str:
    """Ask whether the nearest allowed word was meant; empty where none is near."""
    close = difflib.get_close_matches(word, allowed, n=1)
    return f"; did you mean {close[0]!r}?" if close else ""


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
    "flash_duration_s": Range(0, 0.1),  # flash bulbs last longest, some 1/30 s (from memory)
    "sensor_width_mm": _SENSOR_MM,
    "sensor_height_mm": _SENSOR_MM,
    "focus_distance_m": _DISTANCE_M,
    "subject_distance_m": _DISTANCE_M,
    "subject_distance_rel_sd": Range(0, 5),
    "sample_weight": Range(0, 1e12),
    "pixel_width": _PIXELS,
    "pixel_height": _PIXELS,
}
# What people call them in the notes and the session file.
_WRITTEN_AS = {
    "flash_duration": "flash_duration_s",
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
