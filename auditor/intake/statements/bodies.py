"""Body measures of adults, and the distance that follows from each one's share of the picture's height.

A body of height X whose image on the sensor is x high stands f (1 + X/x) from the lens (thin lens). The share
of the picture's height times that height on the sensor is x; shares across are of the height, too.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import sensor_distance_m

Floats = npt.NDArray[np.float64]

# Both ends of a share are read to half a percentage point (estimate, no source).
READING_SD = 0.005 * 2**0.5
FOCAL_LENGTH_SD = 0.02  # engraved against real focal length, relative (assumed, no source)
# How far a camera in the hand is tilted (estimate, no source); it bends long measures below the eye.
TILT_SD_RAD = math.radians(4.0)


@dataclass(frozen=True, slots=True)
class BodyMeasure:
    """A body measure of adults whose sex is unknown."""

    mean_mm: float
    sd_mm: float
    other_sd: float  # relative, beyond the body's: how the person stands, what exactly was read
    below_eye_m: float = 0.0  # of its middle below a camera at 1.6 m, twice: what a tilt works on


def either_sex(
    men: tuple[float, float], women: tuple[float, float], other_sd: float, below_eye_m: float = 0.0
) -> BodyMeasure:
    """Mix the measures of men and women, mean and standard deviation [mm], half and half.

    >>> mixed = either_sex((110.0, 6.0), (100.0, 6.0), 0.0)
    >>> mixed.mean_mm, round(mixed.sd_mm, 2)
    (105.0, 7.81)
    """
    between = (men[0] - women[0]) / 2
    variance = (men[1] ** 2 + women[1] ** 2) / 2 + between**2
    return BodyMeasure((men[0] + women[0]) / 2, float(variance**0.5), other_sd, below_eye_m)


# Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel (Natick/TR-15/007), from its open data.
# Soldiers: no children, few old people. Each other_sd is an estimate without a source.
# Barefoot; shoes, hats, stride and stoop. Head at 1.69 m and soles at 0 about a camera at 1.6 m.
STANDING = either_sex((1756.2, 68.6), (1628.5, 64.2), other_sd=0.02, below_eye_m=1.5)
# Stature less acromial height: 1756.2 - 1440.7 and 1628.5 - 1335.1 mm; the sd of 18 mm within a sex gives the
# 7 % of the mixture (from memory). Hair, collars and drooping shoulders.
HEAD_SHOULDER = either_sex((315.5, 18.2), (293.4, 18.2), other_sd=0.05)
# Menton to sellion, the dip of the nose between the eyes. The eye line lies some 5 mm below sellion (from
# memory), so a face read to the pupils comes out up to 4 % too far; a turned or nodding head adds 3 %.
FACE = either_sex((122.6, 6.7), (113.1, 6.1), other_sd=0.05)
# Interpupillary breadth (in tenths of a millimetre in the data). A head turned by 20 degrees reads 6 % far.
PUPILS = either_sex((64.0, 3.4), (61.7, 3.6), other_sd=0.04)
# Bideltoid breadth, from the front; sleeves and a turned body.
SHOULDERS = either_sex((510.4, 32.5), (450.3, 28.7), other_sd=0.05)
# Sitting height; a slump takes some 4 cm (from memory). Head at 1.3 m and seat at 0.45 m.
SEATED = either_sex((918.3, 35.7), (856.6, 33.1), other_sd=0.05, below_eye_m=1.45)

# By the column of the notes that holds the share.
MEASURES: Final[dict[str, BodyMeasure]] = {
    "standing_share": STANDING,
    "head_shoulder_share": HEAD_SHOULDER,
    "face_share": FACE,
    "pupils_share": PUPILS,
    "shoulders_share": SHOULDERS,
    "seated_share": SEATED,
}


def distance_of_share(
    share: npt.ArrayLike,
    measure: BodyMeasure,
    focal_length_mm: npt.ArrayLike,
    picture_height_mm: npt.ArrayLike,
    reading_sd: npt.ArrayLike = READING_SD,
) -> tuple[Floats, Floats]:
    """Work out where a person stands who fills a share of the picture's height.

    ``picture_height_mm`` is the height on the sensor of the picture as seen upright, ``reading_sd`` the
    standard deviation of the share as it was read, both ends together. Gives the distance from the sensor
    plane [m], NaN where something is unknown or the image would be life-size or larger, and its relative
    standard deviation: body, reading, posture, tilt and focal length together. A camera tilted by t shifts
    the image's length by t (tan a + tan b), a and b the ends' angles above its axis.

    >>> distance, rel_sd = distance_of_share(0.7, STANDING, 28.0, 24.0)
    >>> round(float(distance), 2), round(float(rel_sd), 3)
    (2.88, 0.071)
    """
    given = (focal_length_mm, picture_height_mm, share, reading_sd)
    focal, height, part, reading = np.broadcast_arrays(*(np.asarray(v, dtype="float64") for v in given))
    with np.errstate(divide="ignore", invalid="ignore"):
        reduction = measure.mean_mm / (part * height)  # X/x
        reduction = np.where(reduction > 1, reduction, np.nan)
        of_reduction = np.hypot(measure.sd_mm / measure.mean_mm, reading / part)
        of_tilt = TILT_SD_RAD * measure.below_eye_m / (focal * (1 + reduction) / 1000)
    return distance_of_reduction(
        reduction, np.hypot(np.hypot(of_reduction, measure.other_sd), of_tilt), focal
    )


def distance_of_reduction(reduction: Floats, rel_sd: Floats, focal_mm: Floats) -> tuple[Floats, Floats]:
    """Distance [m] and its relative error of a body so many times longer than its image; NaN unknown."""
    from_lens_m = focal_mm * (1 + reduction) / 1000
    distance = np.asarray(sensor_distance_m(from_lens_m, focal_mm), dtype="float64")
    with np.errstate(invalid="ignore"):
        # The sensor distance is f (2 + r + 1/r), whose relative change is (r - 1)/(r + 1) times that of r.
        sd = np.hypot(rel_sd * (reduction - 1) / (reduction + 1), FOCAL_LENGTH_SD)
    return distance, np.where(np.isnan(distance), np.nan, sd)
