"""Gaps in the cameras' file numbering: frames that were deleted before anyone counted them.

Cameras name files by DCF (CIPA DC-009): four characters and a number from 0001 to 9999, then 0001 again.
Only such names, or shorter ones of that kind, are taken for a camera's; whoever renames files numbers them
without gaps.
"""

from __future__ import annotations

import os
import re
from itertools import compress

import numpy as np
import pandas as pd

from auditor.frames import captured_s

# What follows the number is an editor's: P1010203-web.
_DCF = re.compile(r"(?=.{0,3}[A-Za-z_])([A-Za-z0-9_]{1,4})(\d{4})(?![A-Za-z0-9]).*", re.ASCII | re.DOTALL)
HIGHEST_NUMBER = 9999
LARGEST_GAP = 500  # a larger jump is another card or a reset counter, not deleted frames


def missing_numbers(table: pd.DataFrame) -> int | None:
    """Count the numbers missing among the frames of each camera in each session.

    Numbers stand on a ring, 9999 beside 1, and each gap between neighbours of at most :data:`LARGEST_GAP`
    counts, whatever the order of their times. Names of one camera with other letters in front are counted
    apart; digits in front (a folder's number) and underscores (a colour space) make no difference.

    Returns
    -------
    int or None
        None where too few names are a camera's to tell (renamed files).
    """
    if not len(table):
        return None
    stems = [os.path.splitext(file.rsplit("/", 1)[-1])[0] for file in table["file"].to_numpy(object)]
    matches = [_DCF.fullmatch(stem) for stem in stems]
    usable = np.array([match is not None for match in matches]) & ~np.isnan(captured_s(table))
    usable &= table["session"].notna().to_numpy()
    if usable.sum() < 0.5 * len(table):
        return None
    parts = [match.groups() for match in compress(matches, usable) if match is not None]
    number = np.array([int(digits) for _, digits in parts])
    of_run = pd.DataFrame(
        {
            "session": table["session"].to_numpy("float64", na_value=np.nan)[usable],
            "camera": table["camera"].fillna("").to_numpy(object)[usable],
            "letters": [front.strip("0123456789_").upper() for front, _ in parts],
        }
    )
    run = of_run.groupby(list(of_run.columns), sort=False).ngroup().to_numpy()
    order = np.lexsort((number, run))
    run, number = run[order], number[order]
    same = np.diff(run) == 0
    starts, ends = np.flatnonzero(np.r_[True, ~same]), np.flatnonzero(np.r_[~same, True])
    steps = np.concatenate([np.diff(number)[same], number[starts] + HIGHEST_NUMBER - number[ends]])
    return int((steps[(steps > 1) & (steps <= LARGEST_GAP)] - 1).sum())
