"""From the size of a face in the picture to the distance of its owner, with what is wrong with it.

A length X of the body whose image on the sensor is x long is f (1 + X/x) from the lens (thin lens). Adults
of average build are assumed: children come out too far, the younger the more (a toddler a third too far).
Nobody's age or build is guessed.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.intake.people.blurwidth import FLOOR_PX
from auditor.intake.statements.bodies import FACE, FOCAL_LENGTH_SD, either_sex
from auditor.optics.lens import sensor_distance_m

Floats = npt.NDArray[np.float64]

# Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel (Natick/TR-15/007), from its open data.
BREADTH = either_sex((142.6, 6.2), (133.8, 5.6), other_sd=0.0)  # bizygomatic
EYES = either_sex((64.0, 3.4), (61.7, 3.6), other_sd=0.0)  # interpupillary
BODY_CORRELATION = (
    0.4  # between the three lengths of one head (0.2 to 0.6 assumed; moves the sum by 0.4 points)
)

# Relative standard deviations, measured on 12 to 140 faces unless said otherwise.
BOX_SD = 0.054  # of a box's height over the face's length
MESH_SD = 0.03  # of the mesh against the truth: pose, expression
TURN_SD, FAR_TURN_SD = 0.03, 0.09  # head turned aside by up to 35 degrees; up to 60
UNTRIED_SD = 0.04  # light, hats and lenses that were not among the faces measured (assumed)
# Of the mesh by size: F [px] against relative sd.
SIZE_PX, SIZE_SD = (40.0, 48.0, 64.0, 80.0, 120.0, 180.0), (0.045, 0.034, 0.026, 0.025, 0.014, 0.008)
# Faces look smaller when blurred: blur disc over F against size read over true size (12 faces).
BLUR_SHARE, SIZE_READ = (0.0, 0.1, 0.167, 0.2, 0.25, 0.33, 0.4), (1.0, 0.99, 0.98, 0.96, 0.95, 0.93, 0.89)

LEAST_FACE_PX = 40.0
TURNED_DEG, LARGEST_YAW_DEG = 35.0, 60.0
FRONTAL_DEG = 20.0
MOST_BLUR = 0.4  # of F; detectors begin to fail there

TOO_SMALL: Final = "too small"
TOO_FAR_TURNED: Final = "turned too far"
TOO_BLURRED: Final = "too blurred"
RESIZED: Final = "cropped or resized file"
NO_FOCAL_LENGTH: Final = "focal length unknown"
LARGER_THAN_LIFE: Final = "larger than life"

# Of a table of faces; lengths in pixels of the picture that was measured.
FACE_COLUMNS: Final = (
    "frame", "picture_width", "picture_height", "resized", "left", "top", "width", "height", "score",
    "face_px", "breadth_px", "eyes_px", "yaw_deg", "blur_px", "anisotropy", "smear_deg", "cause",
)  # fmt: skip


def place_faces(faces: pd.DataFrame, focal_length_mm: Floats, picture_height_mm: Floats) -> pd.DataFrame:
    """Add to each face its distance, error, turn and blur on the sensor, or why there is none.

    Parameters
    ----------
    faces : pandas.DataFrame
        :data:`FACE_COLUMNS`, n rows.
    focal_length_mm : numpy.ndarray, shape (n,)
        Of each face's frame; NaN unknown.
    picture_height_mm : numpy.ndarray, shape (n,)
        What the height of the picture is on the sensor; NaN where its shape is not the sensor's.

    Returns
    -------
    pandas.DataFrame
        With ``turn`` (``frontal``, ``half``, ``far``, ``profile``, missing), ``distance_m`` from the sensor
        plane, ``distance_rel_sd``, ``blur_mm``, ``blur_floor_mm`` and ``refused``.
    """
    pitch_mm = picture_height_mm / faces["picture_height"].to_numpy("float64")
    face_px = faces["face_px"].to_numpy("float64")
    meshed = faces["breadth_px"].notna().to_numpy()
    blur_share = np.nan_to_num(faces["blur_px"].to_numpy("float64") / face_px)
    shrinks = np.interp(blur_share, BLUR_SHARE, SIZE_READ)
    reduction = body_over_image(faces, pitch_mm) * shrinks
    rel_sd = reduction_sd(faces, meshed, shrinks, focal_length_mm, pitch_mm)
    focal = np.where(focal_length_mm > 0, focal_length_mm, np.nan)
    reasons = _refused(faces, blur_share, focal, picture_height_mm, reduction)
    taken = reasons == ""
    from_lens_m = np.where(taken, focal * (1 + reduction) / 1000, np.nan)
    distance = np.asarray(sensor_distance_m(from_lens_m, focal), dtype="float64")
    with np.errstate(invalid="ignore"):
        # The sensor distance is f (2 + r + 1/r), whose relative change is (r - 1)/(r + 1) times that of r.
        sd = np.hypot(rel_sd * (reduction - 1) / (reduction + 1), FOCAL_LENGTH_SD)
    return faces.assign(
        turn=_turns(faces["yaw_deg"].to_numpy("float64"), faces.index),
        distance_m=distance,
        distance_rel_sd=np.where(taken, sd, np.nan),
        blur_mm=faces["blur_px"].to_numpy("float64") * pitch_mm,
        blur_floor_mm=FLOOR_PX * pitch_mm,
        refused=pd.Series(reasons, index=faces.index, dtype="str").mask(taken),
    )


def body_over_image(faces: pd.DataFrame, pitch_mm: Floats) -> Floats:
    """How many times larger the body is than its image: from the face's length, or the mean of three lengths.

    Returns
    -------
    numpy.ndarray, shape (n,)
    """
    lengths = [
        measure.mean_mm / (faces[column].to_numpy("float64") * pitch_mm)
        for measure, column in ((FACE, "face_px"), (BREADTH, "breadth_px"), (EYES, "eyes_px"))
    ]
    return np.asarray(np.where(np.isnan(lengths[1]), lengths[0], sum(lengths) / 3))


def body_sd(meshed: npt.NDArray[np.bool_]) -> Floats:
    """Relative spread of the bodies themselves, sex unknown.

    Examples
    --------
    >>> body_sd(np.array([False, True])).round(3).tolist()
    [0.068, 0.046]
    """
    own = np.array([measure.sd_mm / measure.mean_mm for measure in (FACE, BREADTH, EYES)])
    of_mean = np.sqrt((1 - BODY_CORRELATION) * (own**2).sum() + BODY_CORRELATION * own.sum() ** 2) / 3
    return np.asarray(np.where(meshed, of_mean, own[0]))


def reduction_sd(
    faces: pd.DataFrame,
    meshed: npt.NDArray[np.bool_],
    shrinks: Floats,
    focal_length_mm: Floats,
    pitch_mm: Floats,
) -> Floats:
    """Relative error of the body over its image: body, detector, size, turn, blur, place in the picture."""
    face_px = faces["face_px"].to_numpy("float64")
    yaw = np.abs(faces["yaw_deg"].to_numpy("float64"))
    parts = [
        body_sd(meshed),
        np.where(meshed, MESH_SD, BOX_SD),
        np.interp(face_px, SIZE_PX, SIZE_SD),
        np.where(yaw > TURNED_DEG, FAR_TURN_SD, TURN_SD),
        (1 - shrinks) / 2,  # the correction is known from a few faces
        _radial_stretch(faces, focal_length_mm, pitch_mm)
        / 2,  # stretched in one direction only: not corrected
        np.full(len(faces), UNTRIED_SD),
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
    yaw = np.abs(faces["yaw_deg"].to_numpy("float64"))
    with np.errstate(invalid="ignore"):
        conditions: tuple[tuple[str, npt.NDArray[np.bool_]], ...] = (
            (RESIZED, faces["resized"].to_numpy(bool) | np.isnan(picture_height_mm)),
            (NO_FOCAL_LENGTH, np.isnan(focal)),
            (TOO_SMALL, faces["face_px"].to_numpy("float64") < LEAST_FACE_PX),
            (TOO_FAR_TURNED, yaw > LARGEST_YAW_DEG),
            (TOO_BLURRED, blur_share > MOST_BLUR),
            (LARGER_THAN_LIFE, reduction <= 1),
        )
    reasons = np.full(len(faces), "", dtype=object)
    for reason, holds in reversed(conditions):
        reasons[holds] = reason
    return reasons


def _turns(yaw_deg: Floats, index: pd.Index) -> pd.Series:
    size = np.abs(yaw_deg)
    words = np.array(["frontal", "half", "far", "profile"], dtype=object)
    place = np.searchsorted([FRONTAL_DEG, TURNED_DEG, LARGEST_YAW_DEG], np.nan_to_num(size))
    return pd.Series(words[place], dtype="str").mask(np.isnan(size)).set_axis(index)
