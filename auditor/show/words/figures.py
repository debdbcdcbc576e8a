"""How rates, counts, distances and zones are written, everywhere the same."""

import math
from collections.abc import Iterable

from auditor.units import format_distance, format_exposure_time, format_f_number

FAR_IS_UNSURE = 20.0  # times the focus distance: beyond it the far limit is ill-conditioned
UNKNOWN = "–"


def percent(rate: float) -> str:
    """Write a share between 0 and 1 in per cent; one decimal below 1 %, where it would read as nothing.

    >>> percent(0.287), percent(0.004), percent(float("nan"))
    ('29 %', '0.4 %', '–')
    """
    if math.isnan(rate):
        return UNKNOWN
    return f"{100 * rate:.{1 if 0 < rate < 0.0095 or 0.9905 < rate < 1 else 0}f} %"


def interval(low: float, high: float) -> str:
    """Write an interval of shares.

    >>> interval(0.231, 0.354)
    '23–35 %'
    """
    if math.isnan(low) or math.isnan(high):
        return UNKNOWN
    return f"{100 * low:.0f}–{100 * high:.0f} %"


def millimetres(length_mm: float) -> str:
    """Write a length on the sensor.

    >>> millimetres(0.03), millimetres(0.12345)
    ('0.030 mm', '0.123 mm')
    """
    return UNKNOWN if math.isnan(length_mm) else f"{length_mm:.3f} mm"


def signed(number: float, form: str = ".0f") -> str:
    """Write a number with a minus as it is printed; just below 0 it keeps its sign.

    >>> signed(-8.2), signed(-0.1), signed(37.0, "+.0f")
    ('−8', '−0', '+37')
    """
    return f"{number:{form}}".replace("-", "−")


def points(difference: float) -> str:
    """Write a difference of shares in percentage points.

    >>> points(0.123), points(-0.01)
    ('12 points', '−1 point')
    """
    if math.isnan(difference):
        return UNKNOWN
    number = round(100 * difference)
    return f"{signed(number, 'd')} {'point' if abs(number) == 1 else 'points'}"


def points_interval(low: float, high: float) -> str:
    """Write an interval of a difference of shares.

    >>> points_interval(-0.08, 0.14), points_interval(-0.001, 0.37)
    ('−8 to 14', '−0 to 37')
    """
    known = not math.isnan(low) and not math.isnan(high)
    return f"{signed(100 * low)} to {signed(100 * high)}" if known else UNKNOWN


def times(ratio: float) -> str:
    """Write how many times as often, or an hour, to two figures.

    >>> times(4.23), times(37.2), times(float("nan"))
    ('4.2', '37', '–')
    """
    return UNKNOWN if math.isnan(ratio) else f"{ratio:.{1 if ratio < 10 else 0}f}"


def times_span(low: float, high: float) -> str:
    """Write an interval of that.

    >>> times_span(1.2, 14.1)
    '1.2–14'
    """
    return UNKNOWN if math.isnan(low) or math.isnan(high) else f"{times(low)}–{times(high)}"


def counted(number: float, one: str, many: str = "") -> str:
    """Write a number with its noun in the right form, thousands set apart.

    >>> counted(1, "burst"), counted(500, "frame"), counted(2, "has", "have")
    ('1 burst', '500 frames', '2 have')
    """
    return f"{whole(number)} {one if number == 1 else many or f'{one}s'}"


def whole(number: float) -> str:
    r"""Write a count; four figures stay together, longer ones are set apart by thin gaps.

    >>> whole(9999), whole(12345).replace("\u202f", "'")
    ('9999', "12'345")
    """
    return f"{int(number)}" if abs(number) < 10000 else f"{int(number):,}".replace(",", "\u202f")


def about(number: float) -> str:
    """Write a count that is only known roughly, to two figures.

    >>> about(1928), about(37)
    ('1900', '37')
    """
    return whole(float(f"{number:.2g}"))


def shorten(text: str, limit: int) -> str:
    """Cut a long name in its middle, so that both ends can be told.

    >>> shorten("crossing", 20), shorten("the crossing at the old mill", 14)
    ('crossing', 'the cro…d mill')
    """
    if len(text) <= limit:
        return text
    tail = max(limit - 1, 2) // 2
    return f"{text[: max(limit - 1, 2) - tail]}…{text[-tail:]}"


def listed(parts: Iterable[str]) -> str:
    """Join words as a list is spoken.

    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    words = list(parts)
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + f" and {words[-1]}" if words else ""


def distance_span(from_m: float, to_m: float, units: str) -> str:
    """Write two distances with one unit.

    >>> distance_span(1.246, 5.05, "m"), distance_span(3.03, float("inf"), "ft")
    ('1.25–5.05 m', '9.9 ft–∞')
    """
    if math.isnan(from_m) or math.isnan(to_m):
        return UNKNOWN
    start, end = format_distance(from_m, units), format_distance(to_m, units)
    return f"{start.removesuffix(f' {units}') if end.endswith(units) else start}–{end}"


def far_limit(far_m: float, focus_m: float, units: str) -> str:
    """Write a far limit; one beyond twenty times the focus distance only by that bound.

    >>> far_limit(70.0, 2.5, "m"), far_limit(5.0, 2.5, "m")
    ('beyond 50 m', '5 m')
    """
    if FAR_IS_UNSURE * focus_m < far_m < math.inf:
        return f"beyond {format_distance(FAR_IS_UNSURE * focus_m, units)}"
    return format_distance(far_m, units)


def zone(near_m: float, far_m: float, focus_m: float, units: str) -> str:
    """Write a sharp zone; an ill-conditioned far limit is written as "beyond" its bound.

    >>> zone(1.5, 70.0, 2.5, "m")
    '1.5 m to beyond 50 m'
    """
    far = far_limit(far_m, focus_m, units)
    if far.startswith("beyond"):
        return f"{format_distance(near_m, units)} to {far}"
    return distance_span(near_m, far_m, units)


def band(from_m: float, to_m: float, units: str) -> str:
    """Write a distance band.

    >>> band(0, 1, "m"), band(2, 3, "m"), band(10, float("inf"), "m")
    ('under 1 m', '2–3 m', '10 m and beyond')
    """
    if from_m == 0:
        return f"under {format_distance(to_m, units)}"
    if math.isinf(to_m):
        return f"{format_distance(from_m, units)} and beyond"
    return distance_span(from_m, to_m, units)


def setting(focal_length_mm: float, number: float, focus_m: float, units: str) -> str:
    """Write a zone setting as it is set on the lens.

    >>> setting(28, 8, 2.5, "m")
    '28 mm f/8 at 2.5 m'
    """
    if math.isnan(focal_length_mm) and math.isnan(number):
        return ""
    return f"{focal_length_mm:g} mm {format_f_number(number)} at {format_distance(focus_m, units)}"


def exposure(time_s: float, iso: float) -> str:
    """Write exposure time and ISO, as far as they are known.

    >>> exposure(0.002, 400.0), exposure(float("nan"), 400.0)
    ('1/500 s, ISO 400', 'ISO 400')
    """
    time = "" if math.isnan(time_s) else format_exposure_time(time_s)
    return ", ".join(part for part in (time, "" if math.isnan(iso) else f"ISO {iso:.0f}") if part)
