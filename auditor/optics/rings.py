"""What stands on a lens: the engravings of its ring, the places between two of them, its stops.

A ring can be set to an engraving, or midway between two; nothing finer is ever advised. Midway is meant as
the eye sees it on the ring: rings turn evenly with the lens's extension f^2 / (s - f) (a plain helicoid,
common practice, no source), so the middle between 2 and 3 m lies at 2.4 m.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

import numpy as np

from auditor.optics.lens import MM_PER_M, DistanceFrom, Floats, from_lens, to_convention
from auditor.units import METRES_PER_FOOT

Units: TypeAlias = Literal["m", "ft"]

# Engravings met on most rings (common practice, no source); neither list is converted from the other.
USUAL_RING_M = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, np.inf)
USUAL_RING_FT = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 7.0, 10.0, 15.0, 30.0, np.inf)
USUAL_REACH = 8.0  # focal lengths; few lenses focus nearer (common practice, no source)

# Nominal f-numbers, as engraved: the series of the square root of 2 in usual rounding.
FULL_STOPS = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0)
HALF_STOPS = (1.4, 1.7, 2.0, 2.4, 2.8, 3.3, 4.0, 4.8, 5.6, 6.7, 8.0, 9.5, 11.0, 13.0, 16.0, 19.0, 22.0)
THIRD_STOPS = (
    1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0,
    14.0, 16.0, 18.0, 20.0, 22.0,
)  # fmt: skip
STOPS = {"full": FULL_STOPS, "half": HALF_STOPS, "third": THIRD_STOPS}


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere a ring can be set to: an engraving, or midway between two [m]."""

    distance_m: float
    between_m: tuple[float, float] | None = None  # the engravings that it lies between; None for one


def ring_unit(ring_m: Sequence[float]) -> Units:
    """Tell from its engravings whether a ring counts in metres or in feet.

    >>> ring_unit([1.0, 1.2, 1.5, float("inf")]), ring_unit([0.9144, 1.524, 3.048])
    ('m', 'ft')
    """
    feet = [4 * ring / METRES_PER_FOOT for ring in ring_m if math.isfinite(ring)]
    return "ft" if feet and all(abs(value - round(value)) < 1e-3 for value in feet) else "m"


def usual_ring_m(units: str) -> tuple[float, ...]:
    """The usual engravings of a unit, ``m`` or ``ft`` [m]."""
    if units == "m":
        return USUAL_RING_M
    return tuple(feet * METRES_PER_FOOT for feet in USUAL_RING_FT)


def within_reach(engravings_m: Sequence[float], focal_length_mm: float) -> tuple[float, ...]:
    """Usual engravings that a lens is likely to have: those beyond eight focal lengths."""
    return tuple(metres for metres in engravings_m if metres >= USUAL_REACH * focal_length_mm / MM_PER_M)


def places_on(
    engravings_m: Sequence[float], focal_length_mm: float, distance_from: DistanceFrom = "sensor"
) -> tuple[Place, ...]:
    """Every place that a ring can be set to, ascending: its engravings, and midway between neighbours.

    Engravings that the lens cannot focus to are left out.

    >>> [round(place.distance_m, 2) for place in places_on((2.0, 3.0), 28)]
    [2.0, 2.4, 3.0]
    """
    marks = [
        float(mark)
        for mark in sorted(set(engravings_m))
        if not np.isnan(from_lens(mark, focal_length_mm, distance_from))
    ]
    focal_m = focal_length_mm / MM_PER_M
    with np.errstate(divide="ignore"):
        pull = 1 / (np.asarray(from_lens(marks, focal_length_mm, distance_from)) - focal_m)
        middle = to_convention(2 / (pull[1:] + pull[:-1]) + focal_m, focal_length_mm, distance_from)
    places = [Place(mark) for mark in marks]
    places += [Place(float(at), pair) for at, pair in zip(middle, pairwise(marks), strict=True)]
    return tuple(sorted(places, key=lambda place: place.distance_m))


def within(places: Sequence[Place], from_m: float, to_m: float) -> tuple[Place, ...]:
    """The places from one distance to another; an engraving wherever there is one, else what lies midway."""
    inside = [place for place in places if from_m <= place.distance_m <= to_m]
    return tuple([place for place in inside if place.between_m is None] or inside)


def nearest_place(places: Sequence[Place], wanted_m: float) -> Place:
    """The place nearest to a distance, as the ring turns (in 1/distance); ``ValueError`` without a place."""
    return min(places, key=lambda place: abs(1 / place.distance_m - 1 / wanted_m))


def neighbours(f_number: float, stops: Sequence[float]) -> tuple[float, float]:
    """The mark of a scale that an f-number falls on, twice, or the two that it falls between.

    It falls on a mark within a quarter of the way to the next one, in stops. Beyond either end that end is
    given.

    >>> neighbours(10.7, FULL_STOPS), neighbours(9.5, FULL_STOPS)
    ((11.0, 11.0), (8.0, 11.0))
    """
    marks: Floats = np.asarray(sorted(stops), dtype=float)
    upper = int(np.searchsorted(marks, f_number))
    if upper in (0, len(marks)):
        end = float(marks[min(upper, len(marks) - 1)])
        return end, end
    low, high = float(marks[upper - 1]), float(marks[upper])
    part = np.log(f_number / low) / np.log(high / low)
    if part <= 0.25:
        return low, low
    return (high, high) if part >= 0.75 else (low, high)
