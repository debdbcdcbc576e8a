"""What each key of a session file may hold: a reader for every value, and the keys of every table."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any

from auditor.intake.statements.session import RingReading, ScaleReading
from auditor.optics.rings import STOPS
from auditor.optics.sensors import Sensor, parse_sensor
from auditor.settings import UNMARKED_RULES
from auditor.units import (
    parse_distance_m,
    parse_duration_s,
    parse_exposure_time_s,
    parse_f_number,
    parse_focal_length_mm,
)

LARGEST_OFFSET_S = 100 * 365.25 * 86400.0  # a clock that was never set may lag by decades


class NotAllowedError(ValueError):
    """A value that is not what its key allows; the text says what is."""


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise NotAllowedError("a text in quotes")
    return value.strip()


def _moment(value: object) -> str:
    """A moment or a frame's name; times that stand without quotes are TOML's own."""
    if isinstance(value, (date, time)):
        return value.isoformat(" ") if isinstance(value, datetime) else value.isoformat()
    return _text(value)


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise NotAllowedError('a list of texts, such as ["Red", "Green"]')
    return tuple(_text(item) for item in value)


def _real(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise NotAllowedError("a number")
    return float(value)


def _above_zero(value: object) -> float:
    number = _real(value)
    if number <= 0:
        raise NotAllowedError("a number above zero")
    return number


def _from_zero(value: object) -> float:
    number = _real(value)
    if number < 0:
        raise NotAllowedError("a number from zero up")
    return number


def _percentage(value: object) -> float:
    number = value.removesuffix("%").strip() if isinstance(value, str) and value.endswith("%") else ""
    try:
        share = float(number) / 100
    except ValueError:
        share = math.nan
    if not 0 < share <= 10:
        raise NotAllowedError('a percentage above zero in quotes, such as "10%"')
    return share


def _typed(parse: Callable[[str], float]) -> Callable[[object], float]:
    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise NotAllowedError("a text in quotes with its unit")
        return parse(str(value))

    return read


_distance, _length, _stop = _typed(parse_distance_m), _typed(parse_focal_length_mm), _typed(parse_f_number)
_shutter, _duration = _typed(parse_exposure_time_s), _typed(parse_duration_s)


def _clock_offset(value: object) -> float:
    offset_s = _duration(value)
    if abs(offset_s) > LARGEST_OFFSET_S:
        raise NotAllowedError("a span of at most 100 years")
    return offset_s


def _stops(value: object) -> tuple[float, ...]:
    if isinstance(value, str) and value.strip().lower() in STOPS:
        return STOPS[value.strip().lower()]
    if not isinstance(value, list):
        raise NotAllowedError('a list of f-numbers, such as [2.8, 4, 5.6], or "full", "half" or "third"')
    return tuple(sorted(_stop(item) for item in value))


def _ring(value: object) -> tuple[float, ...]:
    if not isinstance(value, list):
        raise NotAllowedError('a list of distances, such as ["1m", "2m", "inf"]')
    return tuple(sorted(_distance(item) for item in value))


def _scale(value: object) -> tuple[ScaleReading, ...]:
    readers = {"f_number": _stop, "focus": _distance, "near": _distance, "far": _distance}
    example = '[{ f_number = 11, focus = "2m", near = "1.1m", far = "11m" }]'
    return tuple(ScaleReading(*values) for values in _readings(value, readers, example))


def _ring_checks(value: object) -> tuple[RingReading, ...]:
    example = '{ mark = "2m", focuses = "2.2m" }, or a list of them'
    readers = {"mark": _distance, "focuses": _distance}
    return tuple(RingReading(*values) for values in _readings(value, readers, example))


def _readings(
    value: object, readers: dict[str, Callable[[object], float]], example: str
) -> list[tuple[float, ...]]:
    entries = value if isinstance(value, list) else [value]
    found: list[tuple[float, ...]] = []
    for entry in entries:
        if not isinstance(entry, dict) or entry.keys() != readers.keys():
            raise NotAllowedError(example)
        found.append(tuple(read(entry[key]) for key, read in readers.items()))
    return found


def _sensor(value: object) -> Sensor:
    return parse_sensor(_text(value))


def _one_of(*allowed: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        if value not in allowed:
            raise NotAllowedError(" or ".join(f'"{item}"' for item in allowed) + nearest(str(value), allowed))
        return str(value)

    return read


# table -> key -> (attribute, reader). Tables marked with [] repeat.
SCHEMA: dict[str, dict[str, tuple[str, Callable[[object], Any]]]] = {
    "distances": {
        "from": ("distances_from", _one_of("sensor", "lens")),
        "in_files": ("in_files", _one_of("focus", "subject")),
    },
    "camera": {
        "name": ("name", _text),
        "sensor": ("sensor", _sensor),
        "clock_offset": ("clock_offset_s", _clock_offset),
    },
    "lens": {
        "name": ("name", _text),
        "focal_length": ("focal_length_mm", _length),
        "f_stops": ("f_stops", _stops),
        "ring": ("ring_m", _ring),
        "scale": ("scale", _scale),
        "ring_check": ("ring_checks", _ring_checks),
    },
    "preset": {
        "name": ("name", _text),
        "lens": ("lens", _text),
        "focal_length": ("focal_length_mm", _length),
        "f_number": ("f_number", _stop),
        "focus_distance": ("focus_distance_m", _distance),
        "kind": ("kind", _one_of("free", "line")),
    },
    "stretch": {
        "preset": ("preset", _text),
        "from": ("starts", _moment),
        "to": ("ends", _moment),
        "camera": ("camera", _text),
        "pressed": ("pressed", _one_of("zone", "anyone")),
    },
    "light": {
        "iso_max": ("iso_max", _above_zero),
        "wanted_shutter": ("wanted_shutter_s", _shutter),
        "slowest_shutter": ("slowest_shutter_s", _shutter),
    },
    "marks": {
        "keepers": ("keepers", _text),
        "min_rating": ("min_rating", _above_zero),
        "keeper_labels": ("keeper_labels", _texts),
        "reject_labels": ("reject_labels", _texts),
        "unmarked": ("unmarked", _one_of(*UNMARKED_RULES)),
        "culled_to": ("culled_to", _text),
        "markers": ("markers", _texts),
    },
    "subject": {"speed_m_s": ("speed_m_s", _from_zero), "guess_sd": ("guess_sd", _above_zero)},
    "advice": {
        "f_number_min": ("f_number_min", _stop),
        "f_number_max": ("f_number_max", _stop),
        "worth": ("worth", _percentage),
    },
}


def nearest(word: str, allowed: tuple[str, ...] | list[str]) -> str:
    """Ask whether the nearest allowed word was meant; empty where none is near."""
    close = difflib.get_close_matches(word, allowed, n=1)
    return f"; did you mean {close[0]!r}?" if close else ""
