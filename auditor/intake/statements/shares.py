"""Distances without typing metres: how much of the picture's height a person of usual size fills.

Shares are of the whole, uncropped picture: a picture whose shape is not its sensor's is refused. A crop that
keeps the shape looks like a smaller copy, and is taken for one.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.errors import Problem
from auditor.intake.frame_index import FrameIndex
from auditor.intake.library.camera_pixels import SHAPE_TOLERANCE, find_copies
from auditor.intake.statements.bodies import MEASURES, distance_of_share
from auditor.intake.statements.claims import Claim, Claims
from auditor.units import format_distance

Floats = npt.NDArray[np.float64]

FOUR_BY_THREE = 4 / 3
FAR_APART_SD = 3.0


def picture_heights_mm(table: pd.DataFrame) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Height on the sensor of each picture as seen upright, and whether its shape is another; shape (n,).

    Where only the 35 mm-equivalent gives the sensor's size, 3:2 is recorded; a camera most of whose pictures
    are 4:3 then has a 4:3 sensor of the same diagonal. NaN where the picture's size is unknown, its shape is
    not the sensor's, or the sensor is unknown or only assumed.
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
    """Distances by the shares of the notes, arrays of shape (k,); NaN where there is none."""

    distance_m: Floats  # by the surest share
    rel_sd: Floats
    by_measure: Mapping[str, tuple[Floats, Floats]]  # distance and error by each share

    def contradiction(self, i: int) -> str:
        """The two shares furthest apart of a frame that has a distance, where they contradict; else empty."""
        known = [(d[i], sd[i], name) for name, (d, sd) in self.by_measure.items() if not np.isnan(d[i])]
        near, far = min(known), max(known)
        if np.log(far[0] / near[0]) <= FAR_APART_SD * np.hypot(near[1], far[1]):
            return ""
        pair = [(name, d) for d, _, name in known if name in (near[2], far[2])]
        names, distances = " and ".join(n for n, _ in pair), " and ".join(format_distance(d) for _, d in pair)
        return f"{names} contradict: {distances}"


def place_by_shares(shares: Mapping[str, Floats], focal_length_mm: Floats, height_mm: Floats) -> SharesPlaced:
    """Work distances out from all shares of each frame; the surest one is used."""
    by_measure = {
        name: distance_of_share(share, MEASURES[name], focal_length_mm, height_mm)
        for name, share in shares.items()
    }
    distance, rel_sd = np.full(len(height_mm), np.nan), np.full(len(height_mm), np.nan)
    for own, own_sd in by_measure.values():
        surer = ~np.isnan(own) & (np.isnan(distance) | (own_sd < rel_sd))
        distance, rel_sd = np.where(surer, own, distance), np.where(surer, own_sd, rel_sd)
    return SharesPlaced(distance, rel_sd, by_measure)


def claim_shares(
    shares: Mapping[str, Floats],
    free: npt.NDArray[np.bool_],
    pictures: pd.DataFrame,
    focal_length_mm: Floats,
    index: FrameIndex,
) -> Claims:
    """State subject distances from shares of the picture, and list those that give none or are doubtful."""
    given = [~np.isnan(values) & free for values in shares.values()]
    rows = np.flatnonzero(np.any(given, axis=0)) if given else np.zeros(0, dtype=np.intp)
    if not len(rows):
        return Claims()
    heights, misshapen = picture_heights_mm(pictures)
    focal = focal_length_mm[rows]
    placed = place_by_shares({name: values[rows] for name, values in shares.items()}, focal, heights[rows])
    pixels = pictures[["pixel_width", "pixel_height"]].to_numpy("float64", na_value=np.nan).T
    copies = find_copies(pictures["camera"].to_numpy(object), *pixels)
    sources, problems = pictures["sensor_source"].astype(str).to_numpy(object), []
    for i, row in enumerate(rows.tolist()):
        file = index.name(row)
        if np.isnan(placed.distance_m[i]):
            why, step = why_no_distance(focal[i], bool(misshapen[row]), sources[row], pixels[1][row])
            problems.append(Problem(file, f"Its share gives no distance: {why}.", step))
            continue
        if contradiction := placed.contradiction(i):
            step = "Read them again; a child, a seated person or a hidden foot reads too far."
            problems.append(Problem(file, f"{contradiction}. The surest one was used.", step))
        if copies[row]:
            what = "Its share was read off a picture smaller than its camera's own: resized or cropped."
            problems.append(Problem(file, what, "If it was cropped, the distance is too near."))
    known = ~np.isnan(placed.distance_m)
    distance, rel_sd = placed.distance_m[known], placed.rel_sd[known]
    claim = Claim("subject_distance", "notes", rows[known], distance, rel_sd=rel_sd)
    return Claims((claim,), tuple(problems))


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
