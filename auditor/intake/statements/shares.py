"""Distances without typing metres: how much of the picture's height a person of usual size fills.

A body of height X whose image on the sensor is x high stands f (1 + X/x) from the lens (thin lens). The share
of the picture's height times that height on the sensor is x. Shares are of the whole, uncropped picture: a
picture whose shape is not its sensor's is refused. A crop that keeps the shape cannot be told from a smaller
copy, and is taken for one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.intake.library.camera_pixels import SHAPE_TOLERANCE
from auditor.optics.lens import sensor_distance_m
from auditor.units import format_distance

Floats = npt.NDArray[np.float64]

# Both ends of a share are read to half a percentage point (estimate, no source).
READING_SD = 0.005 * 2**0.5
FOCAL_LENGTH_SD = 0.02  # engraved against real focal length, relative (assumed, no source)
FOUR_BY_THREE = 4 / 3
FAR_APART_SD = 3.0


@dataclass(frozen=True, slots=True)
class BodyMeasure:
    """A body measure of adults whose sex is unknown.

    Attributes
    ----------
    mean_mm, sd_mm : float
    other_sd : float
        Relative error beyond that of the body: how the person stands, what exactly was read.
    """

    mean_mm: float
    sd_mm: float
    other_sd: float


def either_sex(men: tuple[float, float], women: tuple[float, float], other_sd: float) -> BodyMeasure:
    """Mix the measures of men and women, mean and standard deviation [mm], half and half.

    Examples
    --------
    >>> mixed = either_sex((110.0, 6.0), (100.0, 6.0), 0.0)
    >>> mixed.mean_mm, round(mixed.sd_mm, 2)
    (105.0, 7.81)
    """
    between = (men[0] - women[0]) / 2
    variance = (men[1] ** 2 + women[1] ** 2) / 2 + between**2
    return BodyMeasure((men[0] + women[0]) / 2, float(variance**0.5), other_sd)


# Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel (Natick/TR-15/007), from its open data.
# Soldiers: no children, few old people. Barefoot; shoes, hats, stride and stoop are in other_sd (estimate).
STANDING = either_sex((1756.2, 68.6), (1628.5, 64.2), other_sd=0.02)
# Menton to sellion, the dip of the nose between the eyes. The eye line lies some 5 mm below sellion (from
# memory), so a face read to the pupils comes out up to 4 % too far; a turned or nodding head adds 3 %.
FACE = either_sex((122.6, 6.7), (113.1, 6.1), other_sd=0.05)

# Every share that notes may hold; of those without a measure here no distance is worked out.
MEASURES: Final[dict[str, BodyMeasure | None]] = {
    "standing_share": STANDING,
    "face_share": FACE,
    "head_shoulder_share": None,
    "pupils_share": None,
    "shoulders_share": None,
    "seated_share": None,
}


def distance_of_share(
    share: npt.ArrayLike,
    measure: BodyMeasure,
    focal_length_mm: npt.ArrayLike,
    picture_height_mm: npt.ArrayLike,
) -> tuple[Floats, Floats]:
    """Work out where a person stands who fills a share of the picture's height.

    Parameters
    ----------
    share : array_like
        Above 0; 1 is the whole height.
    measure : BodyMeasure
    focal_length_mm : array_like
    picture_height_mm : array_like
        Height on the sensor of the picture as seen upright [mm].

    Returns
    -------
    distance_m : numpy.ndarray
        From the sensor plane [m]; NaN where something is unknown, or the image would be life-size or larger.
    rel_sd : numpy.ndarray
        Its relative standard deviation: body, reading, posture and focal length together.

    Examples
    --------
    >>> distance, rel_sd = distance_of_share(0.7, STANDING, 28.0, 24.0)
    >>> round(float(distance), 2), round(float(rel_sd), 3)
    (2.88, 0.061)
    """
    focal, height, part = np.broadcast_arrays(
        *(np.asarray(value, dtype="float64") for value in (focal_length_mm, picture_height_mm, share))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        reduction = measure.mean_mm / (part * height)  # X/x
        reduction = np.where(reduction > 1, reduction, np.nan)
        from_lens_m = focal * (1 + reduction) / 1000
        of_reduction = np.hypot(measure.sd_mm / measure.mean_mm, READING_SD / part)
        # The sensor distance is f (2 + r + 1/r), whose relative change is (r - 1)/(r + 1) times that of r.
        of_reduction = np.hypot(of_reduction, measure.other_sd) * (reduction - 1) / (reduction + 1)
    distance = np.asarray(sensor_distance_m(from_lens_m, focal), dtype="float64")
    rel_sd = np.where(np.isnan(distance), np.nan, np.hypot(of_reduction, FOCAL_LENGTH_SD))
    return distance, rel_sd


def picture_heights_mm(table: pd.DataFrame) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Height on the sensor of each picture as seen upright.

    Where only the 35 mm-equivalent tells the sensor's size, its shape is not known and 3:2 is recorded; a
    camera most of whose pictures are 4:3 then has a 4:3 sensor of the same diagonal.

    Returns
    -------
    height_mm : numpy.ndarray, shape (n,)
        NaN where the picture's size in pixels is unknown, its shape is not the sensor's, or the sensor is
        unknown or only assumed.
    misshapen : numpy.ndarray of bool, shape (n,)
        Where its shape is not the sensor's.
    """
    width_px, height_px, side_a, side_b = (
        table[name].to_numpy("float64", na_value=np.nan)
        for name in ("pixel_width", "pixel_height", "sensor_width_mm", "sensor_height_mm")
    )
    long_mm, short_mm = np.fmax(side_a, side_b), np.fmin(side_a, side_b)
    with np.errstate(divide="ignore", invalid="ignore"):
        shape = np.fmax(width_px, height_px) / np.fmin(width_px, height_px)
        four_by_three = pd.Series(_alike(shape, FOUR_BY_THREE)).where(~np.isnan(shape))
        mostly = four_by_three.astype("float64").groupby(table["camera"].fillna("").to_numpy(object))
        reshaped = (mostly.transform("mean").to_numpy() > 0.5) & _alike(long_mm / short_mm, 1.5)
        reshaped &= table["sensor_source"].eq("exif").fillna(False).to_numpy(bool)
        diagonal = np.hypot(long_mm, short_mm)
        long_mm = np.where(reshaped, 0.8 * diagonal, long_mm)
        short_mm = np.where(reshaped, 0.6 * diagonal, short_mm)
        whole = _alike(shape, long_mm / short_mm)
    known = table["sensor_source"].isin(["session", "exif"]).to_numpy(bool)
    height = np.where(whole & known, np.where(height_px > width_px, long_mm, short_mm), np.nan)
    return height, ~whole & ~np.isnan(shape) & known


def _alike(shape: Floats, other: Floats | float) -> npt.NDArray[np.bool_]:
    return np.asarray(np.abs(shape / other - 1) <= SHAPE_TOLERANCE)


@dataclass(frozen=True, slots=True)
class SharesPlaced:
    """Distances by the shares of the notes, arrays of shape (k,); NaN where there is none.

    Attributes
    ----------
    distance_m, rel_sd : numpy.ndarray
        By the surest share.
    by_measure : dict of str to (numpy.ndarray, numpy.ndarray)
        Distance and error by each share.
    """

    distance_m: Floats
    rel_sd: Floats
    by_measure: Mapping[str, tuple[Floats, Floats]]

    def contradiction(self, i: int) -> str:
        """The two shares of a frame that lie furthest apart, where they contradict; else empty."""
        known = [(d[i], sd[i], name) for name, (d, sd) in self.by_measure.items() if not np.isnan(d[i])]
        near, far = min(known, default=None), max(known, default=None)
        if (
            near is None
            or far is None
            or np.log(far[0] / near[0]) <= FAR_APART_SD * np.hypot(near[1], far[1])
        ):
            return ""
        pair = [(name, d) for d, _, name in known if name in (near[2], far[2])]
        names, distances = " and ".join(n for n, _ in pair), " and ".join(format_distance(d) for _, d in pair)
        return f"{names} contradict: {distances}"


def place_by_shares(shares: Mapping[str, Floats], focal_length_mm: Floats, height_mm: Floats) -> SharesPlaced:
    """Work distances out from all shares of each frame; the surest one is used."""
    by_measure = {
        name: distance_of_share(share, measure, focal_length_mm, height_mm)
        for name, share in shares.items()
        if (measure := MEASURES[name]) is not None
    }
    distance, rel_sd = np.full(len(height_mm), np.nan), np.full(len(height_mm), np.nan)
    for own, own_sd in by_measure.values():
        surer = ~np.isnan(own) & (np.isnan(distance) | (own_sd < rel_sd))
        distance, rel_sd = np.where(surer, own, distance), np.where(surer, own_sd, rel_sd)
    return SharesPlaced(distance, rel_sd, by_measure)


def why_no_distance(
    focal_length_mm: float, misshapen: bool, sensor_source: str, pixel_height: float
) -> tuple[str, str]:
    """Why a share gives no distance, and what can be done."""
    instead = "or give a subject_distance in the notes"
    if not focal_length_mm > 0:
        step = f"Say it with a stretch in the session file, or focal_length in the notes, {instead}."
        return "the focal length is unknown", step
    if sensor_source not in ("session", "exif"):
        step = f"State the sensor in a [[camera]] entry of the session file, {instead}."
        return f"the sensor's size is {sensor_source}", step
    if misshapen:
        step = f"If it is whole, state the sensor in a [[camera]] entry in mm, such as 17.3x13, {instead}."
        return "the picture's shape is not its sensor's, so it was cropped", step
    if np.isnan(pixel_height):
        step = f"Fill in pixel_width and pixel_height, {instead}."
        return "the picture's size in pixels is unknown, and so is its height", step
    return "it would make the image larger than life", "Write it like 0.15 or 15%."
