"""Flash by its guide number: f-number times distance, at ISO 100 (by definition).

The light of a small flash falls with the square of the distance from it, and the exposure with the square
of the f-number, so one number holds for both. It grows with the square root of the sensitivity. Walls and
ceilings add light that it does not know; out of doors there is less (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import Floats, known


def guide_number_at(guide_number_m: npt.ArrayLike, iso: npt.ArrayLike) -> Floats:
    """Guide number [m] at a sensitivity, from the one at ISO 100.

    >>> float(guide_number_at(32, 400))
    64.0
    """
    number, speed = np.asarray(guide_number_m, dtype=float), np.asarray(iso, dtype=float)
    with np.errstate(all="ignore"):
        return np.where(known(number, speed), number * np.sqrt(speed / 100), np.nan)[()]


def flash_reach_m(guide_number_m: npt.ArrayLike, iso: npt.ArrayLike, f_number: npt.ArrayLike) -> Floats:
    """Distance from the flash at which an f-number exposes as meant [m]."""
    with np.errstate(all="ignore"):
        return np.asarray(guide_number_at(guide_number_m, iso) / np.asarray(f_number, dtype=float))[()]


def flash_range_m(reach_m: npt.ArrayLike, stops: float = 0.5) -> tuple[Floats, Floats]:
    """Distances within which the exposure is off by at most so many stops, reach times 2^(-+ stops/2) [m].

    >>> [round(float(end), 2) for end in flash_range_m(4.0)]
    [3.36, 4.76]
    """
    reach = np.asarray(reach_m, dtype=float)
    factor = 2 ** (stops / 2)
    return (reach / factor)[()], (reach * factor)[()]


@dataclass(frozen=True, slots=True)
class Flash:
    """What a flash lights at each f-number; arrays of shape (stops,)."""

    guide_number_m: float  # at ISO 100
    iso: float
    reach_m: Floats  # full light
    from_m: Floats  # half a stop about it
    to_m: Floats


def flash_at(guide_number_m: float, iso: float, f_numbers: npt.ArrayLike) -> Flash:
    """What a flash lights at each of some f-numbers."""
    reach = flash_reach_m(guide_number_m, iso, f_numbers)
    return Flash(guide_number_m, iso, reach, *flash_range_m(reach))
