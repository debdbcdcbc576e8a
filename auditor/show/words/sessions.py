"""What is said of sessions over time."""

from __future__ import annotations

from typing import Any

import pandas as pd

from auditor.evidence.over_time import OverTime
from auditor.show.words.figures import counted, interval, listed, percent


def when(row: Any) -> str:
    """Write when a session was, its end only as a time where it is the same day; of a roll its frames."""
    if pd.isna(row.starts_at):
        return f"{row.first_file}–{row.last_file}"
    start, end = row.starts_at, row.ends_at
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{end:%Y-%m-%d %H:%M}"
    return f"{start:%Y-%m-%d %H:%M}–{until}" if start != end else f"{start:%Y-%m-%d %H:%M}"


def over_time(found: OverTime) -> str:
    """Say whether a session lies outside the limits, and whether the rate drifts."""
    sessions = found.sessions
    if not sessions["limit_low"].notna().any():
        return "It takes at least 4 sessions, with hits and misses among them, to draw control limits."
    outside = sessions[sessions["outside"]]
    if len(outside):
        names = listed(
            f"{row.session:.0f} ({_side(row)}: {percent(row.hit_rate)} of {counted(row.bursts, 'burst')}, "
            f"{interval(row.low, row.high)})"
            for row in outside.itertuples()
        )
        verb = "Outside the limits lies session" if len(outside) == 1 else "Outside the limits lie sessions"
        said = f"{verb} {names}: look for what was different."
    else:
        said = f"All {counted(len(sessions), 'session')} lie within the limits: no up or down needs a reason."
    if found.drifts:
        said += f" Over the sessions the rate {'rises' if found.drift_per_session > 0 else 'falls'}."
    return said


def _side(row: Any) -> str:
    return "better" if row.hit_rate > row.centre else "worse"
