"""The zone within which all blur together stays small, beside the plain one that knows defocus alone.

Seen in w = 1/u, with u from the lens, the squared blur is convex: defocus is the square of a straight line,
diffraction and movement grow with 1 / (1 - f w). So the distances that pass are one stretch or none, around
one best distance, and halving an interval finds each end surely.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.optics.blur import AIRY_FACTOR, WAVELENGTH_MM, crossing_share
from auditor.optics.lens import MM_PER_M, DistanceFrom, Floats, from_lens, known, shifted_pull, to_convention

_HALVINGS = 100


@dataclass(frozen=True, slots=True)
class CombinedZone:
    """Where all blur together stays within the circle of confusion; numpy floats or arrays of one shape."""

    near_limit_m: Floats  # NaN where nothing is sharp enough, or unknown
    far_limit_m: Floats
    empty: npt.NDArray[np.bool_]  # the inputs are known and no distance passes


@dataclass(frozen=True, slots=True)
class _Blur:
    """Squared blur as a function of w = 1/u: (a - b w)^2 + (m^2 w^2 + d^2) / (1 - f w)^2 + p^2, in metres."""

    offset: Floats
    slope: Floats
    moving: Floats
    still: Floats
    pixel: Floats
    focal: Floats

    def squared(self, w: Floats) -> Floats:
        spread = ((self.moving * w) ** 2 + self.still**2) / (1 - self.focal * w) ** 2
        return (self.offset - self.slope * w) ** 2 + spread + self.pixel**2

    def rise(self, w: Floats) -> Floats:
        """Half the derivative of the squared blur."""
        spread = (self.moving**2 * w + self.focal * self.still**2) / (1 - self.focal * w) ** 3
        return spread - self.slope * (self.offset - self.slope * w)


def combined_zone(
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    focus_distance_m: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    *,
    speed_m_s: npt.ArrayLike = 0.0,
    exposure_time_s: npt.ArrayLike = 0.0,
    crossing_deg: npt.ArrayLike | None = None,
    turn_deg_s: npt.ArrayLike = 0.0,
    pixel_pitch_mm: npt.ArrayLike = 0.0,
    distance_from: DistanceFrom = "sensor",
    shift_mm: npt.ArrayLike = 0.0,
) -> CombinedZone:
    """Distances between which defocus, diffraction and movement together stay within c.

    What is left at 0 does not count. A near limit within 2f of the lens is given as 2f.
    """
    focal, number, focus, coc, speed, time, across, turn, pixel = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (focal_length_mm, f_number, focus_distance_m, coc_mm)),
        *(np.asarray(v, dtype=float) for v in (speed_m_s, exposure_time_s, crossing_share(crossing_deg))),
        *(np.asarray(v, dtype=float) for v in (turn_deg_s, pixel_pitch_mm)),
    )
    with np.errstate(all="ignore"):
        focal_m = focal / MM_PER_M
        pull = shifted_pull(from_lens(focus, focal, distance_from), focal, shift_mm)
        opening = np.where(known(focal, number, coc), focal_m**2 / number, np.nan)
        blur = _Blur(
            offset=opening * pull,
            slope=opening * (1 + focal_m * pull),
            moving=np.where((speed >= 0) & (time >= 0), focal_m * across * speed * time, np.nan),
            still=np.hypot(
                AIRY_FACTOR * WAVELENGTH_MM * number / MM_PER_M, focal_m * np.deg2rad(turn) * time
            ),
            pixel=pixel / MM_PER_M,
            focal=focal_m,
        )
        focused = np.maximum(blur.offset / blur.slope, 0.0)  # past infinity, infinity is the best there is
        least = _turning_point(blur.rise, np.zeros_like(focused), focused)
        allowed = (coc / MM_PER_M) ** 2
        sure = ~np.isnan(blur.squared(least) + allowed)
        passes = blur.squared(least) <= allowed

        def excess(w: Floats) -> Floats:
            return blur.squared(w) - allowed

        nearest = _turning_point(excess, least, 0.5 / focal_m)
        farthest = _turning_point(lambda w: -excess(w), np.zeros_like(least), least)
        endless = blur.squared(np.zeros_like(least)) <= allowed
        near = np.where(passes, to_convention(1 / nearest, focal, distance_from), np.nan)
        far = np.where(endless, np.inf, to_convention(1 / farthest, focal, distance_from))
    return CombinedZone(
        near_limit_m=near[()],
        far_limit_m=np.where(passes, far, np.nan)[()],
        empty=np.asarray(sure & ~passes)[()],
    )


def _turning_point(rising: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where an increasing function passes nought, by halving; the bound where it does not pass."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = rising(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)
