"""How large a point becomes on the sensor, and why: defocus, diffraction, movement, pixel.

All parts are diameters in millimetres on the sensor. They are combined as the root of the sum of their
squares, the published model for defocus and diffraction (Hansma); the parts always stand beside the sum.

How good that root is was measured against wave optics (``tests/optics/test_waves.py``), as the even disc
that halves contrast at the same frequency. With the MTF50 disc for diffraction it is never too small, and at
most 14 % too large (a little out of focus, at a disc of 2.3 lambda N). With the Airy diameter, which the
columns of the frame table use, it is up to 41 % too large in focus, below 18 % once the blur disc exceeds
4 lambda N and below 7 % beyond 8 lambda N: it errs towards blur. Adding the diameters outright errs by over
50 %. No better combination was found in print.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import MM_PER_M, DistanceFrom, Floats, from_lens, known, magnification, shifted_pull

WAVELENGTH_MM = 550e-6  # green, where the eye is most sensitive
AIRY_FACTOR = 2.4393  # first dark ring: 2 j / pi, j = 3.8317 the first zero of J1
MTF50_FACTOR = 1.745  # disc that halves contrast where diffraction does
MEDIAN_CROSSING = 0.5**0.5  # median of |sin angle| where every direction is equally likely


def defocus_mm(
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    focus_distance_m: npt.ArrayLike,
    subject_distance_m: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
    shift_mm: npt.ArrayLike = 0.0,
) -> Floats:
    """Diameter of the blur disc of a point out of focus.

    b = f^2 / (N (s - f)) |u - s| / u, with s and u from the lens: similar triangles behind a thin lens.
    With the extension E, which is f^2 / (s - f) but for a shift: b = |E - (f + E) f / u| / N.

    >>> round(float(defocus_mm(35, 8, 3.0, 1.5, "lens")), 4)
    0.0516
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    focus = from_lens(focus_distance_m, focal, distance_from)
    subject = from_lens(subject_distance_m, focal, distance_from)
    with np.errstate(all="ignore"):
        focal_m = focal / MM_PER_M
        pull = shifted_pull(focus, focal, shift_mm)  # at infinity s / (s - f) = 1 + f pull stays finite
        opening_mm = focal * focal_m / _known_only(f_number)
        disc: Floats = opening_mm * np.abs(pull - (1 + focal_m * pull) / subject)
    return disc[()]


def _known_only(f_number: npt.ArrayLike) -> Floats:
    """f-numbers, NaN where one is not above zero and finite."""
    return np.where(known(f_number), np.asarray(f_number, dtype=float), np.nan)


def effective_f_number(f_number: npt.ArrayLike, magnification: npt.ArrayLike) -> Floats:
    """f-number that the sensor sees, N (1 + m); NaN where the f-number is unknown."""
    effective: Floats = _known_only(f_number) * (1 + np.asarray(magnification, dtype=float))
    return effective[()]


def airy_mm(f_number: npt.ArrayLike, magnification: npt.ArrayLike) -> Floats:
    """Diameter of the first dark ring of diffraction, 2.4393 lambda N (1 + m), lambda 550 nm.

    It overstates the loss of sharpness: most of the light lies well inside (see :func:`mtf50_disc_mm`).

    >>> round(float(airy_mm(8, 0.0)), 5)
    0.01073
    """
    return (AIRY_FACTOR * WAVELENGTH_MM * effective_f_number(f_number, magnification))[()]


def mtf50_disc_mm(f_number: npt.ArrayLike, magnification: npt.ArrayLike) -> Floats:
    """Even disc that halves contrast at the same frequency as diffraction does, 1.745 lambda N (1 + m).

    It is 28 % smaller than the Airy diameter.
    """
    return (MTF50_FACTOR * WAVELENGTH_MM * effective_f_number(f_number, magnification))[()]


def crossing_share(crossing_deg: npt.ArrayLike | None) -> Floats:
    """Part of a movement that the sensor sees: |sin| of its angle to the line of sight; None: the median."""
    with np.errstate(invalid="ignore"):
        return np.asarray(
            MEDIAN_CROSSING if crossing_deg is None else np.abs(np.sin(np.deg2rad(crossing_deg)))
        )


def motion_mm(
    focal_length_mm: npt.ArrayLike,
    subject_distance_m: npt.ArrayLike,
    speed_m_s: npt.ArrayLike,
    exposure_time_s: npt.ArrayLike,
    crossing_deg: npt.ArrayLike | None = None,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Length of the smear of a moving subject, m v t sin(angle); NaN for a speed or a time below 0.

    The angle lies between the way and the line of sight, 90 straight across, 0 towards the camera; None for
    unknown: the median crossing, 0.707 m v t.

    >>> round(float(motion_mm(35, 3.0, 1.4, 1 / 250, crossing_deg=90, distance_from="lens")), 4)
    0.0661
    """
    size = magnification(from_lens(subject_distance_m, focal_length_mm, distance_from), focal_length_mm)
    return _smear_mm(size * (MM_PER_M * crossing_share(crossing_deg)), speed_m_s, exposure_time_s)


def _smear_mm(scale: Floats, rate: npt.ArrayLike, exposure_time_s: npt.ArrayLike) -> Floats:
    """What a rate that is at least 0 smears in an exposure time that is at least 0; else NaN."""
    rate, time = np.asarray(rate, dtype=float), np.asarray(exposure_time_s, dtype=float)
    with np.errstate(all="ignore"):
        return np.where((rate >= 0) & (time >= 0), scale * (rate * time), np.nan)[()]


def camera_turn_mm(
    focal_length_mm: npt.ArrayLike,
    subject_distance_m: npt.ArrayLike,
    turn_deg_s: npt.ArrayLike,
    exposure_time_s: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Smear near the middle of the picture while the camera turns, f (1 + m) omega t, omega in degrees/s."""
    size = magnification(from_lens(subject_distance_m, focal_length_mm, distance_from), focal_length_mm)
    turned_mm = np.asarray(focal_length_mm, dtype=float) * (np.pi / 180) * (1 + size)
    return _smear_mm(turned_mm, turn_deg_s, exposure_time_s)


def combined_mm(*parts_mm: npt.ArrayLike) -> Floats:
    """Root of the sum of squares of diameters [mm].

    >>> float(combined_mm(0.03, 0.04))
    0.05
    """
    with np.errstate(all="ignore"):
        total: Floats = np.asarray(0.0)
        for part in parts_mm:
            array = np.asarray(part, dtype=float)
            total = total + array * array
        return np.sqrt(total)[()]


def allowance_mm(tolerance_mm: npt.ArrayLike, *parts_mm: npt.ArrayLike) -> Floats:
    """What a tolerance for all blur together leaves for one more part [mm]; NaN where nothing is left.

    >>> round(float(allowance_mm(0.05, 0.03)), 4), float(allowance_mm(0.05, 0.03, 0.04))
    (0.04, nan)
    """
    used = combined_mm(*parts_mm)
    with np.errstate(all="ignore"):
        left = np.asarray(tolerance_mm, dtype=float) ** 2 - used**2
        return np.where(left > 1e-12 * used**2, np.sqrt(np.maximum(left, 0.0)), np.nan)[()]


@dataclass(frozen=True, slots=True)
class BlurParts:
    """Blur at the subject by cause [mm]: numpy floats or arrays of one shape, 0 for a cause left out.

    Diffraction is the Airy diameter.
    """

    defocus_mm: Floats
    motion_mm: Floats
    diffraction_mm: Floats
    turn_mm: Floats
    pixel_mm: Floats

    @property
    def combined_mm(self) -> Floats:
        """Root of the sum of squares of all parts [mm]."""
        return combined_mm(self.defocus_mm, self.motion_mm, self.diffraction_mm, self.turn_mm, self.pixel_mm)


def blur_parts(
    focal_length_mm: npt.ArrayLike,
    f_number: npt.ArrayLike,
    focus_distance_m: npt.ArrayLike,
    subject_distance_m: npt.ArrayLike,
    *,
    speed_m_s: npt.ArrayLike = 0.0,
    exposure_time_s: npt.ArrayLike = 0.0,
    crossing_deg: npt.ArrayLike | None = None,
    turn_deg_s: npt.ArrayLike = 0.0,
    pixel_pitch_mm: npt.ArrayLike = 0.0,
    distance_from: DistanceFrom = "sensor",
    shift_mm: npt.ArrayLike = 0.0,
) -> BlurParts:
    """All causes of blur at the subject at once; what is left at 0 does not count."""
    size = magnification(from_lens(subject_distance_m, focal_length_mm, distance_from), focal_length_mm)
    moving = turning = np.asarray(0.0)
    if not _left_out(speed_m_s):
        moving = motion_mm(
            focal_length_mm, subject_distance_m, speed_m_s, exposure_time_s, crossing_deg, distance_from
        )
    if not _left_out(turn_deg_s):
        turning = camera_turn_mm(
            focal_length_mm, subject_distance_m, turn_deg_s, exposure_time_s, distance_from
        )
    parts = np.broadcast_arrays(
        defocus_mm(focal_length_mm, f_number, focus_distance_m, subject_distance_m, distance_from, shift_mm),
        moving,
        airy_mm(f_number, size),
        turning,
        np.asarray(pixel_pitch_mm, dtype=float),
    )
    return BlurParts(*(part[()] for part in parts))


def _left_out(rate: npt.ArrayLike) -> bool:
    """Whether a movement was not asked for: one rate of 0 for everything."""
    return np.ndim(rate) == 0 and bool(np.equal(rate, 0))
