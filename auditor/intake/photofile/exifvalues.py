"""Give the decoded Exif tags their meaning, as fields of a file record.

Tags are known by number (Exif 2.32; their names stand in :mod:`auditor.intake.photofile.tiffblock`). A value
is a text, or a list: one number, or the two numbers of a rational.
"""

import math
from typing import Any

from auditor.intake.photofile.values import (
    MAX_F_NUMBER,
    MAX_FOCAL_LENGTH_MM,
    NAN,
    clean_text,
    distance_m,
    parse_time,
    positive,
)

Values = dict[int, Any]

_ISO_IS_ELSEWHERE = 65535
_NO_NUMBER = 0xFFFFFFFF
_REJECTED = 65535  # -1 in an unsigned field
_MOST_STARS = 5
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}  # inch and cm are Exif; mm and um occur in the wild
MOST_PIXELS = (1 << 31) - 1  # along one side


def exif_fields(values: Values, notes: list[str]) -> dict[str, Any]:
    """Return the fields of the record that Exif tells."""
    captured_at, has_subseconds = parse_time(_text(values, 0x9003), _text(values, 0x9291))
    return {
        "camera": _text(values, 0x0110),
        "serial": _text(values, 0xA431) or _text(values, 0xC62F) or _text(values, 0xFDE9),
        "lens": _text(values, 0xA434) or _text(values, 0xFDEA),
        "focal_length_mm": positive(_number(values, 0x920A), MAX_FOCAL_LENGTH_MM),
        "f_number": _f_number(values, notes),
        "exposure_time_s": positive(_number(values, 0x829A)),
        "iso": _iso(values),
        "flash": _flash(values),
        "captured_at": captured_at,
        "has_subseconds": has_subseconds,
        "exif_width_px": _whole(values, 0xA002),
        "exif_height_px": _whole(values, 0xA003),
        "orientation": _whole(values, 0x0112, most=8) or 1,
        "focal_length_35mm": positive(_number(values, 0xA405), MAX_FOCAL_LENGTH_MM),
        "focal_plane_px_per_mm": _focal_plane(values),
        "digital_zoom": _digital_zoom(values),
        "focus_distance_m": _focus_distance(values),
        "rating": _rating(values, notes),
    }


def _text(values: Values, tag: int) -> str | None:
    value = values.get(tag)
    return clean_text(value) if isinstance(value, str) else None


def _number(values: Values, tag: int) -> float:
    """Return a number; NaN where absent, n/0, or all ones in 32 bits (no number, in Exif)."""
    value = values.get(tag)
    if not isinstance(value, list) or not value:
        return NAN
    if len(value) == 2:
        numerator, denominator = value
        return NAN if denominator == 0 or numerator == _NO_NUMBER else numerator / denominator
    first = value[0]
    return float(first[0]) if isinstance(first, tuple) else float(first)


def _whole(values: Values, tag: int, most: int = MOST_PIXELS) -> int:
    number = _number(values, tag)
    return int(number) if 0 < number <= most else 0


def _f_number(values: Values, notes: list[str]) -> float:
    """Return the f-number as recorded, 0 for unknown; from ApertureValue where there is no FNumber tag."""
    if 0x829D in values:
        return positive(_number(values, 0x829D), MAX_F_NUMBER)
    n = _f_number_of_apex(_number(values, 0x9202))
    if not math.isnan(n):
        notes.append("the f-number is worked out from ApertureValue")
    return n


def _f_number_of_apex(aperture_value: float) -> float:
    """Give the f-number of an APEX aperture value Av, N = 2**(Av/2), in two digits as f-numbers are marked.

    Cameras cut the value short (252/100 beside f/2.4), hence the rounding. 0 is a filler, not f/1.

    >>> _f_number_of_apex(2.52), _f_number_of_apex(6.9188), _f_number_of_apex(0.0)
    (2.4, 11.0, nan)
    """
    if not 0.0 < aperture_value <= 12.0:  # up to f/64
        return NAN
    n = 2.0 ** (aperture_value / 2)
    return round(n, 1) if n < 10 else float(round(n))


def _flash(values: Values) -> bool | None:
    """Return whether the flash fired: the lowest bit of Flash (Exif 2.32, table 16), else by its energy."""
    flash = _number(values, 0x9209)
    if math.isnan(flash):
        return True if _number(values, 0xA20B) > 0 else None
    return bool(int(flash) & 1)


def _iso(values: Values) -> float:
    """Return the sensitivity; 65535 means that it is in one of the three tags of Exif 2.3."""
    for tag in (0x8827, 0x8831, 0x8832, 0x8833):
        iso = positive(_number(values, tag))
        if iso != _ISO_IS_ELSEWHERE and not math.isnan(iso):
            return iso
    return NAN


def _focal_plane(values: Values) -> float:
    """Return the focal plane resolution in pixels per millimetre; without a unit it is per inch."""
    for resolution, unit in ((0xA20E, 0xA210), (0x920E, 0x9210)):  # Exif, TIFF/EP
        if resolution in values:
            number = _number(values, unit)
            mm = _MM_PER_UNIT.get(int(number) if math.isfinite(number) else 2)
            return NAN if mm is None else positive(_number(values, resolution)) / mm
    return NAN


def _digital_zoom(values: Values) -> float:
    """Return the zoom factor; numerator 0 means not used, hence 1."""
    value = values.get(0xA404)
    if isinstance(value, list) and value and value[0] == 0:
        return 1.0
    return positive(_number(values, 0xA404))


def _focus_distance(values: Values) -> float:
    value = values.get(0x9206)
    if not isinstance(value, list) or not all(isinstance(number, int) for number in value):
        return NAN
    return distance_m(value[0], value[1] if len(value) == 2 else 1)


def _rating(values: Values, notes: list[str]) -> float:
    """Return the stars of 0x4746, -1 for rejected; other numbers are not ratings."""
    rating = _number(values, 0x4746)
    if rating < 0 or rating == _REJECTED:
        return -1.0
    if rating > _MOST_STARS:
        notes.append(f"Exif Rating is {rating:g}, which is not a number of stars: unknown")
        return NAN
    return rating
