"""The scale along which subjects are drawn: the lens's own engravings by ratio, infinity at the end."""

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from auditor.optics.rings import ring_unit
from auditor.units import METRES_PER_FOOT

INFINITY_AT = 0.95  # what lies beyond is infinity's
APART, APART_NARROW = 0.045, 0.105  # least distance of two numbers, on a desk and on a telephone
_BEYOND = 15.0  # metres; a far limit beyond every subject need not be reached


class Engraving(NamedTuple):
    """One mark of the ring."""

    at: float  # place along the scale, from 0 to 1
    label: str  # as engraved
    wide: bool  # whether there is room for the number on a wide page,
    narrow: bool  # and on a narrow one
    in_use: bool  # whether the ring stands here


class RingScale(NamedTuple):
    """A scale of distances [m] with its ends; ``endless`` where infinity is on it."""

    from_m: float
    to_m: float
    endless: bool

    def at(self, distance_m: float) -> float:
        """Place of a distance, from 0 to 1; what is beyond an end lies on it.

        >>> RingScale(1.0, 4.0, False).at(2.0), RingScale(1.0, 4.0, True).at(float("inf"))
        (0.5, 1.0)
        """
        if math.isinf(distance_m):
            return 1.0
        reach = INFINITY_AT if self.endless else 1.0
        share = math.log(max(distance_m, self.from_m) / self.from_m) / math.log(self.to_m / self.from_m)
        return reach * min(share, 1.0)

    def holds(self, distance_m: float) -> bool:
        """Whether a distance has a place of its own."""
        return self.endless if math.isinf(distance_m) else self.from_m <= distance_m <= self.to_m


def scale_of(distances_m: Iterable[float], zones_m: Iterable[tuple[float, float]]) -> RingScale:
    """Choose a scale that holds every subject and every zone, as far as the zones are finite."""
    met = [distance for distance in distances_m if 0 < distance < math.inf]
    zones = [(near, far) for near, far in zones_m if near > 0]
    farthest = [min(far, _BEYOND) for _, far in zones if math.isfinite(far)]
    low = min([*met, *(near for near, _ in zones)], default=1.0)
    high = max([*met, *farthest, *(2 * near for near, _ in zones)], default=4.0)
    return RingScale(max(0.9 * low, 0.1), 1.12 * max(high, 2 * low), any(math.isinf(far) for _, far in zones))


def engraved(ring_m: float, unit: str) -> str:
    """Write an engraving in the ring's own unit."""
    return "∞" if math.isinf(ring_m) else f"{ring_m / (METRES_PER_FOOT if unit == 'ft' else 1.0):.3g}"


def around(count: int, wanted: int, most: int) -> list[int]:
    """Choose neighbours around the one of so many that is wanted.

    >>> around(9, 7, 5), around(3, 0, 5)
    ([4, 5, 6, 7, 8], [0, 1, 2])
    """
    start = min(max(wanted - most // 2, 0), max(count - most, 0))
    return list(range(count))[start : start + most]


def engravings(scale: RingScale, ring_m: Sequence[float], focus_m: float) -> tuple[Engraving, ...]:
    """Put the ring's engravings [m], and where it stands, on the scale; numbers only where there is room."""
    held = [ring for ring in ring_m if scale.holds(ring)]
    if not any(_same(ring, focus_m) for ring in held) and not math.isnan(focus_m):
        held.append(focus_m)
    # The ring's own stand first, then infinity, then from the near end on.
    order = sorted(held, key=lambda ring: (not _same(ring, focus_m), not math.isinf(ring), ring))
    wide, narrow = (_with_room([scale.at(ring) for ring in order], apart) for apart in (APART, APART_NARROW))
    unit = ring_unit(ring_m)
    return tuple(
        sorted(
            Engraving(scale.at(ring), engraved(ring, unit), on_desk, on_telephone, _same(ring, focus_m))
            for ring, on_desk, on_telephone in zip(order, wide, narrow, strict=True)
        )
    )


def _with_room(places: Sequence[float], apart: float) -> list[bool]:
    """For each place in turn, whether it is far enough from those that have room already."""
    chosen: list[float] = []
    room = []
    for place in places:
        room.append(all(abs(place - other) >= apart for other in chosen))
        chosen += [place] if room[-1] else []
    return room


def _same(ring_m: float, focus_m: float) -> bool:
    return ring_m == focus_m or math.isclose(ring_m, focus_m, rel_tol=0.02)
