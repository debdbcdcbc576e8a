"""What the picture of the tolerance is drawn from."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from auditor.evidence.tolerance import Tolerance
from auditor.show.words.figures import millimetres

CURVE_POINTS = 80
BLUR_TICKS_MM = (0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)


class BlurPicture(NamedTuple):
    """Curve, observed groups (both with ``blur_mm, rate, low, high``), and labels at diameters [mm]."""

    curve: pd.DataFrame
    bins: pd.DataFrame
    marks: list[tuple[float, str]]
    ticks: list[tuple[float, str]]


def blur_picture(tolerance: Tolerance) -> BlurPicture | None:
    """Gather the picture: the axis holds all groups, the tolerance and the handbook's value."""
    if not tolerance.fitted or not len(tolerance.calibration):
        return None
    eye = tolerance.eye
    handbook = eye.blur_mm / tolerance.times_handbook
    ends = [*tolerance.calibration["blur_mm"], eye.blur_mm, handbook]
    low, high = 0.75 * min(ends), 1.4 * max(ends)
    marks = (("tolerance", eye.blur_mm), ("handbook", handbook))
    inside = [value for value in BLUR_TICKS_MM if low < value < high]
    return BlurPicture(
        blur_curve(tolerance, np.geomspace(low, high, CURVE_POINTS)),
        tolerance.calibration,
        [(blur_mm, f"{name} {millimetres(blur_mm)}") for name, blur_mm in marks],
        [(value, f"{value:g}{' mm' if value == inside[-1] else ''}") for value in inside],
    )


def blur_curve(tolerance: Tolerance, blur_mm: np.ndarray) -> pd.DataFrame:
    """Chance to be called sharp, or kept, with the band of the curves as likely as the data say."""
    chance, tail = tolerance.chance(blur_mm), (1 - tolerance.confidence) / 2
    low, high = np.quantile(chance, [tail, 1 - tail], axis=0)
    return pd.DataFrame({"blur_mm": blur_mm, "rate": chance.mean(axis=0), "low": low, "high": high})
