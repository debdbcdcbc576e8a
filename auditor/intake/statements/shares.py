"""Distances without typing metres: how much of the picture's height a person of usual size fills.

Shares are of the whole, uncropped picture: a picture whose shape is not its sensor's is refused. A crop that
keeps the shape cannot be told from a smaller copy, and is taken for one.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.errors import Problem
from auditor.intake.statements.bodies import MEASURES, distance_of_share
from auditor.units import format_distance

Floats = npt.NDArray[np.float64]

# Columns that the notes fill for this step, dropped after it.
MEASURE_COLUMNS: Final = {f"note_{name}": name for name in MEASURES}
OWN_DISTANCE, OWN_SD = "note_distance", "note_distance_sd"
SHARE_COLUMNS: Final = (*MEASURE_COLUMNS, OWN_DISTANCE, OWN_SD)

SHAPE_TOLERANCE = 0.03  # raw files show a few more rows than their JPEGs; 3:2 and 4:3 differ by 12 %
FOUR_BY_THREE = 4 / 3
FAR_APART_SD = 3.0


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
    wanted = table[OWN_DISTANCE].isna() & table[list(MEASURE_COLUMNS)].notna().any(axis=1)
    if not wanted.any():
        return []
    heights, misshapen = picture_heights_mm(table)
    rows = np.flatnonzero(wanted.to_numpy())
    noted, height = table.iloc[rows], heights[rows]
    focal = noted["focal_length_mm"].to_numpy("float64")
    told = [
        distance_of_share(noted[column].to_numpy("float64"), MEASURES[name], focal, height)
        for column, name in MEASURE_COLUMNS.items()
    ]
    distances, sds = np.stack([d for d, _ in told]), np.stack([sd for _, sd in told])  # measure, row
    surest = np.argmin(np.where(np.isnan(sds), np.inf, sds), axis=0), np.arange(len(rows))
    distance, rel_sd = distances[surest], sds[surest]
    stated_sd = noted[OWN_SD].to_numpy("float64")
    rel_sd = np.where(np.isnan(stated_sd), rel_sd, stated_sd)
    problems = [
        problem
        for i, file in enumerate(noted["file"])
        if (
            problem := _refused(file, focal[i], misshapen[rows[i]], height[i])
            or _doubtful(file, noted["sensor_source"].iloc[i], distances[:, i], sds[:, i])
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


def _doubtful(file: str, sensor_source: str, distances: Floats, sds: Floats) -> Problem | None:
    known = np.flatnonzero(~np.isnan(distances))
    if not len(known):
        return Problem(file, "Its share would make the image larger than life.", "Write it like 0.15 or 15%.")
    order = known[np.argsort(distances[known])]
    near, far = int(order[0]), int(order[-1])
    if np.log(distances[far] / distances[near]) > FAR_APART_SD * np.hypot(sds[near], sds[far]):
        first, second = sorted((near, far))
        names = list(MEASURES)
        return Problem(
            file,
            f"{names[first]} and {names[second]} contradict: {format_distance(distances[first])} and "
            f"{format_distance(distances[second])}. The surest one was used.",
            "Read them again; a child, a seated person or a hidden foot reads too far.",
        )
    if sensor_source == "assumed":
        return Problem(
            file,
            "The distance from its share rests on an assumed sensor of 36×24 mm.",
            "State the sensor in a [[camera]] entry of the session file.",
        )
    return None
