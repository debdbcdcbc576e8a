"""What single recorded values mean, whether they come from Exif or from XMP.

Unknown is NaN or None, infinity is ``math.inf``. The meaning of each special value is that of the Exif and
XMP standards; where a camera's habit is met instead, the comment says so.
"""

import math
import re
from datetime import datetime

NAN = math.nan
MAX_FOCAL_LENGTH_MM = 20_000.0  # longer than any photographic lens; a larger number is spoilt
MAX_F_NUMBER = 1_000.0  # beyond pinholes

_UNSIGNED_32 = 0xFFFFFFFF
_SATURATED_16 = 0xFFFF
_BEYOND_ANY_SCALE_M = 10_000.0  # no lens scale ends there; a larger number is a spoilt infinity
_YEARS = range(1826, 2101)  # from the oldest surviving photograph; beyond 2100 a clock was never set

_TIME = re.compile(
    r"(\d{4})[:\-/.](\d{1,2})[:\-/.](\d{1,2})[ T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d+))?)?", re.ASCII
)
_DIGITS = re.compile(r"\d+", re.ASCII)
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\ufffe\uffff]+")


def clean_text(text: str | None) -> str | None:
    """Return the text without blanks around it; None where nothing, or only dashes, is left.

    >>> clean_text("28 mm f/2.8   "), clean_text("----"), clean_text("   ")
    ('28 mm f/2.8', None, None)
    """
    if not text:
        return None
    if not text.isprintable():
        text = _UNPRINTABLE.sub(" ", text)
    cleaned = text.strip()
    return cleaned if cleaned.strip("-") else None


def parse_time(text: str | None, subseconds: str | None = None) -> tuple[datetime | None, bool]:
    """Read a capture time, and tell whether it carries sub-seconds.

    >>> parse_time("2024:05:01 10:20:30", "06")
    (datetime.datetime(2024, 5, 1, 10, 20, 30, 60000), True)
    >>> parse_time("0000:00:00 00:00:00")
    (None, False)
    """
    match = _TIME.match(text.strip()) if text else None
    if match is None:
        return None, False
    year, month, day, hour, minute, second, fraction = match.groups()
    if not fraction and subseconds:
        digits = _DIGITS.match(subseconds.strip())
        fraction = digits.group() if digits else None
    microsecond = int((fraction or "0")[:6].ljust(6, "0"))
    if int(year) not in _YEARS:
        return None, False
    try:
        when = datetime(
            int(year), int(month), int(day), int(hour), int(minute), int(second or 0), microsecond
        )
    except ValueError:
        return None, False
    return when, microsecond > 0


def distance_m(numerator: int, denominator: int) -> float:
    """Give the meaning of a raw SubjectDistance pair, in metres.

    Exif 2.3: numerator 0xFFFFFFFF is infinity and numerator 0 unknown, whatever the denominator. Read as a
    signed number (TIFF/EP) infinity is -1. Values at the top of a camera's scale are infinity as well:
    65535 (16 bits full) and 99.99 m, both found in camera files, neither in the standard.

    >>> distance_m(0xFFFFFFFF, 0xFFFFFFFF), distance_m(0, 100), distance_m(250, 100), distance_m(5, 0)
    (inf, nan, 2.5, nan)
    """
    if numerator in (_UNSIGNED_32, -1, _SATURATED_16):
        return math.inf
    if numerator <= 0 or denominator <= 0:
        return NAN
    if numerator * 100 == denominator * 9999:
        return math.inf
    metres = numerator / denominator
    return math.inf if metres > _BEYOND_ANY_SCALE_M else metres


def positive(value: float, largest: float = math.inf) -> float:
    """Return the value where it is above zero, finite and not beyond `largest`; else NaN."""
    return value if 0.0 < value <= largest and value != math.inf else NAN
