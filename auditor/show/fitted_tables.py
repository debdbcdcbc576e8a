"""The tables behind the picture of the tolerance."""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.evidence.tolerance import Tolerance
from auditor.show.words.figures import millimetres

CURVE_POINTS = 80
BLUR_TICKS_MM = (0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)


def blur_curve(tolerance: Tolerance) -> pd.DataFrame:
    """Chance over blur to be called sharp, or kept, with the band of the curves as likely as the data say.

    Returns
    -------
    pandas.DataFrame
        ``blur_mm, rate, low, high``; the axis holds all groups, the tolerance and the handbook's value.
    """
    eye = tolerance.eye
    ends = np.concatenate(
        [
            tolerance.calibration["blur_mm"].to_numpy(float),
            [eye.blur_mm, eye.blur_mm / tolerance.times_handbook],
        ]
    )
    blur = np.geomspace(0.75 * ends.min(), 1.4 * ends.max(), CURVE_POINTS)
    chance, tail = tolerance.chance(blur), (1 - tolerance.confidence) / 2
    low, high = np.quantile(chance, [tail, 1 - tail], axis=0)
    return pd.DataFrame({"blur_mm": blur, "rate": chance.mean(axis=0), "low": low, "high": high})


def blur_marks(tolerance: Tolerance) -> pd.DataFrame:
    """Diameters to mark: the tolerance with its interval, and the handbook's value."""
    eye = tolerance.eye
    handbook = eye.blur_mm / tolerance.times_handbook
    return pd.DataFrame(
        {
            "blur_mm": [eye.blur_mm, handbook],
            "low": [eye.low, np.nan],
            "high": [eye.high, np.nan],
            "label": [f"tolerance {millimetres(eye.blur_mm)}", f"handbook {millimetres(handbook)}"],
        }
    )


def blur_ticks(from_mm: float, to_mm: float) -> pd.DataFrame:
    """Ticks of an axis of blur."""
    inside = [value for value in BLUR_TICKS_MM if from_mm < value < to_mm]
    labels = [f"{value:g}" for value in inside]
    if labels:
        labels[-1] += " mm"
    return pd.DataFrame({"at_mm": inside, "label": labels})
