"""The depth-of-field scale of a lens: reading it with another eye, and whose eye it was engraved for.

Behind a thin lens at image distance v = f + e a point whose image lies at v' blurs to b = f |v' - v| / (N
v'). So the blur is c where v' - v = N c v' / f: the mark of an f-number stands N c from the index, in
extension (but for v' / f, which is near 1), and f-number and criterion enter as their product alone. A
scale engraved for c_scale therefore shows the zone of N and c_own at the marks for

    N_read = N c_own / c_scale,

exactly, whatever the focal length and the distance. A more tolerant eye reads a higher number.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.errors import SettingError
from auditor.optics.blur import defocus_mm
from auditor.optics.lens import DistanceFrom, Floats, known

USUAL_SCALE_COC_MM = 0.030  # assumed of scales engraved for 36x24 mm where nobody says (see check values)
READ_WITHIN = 0.10  # of itself: how exactly a limit is read between engravings (common practice, no source)


def read_scale_for(
    f_number: npt.ArrayLike, coc_own_mm: npt.ArrayLike, coc_scale_mm: npt.ArrayLike = USUAL_SCALE_COC_MM
) -> Floats:
    """f-number whose marks on the engraved scale show the zone of another eye, N c_own / c_scale.

    Exact, not rounded to a mark; NaN where something is unknown.

    >>> round(float(read_scale_for(8, 0.042, 0.030)), 2), round(float(read_scale_for(8, 0.020, 0.030)), 2)
    (11.2, 5.33)
    """
    number, own, scale = (np.asarray(v, dtype=float) for v in (f_number, coc_own_mm, coc_scale_mm))
    with np.errstate(all="ignore"):
        return np.where(known(number, own, scale), number * own / scale, np.nan)[()]


@dataclass(frozen=True, slots=True)
class EngravedScale:
    """The criterion that a scale was engraved for [mm], and the interval that every reading off it allows.

    The high end is infinite where all that is known is "past infinity". Where two readings contradict each
    other, the interval holds those of all.
    """

    coc_mm: float
    low_mm: float
    high_mm: float
    source: str = "read off it"  # else assumed, or the criterion stated
    contradiction: tuple[int, int] | None = None  # the two, by their place in the list


ASSUMED_SCALE = EngravedScale(USUAL_SCALE_COC_MM, USUAL_SCALE_COC_MM, USUAL_SCALE_COC_MM, "assumed")


def engraved_for(
    focal_length_mm: float,
    f_number: npt.ArrayLike,
    focus_distance_m: npt.ArrayLike,
    near_m: npt.ArrayLike,
    far_m: npt.ArrayLike,
    distance_from: DistanceFrom = "sensor",
) -> EngravedScale:
    """Find the criterion that a depth-of-field scale was engraved for, from readings off it [m], shape (n,).

    With the ring at a distance, the marks of an f-number stand at a near and at a far limit, which implies
    the blur disc that the setting has there. A limit is read between engravings, so it may lie 10 % to either
    side; a far limit of infinity only says "at infinity or past it", NaN nothing. The interval is what all
    readings allow; the criterion is the mean of what they imply (in the logarithm), brought into it.

    Raises SettingError if there is no reading, a near limit lies beyond the ring or out of reach, or a far
    one before it.

    >>> found = engraved_for(35, [8], [3.0], [1.90], [7.2], "lens")
    >>> round(found.coc_mm, 3), found.contradiction
    (0.03, None)
    """
    number, focus, near, far = (
        np.atleast_1d(np.asarray(v, dtype=float)) for v in (f_number, focus_distance_m, near_m, far_m)
    )
    if (
        not number.size
        or not (known(number, near) & (near < focus) & ~((far <= focus) & np.isfinite(focus))).all()
    ):
        raise SettingError(
            "A reading off the depth-of-field scale has no near limit in front of the ring, or a far one not "
            "behind it.",
            "Give f-number, ring, near and far limit, such as f/8 8ft 3.5ft inf.",
        )

    def disc(limit_m: Floats) -> Floats:
        return np.atleast_1d(defocus_mm(focal_length_mm, number, focus, limit_m, distance_from))

    nearer, farther = near * (1 - READ_WITHIN), np.minimum(near * (1 + READ_WITHIN), focus)
    low, high = disc(farther), disc(nearer)
    read = np.maximum(np.where(np.isfinite(far), far * (1 - READ_WITHIN), far), focus)
    inner = np.nan_to_num(disc(read) * np.where(np.isfinite(far), 1.0, 1 - READ_WITHIN), nan=0.0)
    outer = np.where(np.isfinite(far), disc(far * (1 + READ_WITHIN)), np.inf)
    implied = disc(near) * np.where(np.isfinite(far), disc(far), disc(near))
    middle = float(np.exp(np.log(implied).mean() / 2))
    lows, highs = np.concatenate([low, inner]), np.concatenate([high, outer])  # near limits, then far ones
    least, most = int(lows.argmax()), int(highs.argmin())
    bottom, top = float(lows[least]), float(highs[most])
    if not middle > 0:
        raise SettingError(
            "A reading off the depth-of-field scale lies nearer than the lens can focus.",
            "Give f-number, ring, near and far limit, such as f/8 8ft 3.5ft inf.",
        )
    if bottom > top:
        first, second = sorted((least % number.size, most % number.size))
        return EngravedScale(middle, float(low.min()), float(high.max()), contradiction=(first, second))
    return EngravedScale(min(max(middle, bottom), top), bottom, top)
