"""What is said in the ring's own language: places, leeway, and how to read the engraved scale."""

import math
from collections.abc import Sequence

from auditor.optics.bench import Bench
from auditor.optics.ring_check import extension_mm, true_focus_m
from auditor.optics.rings import FULL_STOPS, Place, neighbours
from auditor.units import format_distance, format_f_number

SAME_MARK = 2 ** (1 / 8)  # f-numbers nearer than a quarter of a stop are read alike
FULL_FRAME_MM = 43.27


def place_name(place: Place, units: str) -> str:
    """Write a place as a photographer finds it on the ring.

    >>> place_name(Place(3.0), "m"), place_name(Place(2.4, (2.0, 3.0)), "m")
    ('3 m', 'midway between 2 and 3 m')
    """
    if place.between_m is None:
        return format_distance(place.distance_m, units)
    low, high = (format_distance(end, units) for end in place.between_m)
    return f"midway between {_without_unit(low, high, units)} and {high}"


def _without_unit(low: str, high: str, units: str) -> str:
    return low.removesuffix(f" {units}") if high.endswith(units) else low


def ring_at(place: Place, units: str) -> str:
    """Write where to set the ring.

    >>> ring_at(Place(3.0), "m"), ring_at(Place(2.4, (2.0, 3.0)), "m")
    ('ring at 3 m', 'ring midway between 2 and 3 m')
    """
    return f"ring {'at ' if place.between_m is None else ''}{place_name(place, units)}"


def anywhere(places: Sequence[Place], units: str) -> str:
    """Write the leeway of the ring, by the places within it; empty without any.

    >>> anywhere((Place(2.0), Place(2.5), Place(3.0)), "m"), anywhere((Place(2.0),), "m")
    ('anywhere from 2 to 3 m', '2 m')
    """
    if len(places) < 2:
        return place_name(places[0], units) if places else ""
    low, high = (place_name(end, units) for end in (places[0], places[-1]))
    return f"anywhere from {_without_unit(low, high, units)} to {high}"


def marks(f_number: float) -> str:
    """Write which marks of an engraved scale an f-number falls on.

    >>> marks(10.7), marks(9.4), marks(40.0), marks(0.9)
    ('f/11', 'halfway from f/8 to f/11', 'past f/22', 'inside f/1.4')
    """
    low, high = neighbours(f_number, FULL_STOPS)
    if low == high:
        beyond = "past " if f_number > low * SAME_MARK else "inside " if f_number < low / SAME_MARK else ""
        return f"{beyond if low in (FULL_STOPS[0], FULL_STOPS[-1]) else ''}{format_f_number(low)}"
    return f"halfway from {format_f_number(low)} to {format_f_number(high)}"


def scale_serves(f_number: float, coc_mm: float, bench: Bench) -> bool:
    """Whether the marks of the f-number that is set show the zone, as near as a scale is read."""
    return 1 / SAME_MARK <= bench.read_range(f_number, coc_mm)[0] / f_number <= SAME_MARK


def scale_is_known(f_number: float, coc_mm: float, bench: Bench) -> bool:
    """Whether the two criteria leave the reading of the scale less than four stops."""
    _, low, high = bench.read_range(f_number, coc_mm)
    return high < 4 * low


def read_scale(f_number: float, coc_mm: float, bench: Bench) -> list[str]:
    """Say how to read the engraved scale, and what it is worth on a smaller sensor."""
    number, low, high = bench.read_range(f_number, coc_mm)
    scale, sensor = bench.scale, bench.sensor
    top = f"{scale.high_mm:.3f}" if math.isfinite(scale.high_mm) else "more"
    span = f" ({scale.low_mm:.3f} to {top})" if scale.low_mm < scale.high_mm else ""
    read = f"shoot {format_f_number(f_number)}, read {marks(number)}"
    if scale_serves(f_number, coc_mm, bench):
        read = "it serves as it is"
    if is_off := bool(round(bench.shift_mm, 3)):
        read = (
            "every mark of this ring is off, so the scale reads wrong distances; go by the limits given here"
        )
    elif not scale_is_known(f_number, coc_mm, bench):
        read = "how to read it for your eye is not known yet"
    lines = [f"Engraved scale (made for {scale.coc_mm:.3f} mm{span}, {scale.source}): {read}."]
    first, last = neighbours(low, FULL_STOPS)[0], neighbours(min(high, FULL_STOPS[-1]), FULL_STOPS)[1]
    if first != last and low < high < 4 * low and not is_off:
        span = f"{format_f_number(first)} to {format_f_number(last)}"
        lines.append(f"  Anything from {span} is possible; it is not known better yet.")
    if sensor.diagonal_mm < 0.95 * FULL_FRAME_MM:
        size, times = f"{sensor.width_mm:.3g} x {sensor.height_mm:.3g} mm", FULL_FRAME_MM / sensor.diagonal_mm
        lines.append(
            f"  On {size} the picture is enlarged {times:.2g} times as much as on 36 x 24 mm, for which such "
            "scales are engraved."
        )
    if scale.contradiction:
        contrary = " and ".join(bench.readings[at] for at in scale.contradiction)
        lines.append(f"  The readings contradict each other: {contrary}. Read them again.")
    return lines


def ring_shift(focus_m: float, bench: Bench) -> list[str]:
    """Say where a mark really focuses, why, and which readings do not fit; nothing where nobody measured."""
    if bench.shift is None:
        return []
    shift_mm, out = bench.shift_mm, bench.shift_mm > 0
    way, fault = ("out", "thick") if out else ("in", "thin")
    true = bench.shown(float(true_focus_m(focus_m, **bench.lens)))
    e_mm = float(extension_mm(focus_m, bench.focal_length_mm, bench.distance_from)) + shift_mm
    past = ", past infinity" if e_mm < 0 else ""
    fit = "; one length for all readings" if len(bench.checks) > 1 else ""
    lines = [
        f"By tape {', '.join(bench.checks)}{fit}: the mark {bench.shown(focus_m)} focuses at {true}{past}.",
        f"  The lens stands {abs(shift_mm):.3f} mm too far {way}, as with an adapter too {fault}.",
    ]
    if out:
        lines.append("  It never reaches infinity.")
    if bench.shift.disagree:
        doubtful = " and ".join(bench.checks[at] for at in bench.shift.disagree)
        lines.append(f"  No one adapter explains the readings; doubtful: {doubtful}. Measure again.")
    return lines
