"""The scale along which subjects are drawn: the lens's own engravings by ratio, infinity at the end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from auditor.units import METRES_PER_FOOT

INFINITY_AT = 0.95  # what lies beyond is infinity's
APART, APART_NARROW = 0.045, 0.105  # least distance of two numbers, on a desk and on a telephone
_BEYOND = 15.0  # metres; a far limit beyond every subject need not be reached
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class Engraving:
    """One mark of the ring.

    Attributes
    ----------
    at : float
        Place along the scale, from 0 to 1.
    label : str
        Its number, as engraved.
    wide, narrow : bool
        Whether there is room for the number on a wide and on a narrow page.
    in_use : bool
        Whether the ring stands here.
    """

    at: float
    label: str
    wide: bool
    narrow: bool
    in_use: bool


@dataclass(frozen=True, slots=True)
class RingScale:
    """A scale of distances [m] with its ends; ``endless`` where infinity is on it."""

    from_m: float
    to_m: float
    endless: bool

    def at(self, distance_m: float) -> float:
        """Place of a distance, from 0 to 1; what is beyond an end lies on it.

        Examples
        --------
        >>> RingScale(1.0, 4.0, False).at(2.0), RingScale(1.0, 4.0, True).at(float("inf"))
        (0.5, 1.0)
        """
        if math.isinf(distance_m):
            return 1.0
        reach = INFINITY_AT if self.endless else 1.0
        share = math.log(max(distance_m, self.from_m) / self.from_m) / math.log(self.to_m / self.from_m)
        return reach * min(share, 1.0)


def scale_of(distances_m: Iterable[float], zones_m: Iterable[tuple[float, float]]) -> RingScale:
    """Choose a scale that holds every subject and every zone, as far as the zones are finite."""
    met = [distance for distance in distances_m if 0 < distance < math.inf]
    zones = [(near, far) for near, far in zones_m if near > 0]
    farthest = [min(far, _BEYOND) for _, far in zones if math.isfinite(far)]
    low = min([*met, *(near for near, _ in zones)], default=1.0)
    high = max([*met, *farthest, *(2 * near for near, _ in zones)], default=4.0)
    return RingScale(max(0.9 * low, 0.1), 1.12 * max(high, 2 * low), any(math.isinf(far) for _, far in zones))


def ring_unit(ring_m: Sequence[float]) -> str:
    """Tell from its engravings whether a ring counts in metres or in feet.

    Examples
    --------
    >>> ring_unit([0.7, 1.0, 1.5, float("inf")]), ring_unit([0.9144, 1.524, 3.048])
    ('m', 'ft')
    """
    feet = [_QUARTERS * ring / METRES_PER_FOOT for ring in ring_m if math.isfinite(ring)]
    return "ft" if feet and all(abs(value - round(value)) < 1e-3 for value in feet) else "m"


def engravings(scale: RingScale, ring_m: Sequence[float], focus_m: float) -> tuple[Engraving, ...]:
    """Put the ring's engravings, and where it stands, on the scale; numbers only where there is room.

    Parameters
    ----------
    scale : RingScale
    ring_m : sequence of float
        The ring's own engravings [m], in its own unit once written.
    focus_m : float
        Where the ring stands.
    """
    unit = METRES_PER_FOOT if ring_unit(ring_m) == "ft" else 1.0
    held = [
        ring for ring in ring_m if scale.from_m <= ring <= scale.to_m or (math.isinf(ring) and scale.endless)
    ]
    if not any(_same(ring, focus_m) for ring in held) and not math.isnan(focus_m):
        held.append(focus_m)
    # The ring's own stand first, then infinity, then from the near end on.
    order = sorted(held, key=lambda ring: (not _same(ring, focus_m), not math.isinf(ring), ring))
    wide: list[float] = []
    narrow: list[float] = []
    for ring in order:
        for chosen, apart in ((wide, APART), (narrow, APART_NARROW)):
            if all(abs(scale.at(ring) - scale.at(other)) >= apart for other in chosen):
                chosen.append(ring)
    return tuple(
        Engraving(
            scale.at(ring),
            "∞" if math.isinf(ring) else f"{ring / unit:.3g}",
            ring in wide,
            ring in narrow,
            _same(ring, focus_m),
        )
        for ring in sorted(held)
    )


def _same(ring_m: float, focus_m: float) -> bool:
    return ring_m == focus_m or math.isclose(ring_m, focus_m, rel_tol=0.02)
