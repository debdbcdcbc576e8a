"""The inverse problems: which ring and which f-number for what should be sharp.

In 1/distance the zone is q + (1 - f q) k to q - (1 - f q) k, with q = 1/s and k = N c / f^2. So the ring
belongs in the middle of the wanted limits, whatever the f-number (their harmonic mean), and the f-number
follows from the half-width. What a plan names is a place on the ring near that middle.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.errors import SettingError
from auditor.optics.lens import (
    MM_PER_M,
    DistanceFrom,
    Floats,
    Zone,
    from_lens,
    half_width,
    sharp_zone,
    to_convention,
)
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import FULL_STOPS, Place, nearest_place, within

_ROUNDING = 1e-9  # a limit this close, relatively, counts as covered


@dataclass(frozen=True, slots=True)
class Plan:
    """One setting for each f-number; arrays of shape (stops,)."""

    f_number: Floats
    focus_distance_m: Floats  # what the ring says
    places: tuple[Place, ...]
    zone: Zone
    covers: npt.NDArray[np.bool_]  # the wanted limits lie inside
    focus_from_m: Floats  # any mark of the ring from here to there covers them too; NaN where none does
    focus_to_m: Floats


def best_focus_m(
    near_m: npt.ArrayLike,
    far_m: npt.ArrayLike,
    focal_length_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Focus distance at which both wanted limits are equally blurred: their harmonic mean from the lens [m].

    The far limit may be infinite, which gives twice the near one.

    >>> float(best_focus_m(2.0, 6.0, 28, "lens")), float(best_focus_m(2.0, float("inf"), 28, "lens"))
    (3.0, 4.0)
    """
    with np.errstate(all="ignore"):
        ends = [1 / from_lens(limit, focal_length_mm, distance_from) for limit in (near_m, far_m)]
        return to_convention(2 / (ends[0] + ends[1]), focal_length_mm, distance_from)


def widest_f_number(
    near_m: npt.ArrayLike,
    far_m: npt.ArrayLike,
    focal_length_mm: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Smallest f-number whose zone reaches from the near to the far limit, at the best focus distance.

    Exact, not rounded to a stop; NaN where the limits are unknown or crossed.

    >>> round(float(widest_f_number(2.0, 6.0, 28, 0.03, "lens")), 2)
    4.4
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    with np.errstate(all="ignore"):
        start, end = (1 / from_lens(limit, focal, distance_from) for limit in (near_m, far_m))
        slack = 1 - focal / MM_PER_M * (start + end) / 2
        number = (start - end) / 2 / (slack * half_width(focal, 1.0, coc_mm))
        return np.where(number >= 0, number, np.nan)[()]


def plan_limits(
    focal_length_mm: float,
    near_m: float,
    far_m: float,
    coc_mm: npt.ArrayLike,
    places: Sequence[Place],
    f_stops: npt.ArrayLike = FULL_STOPS,
    distance_from: DistanceFrom = "sensor",
    shift_mm: float = 0.0,
) -> Plan:
    """Best place on the ring at each f-stop for wanted limits, and whether it covers them.

    Of the places that cover, an engraving goes before one midway between two, and then the one nearest the
    best focus distance is taken; where none covers, the place nearest to it. The far limit may be infinite;
    the circle of confusion is one, or one for each f-stop.

    Raises SettingError if the limits are crossed, the near one is out of the lens's reach, or the ring has no
    place within it.
    """
    if not near_m <= far_m:
        raise SettingError(
            f"The near limit ({near_m:g} m) lies beyond the far limit ({far_m:g} m).", "Exchange the two."
        )
    if np.isnan(from_lens(near_m, focal_length_mm, distance_from)) or np.isinf(near_m):
        raise SettingError(
            f"The near limit ({near_m:g} m) cannot be focused with {focal_length_mm:g} mm.",
            f"Give one beyond {4 * focal_length_mm / MM_PER_M:g} m and short of infinity.",
        )
    if not places:
        raise SettingError(
            f"A {focal_length_mm:g} mm lens can be set to none of the engravings.", "Give its ring: --ring."
        )
    stops = np.atleast_1d(np.asarray(f_stops, dtype=float))
    leeway = focus_leeway_m(near_m, far_m, focal_length_mm, stops, coc_mm, distance_from, shift_mm)
    best_m = best_focus_m(near_m, far_m, focal_length_mm, distance_from)
    mark_m = float(true_focus_m(best_m, focal_length_mm, -shift_mm, distance_from))
    chosen = tuple(
        nearest_place(within(places, start * (1 - _ROUNDING), end * (1 + _ROUNDING)) or places, mark_m)
        for start, end in zip(*leeway, strict=True)
    )
    focus = np.array([place.distance_m for place in chosen])
    zone = sharp_zone(focal_length_mm, stops, focus, coc_mm, distance_from, shift_mm)
    covers = (zone.near_limit_m <= near_m * (1 + _ROUNDING)) & (zone.far_limit_m >= far_m * (1 - _ROUNDING))
    return Plan(stops, focus, chosen, zone, covers, *leeway)


def focus_leeway_m(
    near_m: npt.ArrayLike,
    far_m: npt.ArrayLike,
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
    shift_mm: float = 0.0,
) -> tuple[Floats, Floats]:
    """Nearest and farthest mark of the ring whose zone still covers wanted limits [m]; NaN where none does.

    The near limit is kept while q >= (1/near - k) / (1 - f k), the far one while q <= (1/far + k) /
    (1 + f k). The mark for q has its extension less the shift: 1 / (s - f) = q / (1 - f q) - delta / f^2.
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    focal_m = focal / MM_PER_M
    with np.errstate(all="ignore"):
        width = half_width(focal, f_number, coc_mm)
        start, end = (1 / from_lens(limit, focal, distance_from) for limit in (near_m, far_m))
        ends = (start - width) / (1 - focal_m * width), (end + width) / (1 + focal_m * width)
        least, most = (q / (1 - focal_m * q) - shift_mm * MM_PER_M / focal**2 for q in ends)
        least = np.maximum(least, 0.0)  # no ring goes past its infinity
        least, most = np.where(least <= most, (least, most), np.nan)
        nearest, farthest = (
            to_convention(1 / pull + focal_m, focal, distance_from) for pull in (most, least)
        )
        return nearest, farthest
