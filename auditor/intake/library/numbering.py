"""Gaps in the cameras' file numbering: frames that were deleted before anyone counted them.

Cameras name files by DCF (CIPA DC-009): four characters and a number from 0001 to 9999, then 0001 again.
Only such names, or shorter ones of that kind, are taken for a camera's; whoever renames files numbers them
without gaps.
"""

import re

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.frames import NUMBER, TEXT
from auditor.intake.library.collector import without_collector

# What follows the number is the ending, or an editor's: P1010203-web.jpg.
DCF = re.compile(r"(?=.{0,3}[A-Za-z_])([A-Za-z0-9_]{1,4})(\d{4})(?![A-Za-z0-9])", re.ASCII | re.DOTALL)
HIGHEST_NUMBER = 9999
LARGEST_GAP = 500  # a larger jump is another card or a reset counter, not deleted frames


@without_collector()
def numbers_in_names(files: npt.ArrayLike) -> dict[str, pd.api.extensions.ExtensionArray]:
    """Return what cameras' names say: ``name_letters`` in front, and ``name_number``.

    Digits in front (a folder's number) and underscores (a colour space) make no difference.
    """
    names = np.asarray(files, dtype=object)
    letters, numbers = np.full(names.size, None, dtype=object), np.full(names.size, np.nan)
    alike: dict[str, str] = {}
    for row, file in enumerate(names):
        if match := DCF.match(file, file.rfind("/") + 1):
            front, number = match.groups()
            letters[row] = alike.setdefault(front, front.strip("0123456789_").upper())
            numbers[row] = number
    return {"name_letters": pd.array(letters, dtype=TEXT), "name_number": pd.array(numbers, dtype=NUMBER)}


def missing_numbers(
    facts: pd.DataFrame, cameras: np.ndarray, sessions: np.ndarray, time_s: np.ndarray
) -> int | None:
    """Count the numbers missing among the frames of each camera in each session, on a ring of 9999."""
    if not len(facts):
        return None
    numbers = facts["name_number"].to_numpy("float64")
    usable = ~np.isnan(numbers) & ~np.isnan(time_s) & ~np.isnan(sessions)
    if usable.sum() < 0.5 * len(facts):
        return None
    number = numbers[usable].astype(int)
    run = np.zeros(len(number), dtype=np.int64)
    for column in (sessions, cameras, facts["name_letters"].to_numpy(object)):
        codes, known = pd.factorize(column[usable])  # a camera without a name has the code -1
        run = run * (len(known) + 1) + codes + 1
    order = np.lexsort((number, run))
    run, number = run[order], number[order]
    same = np.diff(run) == 0
    starts, ends = np.flatnonzero(np.r_[True, ~same]), np.flatnonzero(np.r_[~same, True])
    steps = np.concatenate([np.diff(number)[same], number[starts] + HIGHEST_NUMBER - number[ends]])
    return int((steps[(steps > 1) & (steps <= LARGEST_GAP)] - 1).sum())
