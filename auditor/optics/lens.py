"""Where things stand, and what is sharp: the thin lens, in its exact form.

Distances are counted from the sensor plane (as rings are engraved and tapes are read) or from the lens (as
formulas and most printed tables do); ``distance_from`` says which, and results come back in the convention
they were asked in. Every formula works on the distance from the lens, and in the reciprocal 1/distance, in
which infinity is an ordinary number: with q = 1/s,

    1/near = q + (1 - f q) N c / f^2,    1/far = q - (1 - f q) N c / f^2,

which is the usual near = s f^2 / (f^2 + N c (s - f)) and its partner. The hyperfocal distance is the focus
distance whose 1/far is nought, f^2 / (N c) + f from the lens. The same triangles give the blur disc of
:func:`auditor.optics.blur.defocus_mm`, so a point at either limit blurs to exactly c.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]  # an array, or a numpy float where scalars went in
DistanceFrom: TypeAlias = Literal["sensor", "lens"]

MM_PER_M = 1000.0
_ROUNDING = 1e-12  # a 1/far smaller than this part of the half-width is nought but for rounding


def known(*values: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Where every value is above zero and finite; broadcast.

    >>> known([8.0, 0.0, -1.0, float("nan"), float("inf")], 0.03).tolist()
    [True, False, False, False, False]
    """
    all_known: npt.NDArray[np.bool_] = np.asarray(True)
    for value in values:
        array = np.asarray(value, dtype=float)
        all_known = all_known & (array > 0) & (array < np.inf)
    return all_known


def from_lens(
    distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike, distance_from: DistanceFrom
) -> Floats:
    """Turn a distance [m] in either convention into that from the lens; NaN where it cannot be focused.

    Raises ValueError if ``distance_from`` is neither ``sensor`` nor ``lens``.
    """
    if distance_from == "sensor":
        return lens_distance_m(distance_m, focal_length_mm)
    if distance_from == "lens":
        distance = np.asarray(distance_m, dtype=float)
        with np.errstate(invalid="ignore"):
            possible = known(focal_length_mm) & (distance * MM_PER_M > np.asarray(focal_length_mm, float))
        return np.where(possible, distance, np.nan)[()]
    raise ValueError(f"distance_from is {distance_from!r}, neither 'sensor' nor 'lens'")


def to_convention(
    lens_distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike, distance_from: DistanceFrom
) -> Floats:
    """Turn a distance from the lens [m] back into the convention that was asked for [m]."""
    if distance_from == "sensor":
        return sensor_distance_m(lens_distance_m, focal_length_mm)
    return np.asarray(lens_distance_m, dtype=float)[()]


def lens_distance_m(sensor_distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike) -> Floats:
    """Distance from the lens [m], at least 2f, of a point in focus at D from the sensor plane [m].

    Object and image distance add up to D and obey the lens equation, so u = (D + sqrt(D^2 - 4 f D)) / 2. The
    smaller root, an image larger than life, is not a photographer's ring. NaN for D below 4f, which no thin
    lens can focus.

    >>> round(float(lens_distance_m(1.0, 50)), 4), float(lens_distance_m(float("inf"), 50))
    (0.9472, inf)
    """
    distance = np.asarray(sensor_distance_m, dtype=float)
    focal_m = np.asarray(focal_length_mm, dtype=float) / MM_PER_M
    with np.errstate(all="ignore"):
        lens_distance = 0.5 * distance + np.sqrt(distance * (0.25 * distance - focal_m))
        return np.where((distance > 0) & (focal_m > 0), lens_distance, np.nan)[()]


def sensor_distance_m(lens_distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike) -> Floats:
    """Distance from the sensor plane [m] of a point in focus at u from the lens [m].

    D = u + u f / (u - f), object distance and image distance together; NaN for u below 2f, where the image is
    larger than life and D would grow again.

    >>> round(float(sensor_distance_m(0.1, 50)), 4), round(float(sensor_distance_m(2.0, 50)), 4)
    (0.2, 2.0513)
    """
    focal_m = np.asarray(focal_length_mm, dtype=float) / MM_PER_M
    with np.errstate(all="ignore"):
        focal_m = np.where(focal_m > 0, focal_m, np.nan)
        return _outward(np.asarray(lens_distance_m, dtype=float), focal_m)[()]


def _outward(distance: Floats, focal_m: Floats) -> Floats:
    """Distance from the sensor plane of one from the lens, for a focal length that is not nought."""
    beyond = distance - focal_m
    return np.where(beyond >= focal_m, distance + focal_m + focal_m * focal_m / beyond, np.nan)


def magnification(lens_distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike) -> Floats:
    """Size of the image over the size of the object, m = f / (u - f) [1]; NaN for u at or below f.

    >>> float(magnification(0.1, 50)), float(magnification(float("inf"), 50))
    (1.0, 0.0)
    """
    focal_m = np.asarray(focal_length_mm, dtype=float) / MM_PER_M
    with np.errstate(all="ignore"):
        ratio = focal_m / (np.asarray(lens_distance_m, dtype=float) - focal_m)
        return np.where((ratio >= 0) & (focal_m > 0), ratio, np.nan)[()]


def shifted_pull(
    lens_focus_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike, shift_mm: npt.ArrayLike
) -> Floats:
    """Extension over f^2, E / f^2 = 1 / (s - f) + delta / f^2 [1/m]; below nought past infinity."""
    focal = np.asarray(focal_length_mm, dtype=float)
    with np.errstate(all="ignore"):
        pull: Floats = 1 / (np.asarray(lens_focus_m, dtype=float) - focal / MM_PER_M)
        if np.any(shift_mm):
            pull = pull + np.asarray(shift_mm, dtype=float) * MM_PER_M / focal**2
    return pull


def half_width(focal_length_mm: npt.ArrayLike, f_number: npt.ArrayLike, coc_mm: npt.ArrayLike) -> Floats:
    """N c / f^2 [1/m]: half the width of the zone in 1/distance, but for the factor 1 - f/s."""
    focal = np.asarray(focal_length_mm, dtype=float)
    number = np.asarray(f_number, dtype=float)
    coc = np.asarray(coc_mm, dtype=float)
    with np.errstate(all="ignore"):
        return np.where(known(focal, number, coc), MM_PER_M * number * coc / focal**2, np.nan)[()]


def hyperfocal_m(
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Nearest focus distance that keeps infinity sharp, f^2 / (N c) + f from the lens [m].

    >>> round(float(hyperfocal_m(50, 8, 0.03, "lens")), 4), round(float(hyperfocal_m(50, 8, 0.03)), 4)
    (10.4667, 10.5169)
    """
    width = half_width(focal_length_mm, f_number, coc_mm)
    focal = np.asarray(focal_length_mm, dtype=float)
    with np.errstate(all="ignore"):
        return to_convention(1 / width + focal / MM_PER_M, focal, distance_from)


@dataclass(frozen=True, slots=True)
class Zone:
    """What is acceptably sharp at one setting, and its focus distance; fields of one shape."""

    near_limit_m: Floats
    far_limit_m: Floats
    hyperfocal_m: Floats
    focus_distance_m: Floats

    @property
    def depth_m(self) -> Floats:
        """Total depth of field [m]; infinite from the hyperfocal distance on."""
        return self.far_limit_m - self.near_limit_m

    @property
    def share_in_front(self) -> Floats:
        """Part of the depth in front of the focus distance: 0 where endless, unknown at infinity."""
        with np.errstate(all="ignore"):
            share = (self.focus_distance_m - self.near_limit_m) / self.depth_m
        return np.asarray(share)[()]


def sharp_zone(
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    focus_distance_m: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
    shift_mm: npt.ArrayLike = 0.0,
) -> Zone:
    """Near limit, far limit and hyperfocal distance of a setting.

    With the real extension E = e + delta, near = f (f + E) / (N c + E) and far = f (f + E) / (E - N c),
    from the lens: the formulas above with q = E / (f (f + E)), which may be below nought.

    NaN wherever an input is unknown or the focus distance is out of reach (below 4f from the sensor plane),
    and where the lens stands so far past infinity that nothing is sharp (-E > N c); the hyperfocal distance
    does not need a focus distance. The near limit alone is NaN where it would lie within 2f of the lens,
    counted from the sensor.

    >>> zone = sharp_zone(28, 8, 2.0, 0.03)
    >>> round(float(zone.near_limit_m), 3), round(float(zone.far_limit_m), 3)
    (1.265, 4.896)
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    width = half_width(focal, f_number, coc_mm)
    focus = from_lens(focus_distance_m, focal, distance_from)
    with np.errstate(all="ignore"):
        focal_m = focal / MM_PER_M
        vergence = 1 / focus
        if np.any(shift_mm):
            pull = shifted_pull(focus, focal, shift_mm)
            vergence = pull / (1 + focal_m * pull)
        half = (1 - focal_m * vergence) * width
        start, beyond = vergence + half, vergence - half
        limits = [
            np.where(start < 0, np.nan, 1 / start),
            np.where(start < 0, np.nan, np.where(beyond <= _ROUNDING * half, np.inf, 1 / beyond)),
            1 / width + focal_m,
        ]
        if distance_from == "sensor":
            limits = [_outward(limit, focal_m) for limit in limits]
    shaped = np.broadcast_arrays(*limits, np.asarray(focus_distance_m, dtype=float))
    return Zone(*(part[()] for part in shaped))
