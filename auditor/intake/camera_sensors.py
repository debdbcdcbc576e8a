"""The sensor of each camera: a fact about the camera, not about a file.

Session file; else one size for each camera over the archive, the mode of what its files record; else an
assumed 36×24 mm. A focal length that no lens for 36×24 mm has refuses that size, unless it was stated.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.optics.sensors import Sensor

FULL_FRAME = Sensor(36.0, 24.0)
SAME_SIZE = 0.03  # 35 mm-equivalents are rounded to whole millimetres
DISAGREEMENT = 0.10
SHORTEST_ON_FULL_FRAME_MM = 10.0
OWN_PIXELS = 0.98  # of the camera's largest picture


@dataclass(frozen=True, slots=True)
class Sensors:
    """Sensor of each frame: sides [mm], NaN where refused, and where they come from; shape (n,)."""

    width_mm: np.ndarray
    height_mm: np.ndarray
    source: np.ndarray
    problems: tuple[Problem, ...]


def find_sensors(
    facts: pd.DataFrame, stated: np.ndarray, stated_by: np.ndarray, focal_length_mm: np.ndarray
) -> Sensors:
    """Decide on the sensor of each camera; a frame table's own words are ``stated_by`` exif."""
    n = len(facts)
    width, height = np.full(n, FULL_FRAME.width_mm), np.full(n, FULL_FRAME.height_mm)
    source = np.full(n, "assumed", dtype=object)
    problems: list[Problem] = []
    recorded = _recorded(facts)
    codes, cameras = pd.factorize(facts["body"])
    for code, camera in enumerate(cameras):
        rows = np.flatnonzero(codes == code)
        by_person = [s for s in dict.fromkeys(stated[rows][stated_by[rows] == "session"]) if s is not None]
        if len(by_person) > 1:
            sizes = " and ".join(f"{s.width_mm:g}x{s.height_mm:g}" for s in by_person)
            what = f"Session files state different sensors of {camera}: {sizes} mm."
            problems.append(
                Problem(None, what, "Each was used where it stands. Correct one.", frames=len(rows))
            )
        sensor = by_person[0] if len(by_person) == 1 else _mode(recorded, rows)
        if sensor is not None:
            width[rows], height[rows] = sensor.width_mm, sensor.height_mm
            source[rows] = "session" if by_person else "exif"
        problems += _disagreements(str(camera), recorded, rows, sensor, stated=bool(by_person))
    alone = (codes < 0) & recorded["width"].notna().to_numpy()  # without a name there is only the file itself
    width[alone], height[alone], source[alone] = recorded["width"][alone], recorded["height"][alone], "exif"
    for row in np.flatnonzero(pd.notna(stated_by)):
        width[row], height[row] = stated[row].width_mm, stated[row].height_mm
        source[row] = stated_by[row]
    full_frame = np.hypot(width, height) > FULL_FRAME.diagonal_mm * (1 - SAME_SIZE)
    refused = (focal_length_mm < SHORTEST_ON_FULL_FRAME_MM) & full_frame & (source != "session")
    width[refused] = height[refused] = np.nan
    source[refused] = "unknown"
    return Sensors(width, height, source, tuple(problems))


def _recorded(facts: pd.DataFrame) -> pd.DataFrame:
    """Sides that each frame's files record [mm], and the diagonal by the focal plane alone; NaN unknown."""
    crop = facts["crop_factor"].to_numpy("float64")
    plane = facts[["plane_width_mm", "plane_height_mm"]].to_numpy("float64")
    pixels = facts["plane_pixels"].to_numpy("float64")
    own = facts[["pixel_width", "pixel_height"]].to_numpy("float64", na_value=np.nan).prod(axis=1)
    largest = pd.Series(np.fmax(own, pixels)).groupby(facts["body"].to_numpy(object)).transform("max")
    whole = pixels >= OWN_PIXELS * largest.fillna(pd.Series(pixels)).to_numpy()
    plane = np.where(whole[:, None], plane, np.nan)
    by_crop = np.array([[FULL_FRAME.width_mm], [FULL_FRAME.height_mm]]) / crop
    return pd.DataFrame(
        {
            "width": np.where(np.isnan(crop), plane[:, 0], by_crop[0]),
            "height": np.where(np.isnan(crop), plane[:, 1], by_crop[1]),
            "by_crop": np.where(np.isnan(crop), np.nan, np.hypot(*by_crop)),
            "by_plane": np.hypot(plane[:, 0], plane[:, 1]),
        }
    )


def _mode(recorded: pd.DataFrame, rows: np.ndarray) -> Sensor | None:
    """The size that most frames record, within the rounding of 35 mm-equivalents; None where none does."""
    sizes = recorded.iloc[rows].dropna(subset=["width"]).value_counts(["width", "height"], sort=False)
    if not len(sizes):
        return None
    sides = np.array(sizes.index.tolist(), dtype="float64")
    diagonal, frames = np.hypot(sides[:, 0], sides[:, 1]), sizes.to_numpy()
    order = np.argsort(diagonal)
    diagonal, frames, sides = diagonal[order], frames[order], sides[order]
    total = np.concatenate([[0], np.cumsum(frames)])
    low = np.searchsorted(diagonal, diagonal * (1 - SAME_SIZE), side="left")
    near = total[np.searchsorted(diagonal, diagonal * (1 + SAME_SIZE), side="right")] - total[low]
    best = np.lexsort((-diagonal, frames, near))[-1]
    return Sensor(float(sides[best, 0]), float(sides[best, 1]))


def _disagreements(
    camera: str, recorded: pd.DataFrame, rows: np.ndarray, sensor: Sensor | None, *, stated: bool
) -> list[Problem]:
    if sensor is None:
        return []
    own = recorded.iloc[rows]
    step = "" if stated else "State the sensor in a [[camera]] entry of the session file."
    problems = []
    for column, words in (("by_crop", "35 mm-equivalent"), ("by_plane", "focal plane resolution")):
        diagonal = own[column].to_numpy()
        other = np.abs(diagonal / sensor.diagonal_mm - 1) > DISAGREEMENT
        if other.any():
            what = (
                f"The {words} of {int(other.sum())} of {len(rows)} frames of {camera} gives a sensor "
                f"diagonal of {np.median(diagonal[other]):.1f} mm; {sensor.diagonal_mm:.1f} mm was used."
            )
            problems.append(Problem(None, what, step, frames=int(other.sum())))
    return problems
