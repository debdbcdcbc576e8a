"""The tables behind the charts of fitted results: tolerance, tuning, advice, causes, sessions."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pandas as pd

from auditor.advice.result import Advice, Tuning
from auditor.evidence.causes import UNEXPLAINED, Causes
from auditor.evidence.keeper_curve import keep_probability
from auditor.evidence.over_time import OverTime
from auditor.evidence.tolerance import Tolerance
from auditor.show.words import causes as cause_words
from auditor.show.words import tuning as tuning_words
from auditor.show.words.figures import millimetres
from auditor.units import METRES_PER_FOOT, format_f_number

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


def tuning_stops(tuning: Tuning) -> pd.DataFrame:
    """Rows of the tuning chart, one for each stop."""
    return pd.DataFrame(
        [
            {name: value for name, value in asdict(stop).items() if name != "at_rings_in_use"}
            | {"label": format_f_number(stop.f_number), "count_label": tuning_words.count_label(stop)}
            for stop in tuning.stops
        ]
    )


def advice_grid(advice: Advice) -> pd.DataFrame:
    """Cells of the advice chart: its column (engraving) and row (stop) beside each valued setting."""
    rings = np.unique(advice.grid["focus_distance_m"])
    stops = np.unique(advice.grid["f_number"])
    return advice.grid.assign(
        column=np.searchsorted(rings, advice.grid["focus_distance_m"]),
        row=np.searchsorted(stops, advice.grid["f_number"]),
    )


def advice_marks(advice: Advice) -> pd.DataFrame:
    """Settings to point out: the ring as used most, and the first in order of preference."""
    rings = np.unique(advice.grid["focus_distance_m"])
    stops = np.unique(advice.grid["f_number"])
    marks = [(advice.current[0], False, "now")] if advice.current else []
    if advice.settings:
        first = advice.settings[0]
        marks.append((first, True, "advised" if advice.change_advised else "first choice"))
        if len(marks) > 1 and _same(first, advice.current[0]):
            marks = [(first, True, "now and first choice")]
    rows = [
        {
            # A ring between two engravings stands between them, by reciprocal distance as rings are spaced.
            "column": float(np.interp(-1 / setting.focus_distance_m, -1 / rings, np.arange(len(rings)))),
            "row": float(np.interp(np.log(setting.f_number), np.log(stops), np.arange(len(stops)))),
            "advised": advised,
            "label": label,
        }
        for setting, advised, label in marks
    ]
    return pd.DataFrame(rows, columns=["column", "row", "advised", "label"])


def _same(one: object, other: object) -> bool:
    keys = ("f_number", "focus_distance_m")
    return all(abs(getattr(one, key) / getattr(other, key) - 1) < 0.02 for key in keys)


def advice_ticks(advice: Advice, units: str, *, narrow: bool) -> pd.DataFrame:
    """Ticks of the advice chart: engravings along, stops upward."""
    rings, stops = np.unique(advice.grid["focus_distance_m"]), np.unique(advice.grid["f_number"])
    metres = 1.0 if units == "m" else METRES_PER_FOOT
    names = ["∞" if np.isinf(ring) else f"{ring / metres:.2g}" for ring in rings]
    finite = np.flatnonzero(np.isfinite(rings))
    if len(finite):
        names[finite[-1]] += f" {units}"
    along = [
        {"axis": "column", "at": at, "label": name}
        for at, name in enumerate(names)
        if not narrow or len(names) < 9 or (len(names) - 1 - at) % 2 == 0
    ]
    return pd.DataFrame(
        along + [{"axis": "row", "at": at, "label": format_f_number(stop)} for at, stop in enumerate(stops)]
    )


def cause_rows(causes: Causes) -> pd.DataFrame:
    """Rows of the chart of causes, in the order of the contract."""
    table = causes.table
    return table.assign(
        label=table["cause"].map(cause_words.NAMES),
        count_label=[cause_words.count_label(row) for _, row in table.iterrows()],
        short_label=[f"{round(part)} of 100" for part in table["of_100"]],
        explained=table["cause"] != UNEXPLAINED,
    )


def session_ticks(found: OverTime, most: int) -> pd.DataFrame:
    """Ticks of the sessions' chart: evenly chosen sessions with their dates."""
    n = len(found.sessions)
    chosen = np.unique(np.linspace(0, n - 1, min(n, most)).round().astype(int))
    dates = found.sessions["starts_at"].iloc[chosen]
    labels = ["" if pd.isna(date) else f"{date:%Y-%m-%d}" for date in dates]
    return pd.DataFrame({"at": chosen, "label": labels})
