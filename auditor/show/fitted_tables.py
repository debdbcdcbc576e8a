"""The tables behind the pictures of the tolerance and of the sessions."""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.evidence.keeper_curve import keep_probability
from auditor.evidence.over_time import OverTime
from auditor.evidence.tolerance import Tolerance
from auditor.show.words.figures import millimetres

CURVE_POINTS = 80
BLUR_TICKS_MM = (0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)


def blur_curve(tolerance: Tolerance) -> pd.DataFrame:
    """Fitted hit rate of an average burst over blur, with the band of the curves as likely as the data say.

    Returns
    -------
    pandas.DataFrame
        ``blur_mm, rate, low, high``; the axis holds all bins, the tolerance and the handbook's value.
    """
    seen = tolerance.calibration["blur_mm"].to_numpy()
    ends = np.concatenate([seen, [tolerance.blur_mm, tolerance.blur_mm / tolerance.times_handbook]])
    blur = np.geomspace(0.75 * ends.min(), 1.4 * ends.max(), CURVE_POINTS)
    spread = np.full((2, CURVE_POINTS), np.nan)
    if len(tolerance.draws):
        place, steepness, ceiling, floor = tolerance.draws.T[:4, :, None]
        kept = keep_probability(blur[None, :], place, steepness, ceiling, floor)
        hit = -np.expm1(tolerance.tries * np.log1p(-kept))
        tail = (1 - tolerance.confidence) / 2
        spread = np.quantile(hit, [tail, 1 - tail], axis=0)
    return pd.DataFrame(
        {"blur_mm": blur, "rate": tolerance.hit_chance(blur), "low": spread[0], "high": spread[1]}
    )


def blur_marks(tolerance: Tolerance) -> pd.DataFrame:
    """Diameters to mark: the tolerance with its interval, and the handbook's value."""
    handbook = tolerance.blur_mm / tolerance.times_handbook
    return pd.DataFrame(
        {
            "blur_mm": [tolerance.blur_mm, handbook],
            "low": [tolerance.low, np.nan],
            "high": [tolerance.high, np.nan],
            "label": [f"tolerance {millimetres(tolerance.blur_mm)}", f"handbook {millimetres(handbook)}"],
        }
    )


def blur_ticks(from_mm: float, to_mm: float) -> pd.DataFrame:
    """Ticks of an axis of blur."""
    inside = [value for value in BLUR_TICKS_MM if from_mm < value < to_mm]
    labels = [f"{value:g}" for value in inside]
    if labels:
        labels[-1] += " mm"
    return pd.DataFrame({"at_mm": inside, "label": labels})


def session_ticks(found: OverTime, most: int) -> pd.DataFrame:
    """Ticks of the sessions' chart: evenly chosen sessions with their dates."""
    n = len(found.sessions)
    chosen = np.unique(np.linspace(0, n - 1, min(n, most)).round().astype(int))
    dates = found.sessions["starts_at"].iloc[chosen]
    labels = ["" if pd.isna(date) else f"{date:%Y-%m-%d}" for date in dates]
    return pd.DataFrame({"at": chosen, "label": labels})
