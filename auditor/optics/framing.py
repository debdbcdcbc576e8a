"""What the frame cuts at a distance: how the viewfinder itself tells near from far.

The lower edge of a frame held level lies half a frame's height below the lens, enlarged by the distance: at
the object distance u it is (v/2) (u - f) / f below the camera (thin lens), v the sensor's height.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import Floats, lens_distance_m, magnification

CAMERA_HEIGHT_M: Final = 1.6  # at the eye of somebody standing (common practice, no source)
STATURE_M: Final = 1.7
# Heights of a standing adult, as parts of the stature: Drillis and Contini, Body Segment Parameters (New York
# University 1966), figure 1, as reprinted by Winter, Biomechanics and Motor Control of Human Movement; from
# memory. Thighs: half way from knees to hips; belt: at the elbow; chest (common practice, no source).
LANDMARKS: Final = {
    "soles": 0.0, "knees": 0.285, "thighs": 0.41, "hips": 0.530, "belt": 0.630, "chest": 0.72,
    "shoulders": 0.818, "chin": 0.870,
}  # fmt: skip
_NEAR_ENOUGH = 0.07  # of the stature: farther from every landmark, none is named


def lower_edge_m(
    distance_m: npt.ArrayLike, focal_length_mm: npt.ArrayLike, frame_height_mm: npt.ArrayLike
) -> Floats:
    """Height above the ground of what the frame's lower edge cuts, the camera held level; below 0 the ground.

    Distances from the sensor plane; the frame's height as the camera is held.

    >>> round(float(lower_edge_m(1.7, 35.0, 24.0)), 2)
    1.04
    """
    size = magnification(lens_distance_m(distance_m, focal_length_mm), focal_length_mm)
    with np.errstate(divide="ignore"):
        half_m = np.asarray(frame_height_mm, dtype=float) / 2000 / size
    return np.asarray(CAMERA_HEIGHT_M - half_m)[()]


def landmark_at(height_m: float) -> str | None:
    """Name the part of a standing adult at a height; None where none is near.

    >>> landmark_at(1.05), landmark_at(0.0), landmark_at(-0.6)
    ('belt', 'soles', None)
    """
    part = height_m / STATURE_M
    name = min(LANDMARKS, key=lambda one: abs(LANDMARKS[one] - part))
    return name if abs(LANDMARKS[name] - part) <= _NEAR_ENOUGH else None


def standing_share(
    distance_m: float, focal_length_mm: float, frame_height_mm: float, stature_m: float = STATURE_M
) -> float:
    """Share of the frame's height that a standing adult fills, above 1 where they do not fit.

    >>> round(standing_share(4.9, 35.0, 24.0), 2)
    0.51
    """
    size = float(magnification(lens_distance_m(distance_m, focal_length_mm), focal_length_mm))
    return 1000 * stature_m * size / frame_height_mm
