"""Quantities as photographers type and read them: distances, lengths, times, f-numbers.

Subject-side distances are metres, lens-side lengths millimetres, times seconds. A bare number is refused
wherever its unit could be guessed wrong. What cannot be read, or is not above zero, raises a UnitError.
"""

import math
import re

from auditor.errors import UnitError

METRES_PER_FOOT = 0.3048  # exact, international foot (1959)

_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_METRES_PER = {
    "m": 1.0, "cm": 0.01, "mm": 0.001,
    "ft": METRES_PER_FOOT, "'": METRES_PER_FOOT,
    "in": METRES_PER_FOOT / 12, '"': METRES_PER_FOOT / 12,
}  # fmt: skip
_DISTANCE = re.compile(rf"{_NUMBER}\s*(m|cm|mm|ft|in|'|\")(?![a-z])", re.IGNORECASE)
_INFINITY = {"inf", "infinity", "∞", "infinite"}
_SECONDS_PER = {"h": 3600.0, "m": 60.0, "min": 60.0, "s": 1.0}


LONGEST_QUANTITY = 60  # characters; no pattern is tried on more
# What editors and spreadsheets make of typed marks: primes and quotation marks, hard spaces, a true minus.
_PLAIN = {"'": "’‘´`ʹ′", '"': "”“„″ʺ", " ": "\u00a0\u202f\u2009", "-": "−"}
_TYPOGRAPHY = str.maketrans({sign: plain for plain, signs in _PLAIN.items() for sign in signs})


def tidied(text: str) -> str:
    """Return typed text in small letters, without blanks around it, with plain signs for typographic ones."""
    if len(text) > LONGEST_QUANTITY:
        raise UnitError(f"{text[:20]!r}… is too long for a quantity.", "Write it like 2.5m, 28mm or 1/500.")
    return text.strip().lower().translate(_TYPOGRAPHY).replace("''", '"')


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def parse_distance_m(text: str) -> float:
    """Read a distance such as ``7ft``, ``6ft 6in``, ``2.5m``, ``250cm`` or ``inf``, in metres.

    >>> parse_distance_m("2.5m"), round(parse_distance_m("6ft 6in"), 4), parse_distance_m("inf")
    (2.5, 1.9812, inf)
    """
    cleaned = tidied(text)
    if cleaned in _INFINITY:
        return math.inf
    parts = _DISTANCE.findall(cleaned)
    if not parts or _DISTANCE.sub("", cleaned).strip():
        if re.fullmatch(rf"[-+]?{_NUMBER}", cleaned):
            raise UnitError(f"{text!r} has no unit: metres or feet?", f"Write {cleaned}m or {cleaned}ft.")
        raise UnitError(f"{text!r} is not a distance.", "Write it like 2.5m, 250cm, 7ft, 6ft 6in or inf.")
    units = [unit for _, unit in parts]
    if len(parts) > 1 and not (len(parts) == 2 and units[0] in ("ft", "'") and units[1] in ("in", '"')):
        raise UnitError(f"{text!r} holds more than one distance.", "Write one, like 6ft 6in or 2.5m.")
    metres = sum(_number(value) * _METRES_PER[unit] for value, unit in parts)
    if metres <= 0:
        raise UnitError(f"{text!r} is not a distance above zero.", "Write it like 2.5m or 7ft.")
    return metres


def parse_focal_length_mm(text: str) -> float:
    """Read a focal length: millimetres, where no unit is given.

    >>> parse_focal_length_mm("28"), parse_focal_length_mm("3.5cm")
    (28.0, 35.0)
    """
    return parse_length_mm(f"{text.strip()}mm" if re.fullmatch(_NUMBER, tidied(text)) else text)


def parse_length_mm(text: str) -> float:
    """Read a lens-side length such as ``28mm``, ``2.8cm`` or ``0.025mm``, in millimetres.

    >>> parse_length_mm("28mm"), parse_length_mm("3.5 cm")
    (28.0, 35.0)
    """
    cleaned = tidied(text)
    match = re.fullmatch(rf"{_NUMBER}\s*(mm|cm|in|µm|um)", cleaned)
    if match is None:
        if re.fullmatch(rf"[-+]?{_NUMBER}", cleaned):
            raise UnitError(f"{text!r} has no unit.", f"Write {cleaned}mm.")
        raise UnitError(f"{text!r} is not a length.", "Write it like 28mm.")
    unit = match.group(2)
    millimetres = _number(match.group(1)) * {"mm": 1.0, "cm": 10.0, "in": 25.4, "µm": 1e-3, "um": 1e-3}[unit]
    if millimetres <= 0:
        raise UnitError(f"{text!r} is not a length above zero.", "Write it like 28mm.")
    return millimetres


def parse_f_number(text: str | float) -> float:
    """Read an f-number such as ``8``, ``f/8`` or ``f5.6``.

    >>> parse_f_number("f/5.6"), parse_f_number(8)
    (5.6, 8.0)
    """
    match = re.fullmatch(rf"(?:f\s*/?\s*)?{_NUMBER}", tidied(str(text)))
    value = _number(match.group(1)) if match else 0.0
    if value <= 0:
        raise UnitError(f"{text!r} is not an f-number.", "Write it like 8 or f/8.")
    return value


def parse_exposure_time_s(text: str | float) -> float:
    """Read an exposure time such as ``1/500``, ``1/500s`` or ``0.5s``, in seconds.

    A bare number of one second or more is refused: ``500`` may mean 1/500.

    >>> parse_exposure_time_s("1/500"), parse_exposure_time_s("2s")
    (0.002, 2.0)
    """
    cleaned = tidied(str(text))
    match = re.fullmatch(rf"{_NUMBER}(?:\s*/\s*{_NUMBER})?\s*(s|sec)?", cleaned)
    top, bottom, unit = match.groups() if match else ("", "0", None)
    if bottom is not None and _number(bottom) == 0:
        raise UnitError(f"{text!r} is not an exposure time.", "Write it like 1/500 or 0.5s.")
    seconds = _number(top) / _number(bottom) if bottom else _number(top)
    if bottom is None and unit is None and seconds >= 1:
        raise UnitError(
            f"{text!r} could mean 1/{cleaned} s or {cleaned} s.", f"Write 1/{cleaned} or {cleaned}s."
        )
    if seconds <= 0:
        raise UnitError(f"{text!r} is not an exposure time above zero.", "Write it like 1/500.")
    return seconds


def parse_duration_s(text: str) -> float:
    """Read a signed span of time such as ``-1h``, ``+90s`` or ``1h 30m``, in seconds.

    >>> parse_duration_s("-1h"), parse_duration_s("1h 30m"), parse_duration_s("+90s")
    (-3600.0, 5400.0, 90.0)
    """
    cleaned = tidied(text)
    sign = -1.0 if cleaned[:1] == "-" else 1.0
    body = cleaned.lstrip("+-").strip()
    parts = re.findall(rf"{_NUMBER}\s*(h|min|m|s)", body)
    if not parts or re.sub(rf"{_NUMBER}\s*(h|min|m|s)", "", body).strip():
        raise UnitError(f"{text!r} is not a span of time.", "Write it like -1h, +90s or 1h 30m.")
    return sign * sum(_number(value) * _SECONDS_PER[unit] for value, unit in parts)


def format_distance(distance_m: float, units: str = "m") -> str:
    """Write a distance in metres or feet, with the precision a ring can be read to.

    >>> format_distance(1.2468), format_distance(2.5, "ft"), format_distance(float("inf"))
    ('1.25 m', '8.2 ft', '∞')
    """
    if math.isnan(distance_m):
        return "unknown"
    if math.isinf(distance_m):
        return "∞"
    value = distance_m if units == "m" else distance_m / METRES_PER_FOOT
    decimals = 2 if value < 10 and units == "m" else 1 if value < 100 else 0
    text = f"{value:.{decimals}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {units}"


def format_exposure_time(exposure_time_s: float) -> str:
    """Write an exposure time as it stands on a camera.

    >>> format_exposure_time(0.002), format_exposure_time(2.0)
    ('1/500 s', '2 s')
    """
    if math.isnan(exposure_time_s):
        return "unknown"
    if exposure_time_s >= 0.3:
        return f"{exposure_time_s:.1f}".rstrip("0").rstrip(".") + " s"
    return f"1/{1 / exposure_time_s:.0f} s"


def format_f_number(f_number: float) -> str:
    """Write an f-number as it stands on a ring.

    >>> format_f_number(8.0), format_f_number(5.6)
    ('f/8', 'f/5.6')
    """
    return "f/?" if math.isnan(f_number) else f"f/{f_number:.3g}"
