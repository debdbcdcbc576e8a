"""What a tape says of a ring: an adapter that shifts the lens, found from readings and undone.

A ring engraved s (from the lens) stands for the extension e = f^2 / (s - f). An adapter a hair too thick or
too thin adds one constant length delta to all of them: E = e + delta is what the lens really has. Too thin
(delta below nought): a mark focuses farther than it says, and infinity comes before its mark. Too thick:
nearer, and infinity is never reached. Where E is at or below nought the lens focuses past infinity.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.errors import SettingError
from auditor.optics.lens import MM_PER_M, DistanceFrom, Floats, from_lens, shifted_pull, to_convention

TAPE_WITHIN = 0.03  # of a distance found by focusing and a tape (common practice, no source)
FOCUSED_WITHIN_MM = 0.01  # and of the extension: where the eye takes a picture for sharpest, wide open


@dataclass(frozen=True, slots=True)
class RingShift:
    """How far a lens stands from where its engravings put it."""

    shift_mm: float  # above nought: too far from the sensor
    disagree: tuple[int, ...] = ()  # readings farther off than a tape and an eye explain, by their place


def extension_mm(
    focus_distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike, distance_from: DistanceFrom = "sensor"
) -> Floats:
    """Extension that an engraving stands for, f^2 / (s - f) with s from the lens [mm]; 0 at infinity.

    >>> round(float(extension_mm(2.95, 57.9, "lens")), 4), float(extension_mm(np.inf, 50))
    (1.1592, 0.0)
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    with np.errstate(all="ignore"):
        beyond_mm = MM_PER_M * from_lens(focus_distance_m, focal, distance_from) - focal
        return np.asarray(focal**2 / beyond_mm)[()]


def find_shift(
    focal_length_mm: float,
    mark_m: npt.ArrayLike,
    focuses_m: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> RingShift:
    """Find the one length that explains where marks of the ring really focus, by least squares.

    The mean of E - e over the readings, each of which is taken for equally exact in extension, as focusing by
    eye is. Marks and what they focus by tape [m] may be infinite.

    Raises SettingError if there is no reading, or one cannot be focused to.

    >>> found = find_shift(50, [2.0], [2.2])
    >>> round(found.shift_mm, 3), round(float(true_focus_m(2.0, 50, found.shift_mm)), 3)
    (-0.126, 2.2)
    """
    mark, true = (np.atleast_1d(extension_mm(d, focal_length_mm, distance_from)) for d in (mark_m, focuses_m))
    apart = true - mark
    if not apart.size or np.isnan(apart).any():
        raise SettingError(
            f"A reading of the ring cannot be focused to with {focal_length_mm:g} mm.",
            "Give the mark and the distance by tape, such as 2m=2.2m or 10m=inf.",
        )
    shift = float(apart.mean())
    doubtful = np.abs(apart - shift) > TAPE_WITHIN * true + FOCUSED_WITHIN_MM
    return RingShift(shift, tuple(np.flatnonzero(doubtful).tolist()))


def true_focus_m(
    focus_distance_m: npt.ArrayLike,
    focal_length_mm: npt.ArrayLike,
    shift_mm: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> Floats:
    """Where a mark really focuses [m]: f + f^2 / E from the lens; infinite at infinity and past it.

    >>> float(true_focus_m(30.0, 50, -0.2)), round(float(true_focus_m(np.inf, 50, 0.1)), 2)
    (inf, 25.1)
    """
    focal = np.asarray(focal_length_mm, dtype=float)
    with np.errstate(all="ignore"):
        pull = shifted_pull(from_lens(focus_distance_m, focal, distance_from), focal, shift_mm)
        lens_m = np.where(pull <= 0, np.inf, 1 / pull + focal / MM_PER_M)
        return to_convention(np.where(np.isnan(pull), np.nan, lens_m), focal, distance_from)
