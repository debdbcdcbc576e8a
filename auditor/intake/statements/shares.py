"""Distances without typing metres: how much of the picture's height a person of usual size fills.

A body of height X whose image on the sensor is x high stands f (1 + X/x) from the lens (thin lens). The share
of the picture's height times that height on the sensor is x. Shares are of the whole, uncropped picture: a
picture whose shape is not its sensor's is refused. A crop that keeps the shape cannot be told from a smaller
copy, and is taken for one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.errors import Problem
from auditor.optics.lens import sensor_distance_m
from auditor.units import format_distance

Floats = npt.NDArray[np.float64]

# Columns that the notes fill for this step, dropped after it.
STANDING_SHARE, FACE_SHARE = "note_standing_share", "note_face_share"
OWN_DISTANCE, OWN_SD = "note_distance", "note_distance_sd"
SHARE_COLUMNS: Final = (STANDING_SHARE, FACE_SHARE, OWN_DISTANCE, OWN_SD)

# Both ends of a share are read to half a percentage point (estimate, no source).
READING_SD = 0.005 * 2**0.5
FOCAL_LENGTH_SD = 0.02  # engraved against real focal length, relative (assumed, no source)
SHAPE_TOLERANCE = 0.03  # raw files show a few more rows than their JPEGs; 3:2 and 4:3 differ by 12 %
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
        NaN where the picture's size in pixels is unknown or its shape is not the sensor's.
    misshapen : numpy.ndarray of bool, shape (n,)
        The latter.
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
    height = np.where(whole, np.where(height_px > width_px, long_mm, short_mm), np.nan)
    return height, ~whole & ~np.isnan(shape)


def _alike(shape: Floats, other: Floats | float) -> npt.NDArray[np.bool_]:
    return np.asarray(np.abs(shape / other - 1) <= SHAPE_TOLERANCE)


def apply_shares(table: pd.DataFrame) -> list[Problem]:
    """Turn the shares of the notes into subject distances, in place; a distance of the notes' own wins.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table with :data:`SHARE_COLUMNS`, its focal lengths complete.

    Returns
    -------
    list of Problem
        Shares that cannot be used, or rest on an assumed sensor; standing and face that contradict.
    """
    wanted = table[OWN_DISTANCE].isna() & table[[STANDING_SHARE, FACE_SHARE]].notna().any(axis=1)
    if not wanted.any():
        return []
    heights, misshapen = picture_heights_mm(table)
    rows = np.flatnonzero(wanted.to_numpy())
    noted, height = table.iloc[rows], heights[rows]
    focal = noted["focal_length_mm"].to_numpy("float64")
    standing, standing_sd = distance_of_share(
        noted[STANDING_SHARE].to_numpy("float64"), STANDING, focal, height
    )
    face, face_sd = distance_of_share(noted[FACE_SHARE].to_numpy("float64"), FACE, focal, height)
    by_face = np.isnan(standing) | (face_sd < standing_sd)
    distance, rel_sd = np.where(by_face, face, standing), np.where(by_face, face_sd, standing_sd)
    stated_sd = noted[OWN_SD].to_numpy("float64")
    rel_sd = np.where(np.isnan(stated_sd), rel_sd, stated_sd)
    problems = [
        problem
        for i, file in enumerate(noted["file"])
        if (
            problem := _refused(file, focal[i], misshapen[rows[i]], height[i])
            or _doubtful(
                file, noted["sensor_source"].iloc[i], (standing[i], standing_sd[i]), (face[i], face_sd[i])
            )
        )
    ]
    known = rows[~np.isnan(distance)]
    labels = table.index[known]
    table.loc[labels, "subject_distance_m"] = distance[~np.isnan(distance)]
    table.loc[labels, "subject_distance_rel_sd"] = rel_sd[~np.isnan(distance)]
    table.loc[labels, "subject_distance_source"] = "notes"
    return problems


def _refused(file: str, focal_length_mm: float, misshapen: bool, height_mm: float) -> Problem | None:
    instead = "or give a subject_distance in the notes"
    if not focal_length_mm > 0:
        return Problem(
            file,
            "Its share gives no distance: the focal length is unknown.",
            f"Say it with a stretch in the session file, or focal_length in the notes, {instead}.",
        )
    if misshapen:
        return Problem(
            file,
            "Its share gives no distance: the picture's shape is not its sensor's, so it was cropped.",
            f"If it is whole, state the sensor in a [[camera]] entry in mm, such as 17.3x13, {instead}.",
        )
    if np.isnan(height_mm):
        return Problem(
            file,
            "Its share gives no distance: the picture's size in pixels is unknown, and so is its height.",
            f"Fill in pixel_width and pixel_height, {instead}.",
        )
    return None


def _doubtful(
    file: str, sensor_source: str, standing: tuple[float, float], face: tuple[float, float]
) -> Problem | None:
    near, far = sorted((standing, face))
    if np.log(far[0] / near[0]) > FAR_APART_SD * np.hypot(near[1], far[1]):
        return Problem(
            file,
            f"standing_share and face_share contradict: {format_distance(standing[0])} and "
            f"{format_distance(face[0])}. The surer one was used.",
            "Read them again; a child, a seated person or a hidden foot reads too far.",
        )
    if np.isnan(standing[0]) and np.isnan(face[0]):
        return Problem(file, "Its share would make the image larger than life.", "Write it like 0.15 or 15%.")
    if sensor_source == "assumed":
        return Problem(
            file,
            "The distance from its share rests on an assumed sensor of 36×24 mm.",
            "State the sensor in a [[camera]] entry of the session file.",
        )
    return None
