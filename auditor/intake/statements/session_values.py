"""What each key of a session file may hold: a reader for every value, and the keys of every table."""

import math
from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any

from auditor.intake.statements.ranges import NotAllowedError, any_text, number, one_of
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


def _moment(value: object) -> str:
    """A moment or a frame's name; times that stand without quotes are TOML's own."""
    if isinstance(value, (date, time)):
        return value.isoformat(" ") if isinstance(value, datetime) else value.isoformat()
    return any_text(value)


def _list_of(read: Callable[[object], Any], what: str) -> Callable[[object], tuple[Any, ...]]:
    def read_all(value: object) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise NotAllowedError(f"a list of {what}")
        return tuple(map(read, value))

    return read_all


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


def _sorted_list_of(read: Callable[[object], float], what: str) -> Callable[[object], tuple[float, ...]]:
    return lambda value: tuple(sorted(_list_of(read, what)(value)))


def _stops(value: object) -> tuple[float, ...]:
    named = value.strip().lower() if isinstance(value, str) else ""
    what = 'f-numbers, such as [2.8, 4, 5.6], or "full", "half" or "third"'
    return STOPS[named] if named in STOPS else _sorted_list_of(_stop, what)(value)


def _readings(
    kind: type, example: str, **readers: Callable[[object], float]
) -> Callable[[object], tuple[Any, ...]]:
    """One table of the keys given, or a list of them."""

    def read(value: object) -> tuple[Any, ...]:
        entries: list[Any] = value if isinstance(value, list) else [value]
        if any(not isinstance(entry, dict) or entry.keys() != readers.keys() for entry in entries):
            raise NotAllowedError(example)
        return tuple(kind(*(own(entry[key]) for key, own in readers.items())) for entry in entries)

    return read


def _sensor(value: object) -> Sensor:
    return parse_sensor(any_text(value))


_texts = _list_of(any_text, 'texts, such as ["Red", "Green"]')
_above_zero, _from_zero = number(math.ulp(0), math.inf, "above zero"), number(0, math.inf, "from zero up")
_scale = _readings(
    ScaleReading,
    '[{ f_number = 11, focus = "2m", near = "1.1m", far = "11m" }]',
    f_number=_stop,
    focus=_distance,
    near=_distance,
    far=_distance,
)
_ring_checks = _readings(
    RingReading, '{ mark = "2m", focuses = "2.2m" }, or a list of them', mark=_distance, focuses=_distance
)
# table -> key -> (attribute, reader). Tables marked with [] repeat.
SCHEMA: dict[str, dict[str, tuple[str, Callable[[object], Any]]]] = {
    "distances": {
        "from": ("distances_from", one_of("sensor", "lens")),
        "in_files": ("in_files", one_of("focus", "subject")),
    },
    "camera": {
        "name": ("name", any_text),
        "sensor": ("sensor", _sensor),
        "clock_offset": ("clock_offset_s", _clock_offset),
    },
    "lens": {
        "name": ("name", any_text),
        "focal_length": ("focal_length_mm", _length),
        "f_stops": ("f_stops", _stops),
        "ring": ("ring_m", _sorted_list_of(_distance, 'distances, such as ["1m", "2m", "inf"]')),
        "scale": ("scale", _scale),
        "ring_check": ("ring_checks", _ring_checks),
    },
    "preset": {
        "name": ("name", any_text),
        "lens": ("lens", any_text),
        "focal_length": ("focal_length_mm", _length),
        "f_number": ("f_number", _stop),
        "focus_distance": ("focus_distance_m", _distance),
        "kind": ("kind", one_of("free", "line")),
    },
    "stretch": {
        "preset": ("preset", any_text),
        "from": ("starts", _moment),
        "to": ("ends", _moment),
        "camera": ("camera", any_text),
        "pressed": ("pressed", one_of("zone", "anyone")),
    },
    "light": {
        "iso_max": ("iso_max", _above_zero),
        "wanted_shutter": ("wanted_shutter_s", _shutter),
        "slowest_shutter": ("slowest_shutter_s", _shutter),
        "flash_duration": ("flash_duration_s", _shutter),
    },
    "marks": {
        "keepers": ("keepers", any_text),
        "min_rating": ("min_rating", _above_zero),
        "keeper_labels": ("keeper_labels", _texts),
        "reject_labels": ("reject_labels", _texts),
        "unmarked": ("unmarked", one_of(*UNMARKED_RULES)),
        "culled_to": ("culled_to", any_text),
        "markers": ("markers", _texts),
    },
    "subject": {"speed_m_s": ("speed_m_s", _from_zero), "guess_sd": ("guess_sd", _above_zero)},
    "advice": {
        "f_number_min": ("f_number_min", _stop),
        "f_number_max": ("f_number_max", _stop),
        "worth": ("worth", _percentage),
    },
}
