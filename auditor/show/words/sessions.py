"""What is said of one session."""

from __future__ import annotations

from typing import Any

import pandas as pd


def when(row: Any) -> str:
    """Write when a session was, its end only as a time where it is the same day; of a roll its frames."""
    if pd.isna(row.starts_at):
        return f"{row.first_file}–{row.last_file}"
    start, end = row.starts_at, row.ends_at
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{end:%Y-%m-%d %H:%M}"
    return f"{start:%Y-%m-%d %H:%M}–{until}" if start != end else f"{start:%Y-%m-%d %H:%M}"
