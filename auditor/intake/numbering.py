"""Gaps in the cameras' file numbering: frames that were deleted before anyone counted them."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from auditor.frames import captured_s

_NUMBERED = re.compile(r"^(.*?)(\d{3,5})(?:\D[^/]*)?$")
LARGEST_GAP = 500  # a larger jump is another card or a reset counter, not deleted frames


def missing_numbers(table: pd.DataFrame) -> int | None:
    """Count the numbers missing between neighbouring frames of one camera inside one session.

    Numbering that rolls over (9999 to 1) continues. Frames are compared in the order of their capture
    times; names of one camera with different letters in front are numbered apart.

    Returns
    -------
    int or None
        None where too few names carry a camera's number to tell (renamed files).
    """
    stems = table["file"].str.rsplit("/", n=1).str[-1].str.rsplit(".", n=1).str[0]
    parts = stems.str.extract(_NUMBERED)
    number = pd.to_numeric(parts[1], errors="coerce")
    digits = parts[1].str.len()
    times = pd.Series(captured_s(table), index=table.index)
    usable = number.notna() & times.notna() & table["session"].notna()
    if not len(table) or usable.sum() < 0.5 * len(table):
        return None
    frames = pd.DataFrame(
        {
            "session": table["session"],
            "camera": table["camera"].fillna(""),
            "prefix": parts[0],
            "digits": digits,
            "number": number,
            "time": times,
        }
    )[usable]
    missing = 0
    for (*_, width), run in frames.groupby(["session", "camera", "prefix", "digits"], sort=False):
        numbers = run.sort_values(["time", "number"])["number"].to_numpy()
        missing += _gaps(numbers, int(width))
    return missing


def _gaps(numbers: np.ndarray, digits: int) -> int:
    """Missing numbers within one run, in the order taken."""
    step = np.diff(numbers)
    top = 10**digits - 1
    step = np.where(step < -top / 2, step + top, step)  # 9999 is followed by 1
    gaps = step[(step > 1) & (step <= LARGEST_GAP)] - 1
    return int(gaps.sum())
