"""From the size of a face in the picture to the distance of its owner, with what is wrong with it.

A length X of the body whose image on the sensor is x long is f (1 + X/x) from the lens (thin lens). Adults
of average build are assumed: children come out too far, the younger the more (a toddler a third too far).
Nobody's age or build is guessed.
"""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.intake.people.blurwidth import FLOOR_PX, blur_interval
from auditor.intake.statements.bodies import FACE, distance_of_reduction

Floats = npt.NDArray[np.float64]

# Relative standard deviations of the length read: 11 faces (``tests/bench/bench_faces.py``), unless said
# otherwise.
READ_SD = 0.04  # between faces, sharp or blurred by up to a fifth of their length
UNTRIED_SD = 0.03  # light, hats and lenses that were not among the faces measured (assumed)
OF_SPREAD = 0.5  # of what two readings of one face differ by
SIZE_PX, SIZE_SD = (40.0, 48.0, 64.0, 100.0), (0.05, 0.035, 0.015, 0.0)  # length against what smallness adds

LEAST_FACE_PX = 40.0
MOST_BLUR = 0.4  # of the length; the detector begins to fail there

TOO_SMALL: Final = "too small"
TOO_BLURRED: Final = "too blurred"
RESIZED: Final = "cropped or resized file"
NO_FOCAL_LENGTH: Final = "focal length unknown"
LARGER_THAN_LIFE: Final = "larger than life"

# Of a table of faces; lengths in pixels of the picture that was measured.
FACE_COLUMNS: Final = (
    "frame", "picture_width", "picture_height", "resized", "left", "top", "width", "height", "score",
    "face_px", "spread", "nose_x", "nose_y", "chin_x", "chin_y", "blur_px",
)  # fmt: skip


def place_faces(faces: pd.DataFrame, focal_length_mm: Floats, picture_height_mm: Floats) -> pd.DataFrame:
    """Add to each face its distance, error and blur on the sensor, or why there is none."""
    pitch_mm = picture_height_mm / faces["picture_height"].to_numpy("float64")
    face_px = faces["face_px"].to_numpy("float64")
    blur_share = np.nan_to_num(faces["blur_px"].to_numpy("float64") / face_px)
    reduction = FACE.mean_mm / (face_px * pitch_mm)
    rel_sd = reduction_sd(faces, focal_length_mm, pitch_mm)
    focal = np.where(focal_length_mm > 0, focal_length_mm, np.nan)
    reasons = _refused(faces, blur_share, focal, picture_height_mm, reduction)
    taken = reasons == ""
    distance, sd = distance_of_reduction(np.where(taken, reduction, np.nan), rel_sd, focal)
    blur = blur_interval(faces["blur_px"].to_numpy("float64") * pitch_mm, FLOOR_PX * pitch_mm)
    return faces.assign(
        distance_m=distance,
        distance_rel_sd=sd,
        blur_mm=blur[0],
        blur_low_mm=blur[1],
        blur_high_mm=blur[2],
        refused=pd.Series(reasons, index=faces.index, dtype="str").mask(taken),
    )


def reduction_sd(faces: pd.DataFrame, focal_length_mm: Floats, pitch_mm: Floats) -> Floats:
    """Relative error of the body over its image: body, reading, size, place in the picture."""
    parts = [
        FACE.sd_mm / FACE.mean_mm,
        READ_SD,
        UNTRIED_SD,
        np.interp(faces["face_px"].to_numpy("float64"), SIZE_PX, SIZE_SD),
        OF_SPREAD * faces["spread"].to_numpy("float64"),
        # Stretched in one direction only: not corrected.
        _radial_stretch(faces, focal_length_mm, pitch_mm) / 2,
    ]
    return np.asarray(np.sqrt(sum(part**2 for part in parts)))


def _radial_stretch(faces: pd.DataFrame, focal_length_mm: Floats, pitch_mm: Floats) -> Floats:
    """How much longer a head is drawn away from the middle than across: 1/cos of its angle, less 1."""
    across = faces["left"] + faces["width"] / 2 - faces["picture_width"] / 2
    down = faces["top"] + faces["height"] / 2 - faces["picture_height"] / 2
    off_mm = np.hypot(across.to_numpy("float64"), down.to_numpy("float64")) * pitch_mm
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.nan_to_num(np.hypot(1.0, off_mm / focal_length_mm) - 1))


def _refused(
    faces: pd.DataFrame, blur_share: Floats, focal: Floats, picture_height_mm: Floats, reduction: Floats
) -> npt.NDArray[np.object_]:
    """Why a face tells no distance; empty where it does. The first reason that holds."""
    with np.errstate(invalid="ignore"):
        conditions: tuple[tuple[str, npt.NDArray[np.bool_]], ...] = (
            (RESIZED, faces["resized"].to_numpy(bool) | np.isnan(picture_height_mm)),
            (NO_FOCAL_LENGTH, np.isnan(focal)),
            (TOO_SMALL, faces["face_px"].to_numpy("float64") < LEAST_FACE_PX),
            (TOO_BLURRED, blur_share > MOST_BLUR),
            (LARGER_THAN_LIFE, reduction <= 1),
        )
    reasons = np.full(len(faces), "", dtype=object)
    for reason, holds in reversed(conditions):
        reasons[holds] = reason
    return reasons
