"""A folder of selects: a file there makes the frame it was made from a keeper.

Stem and capture time must agree; the stem alone counts only where it is unique and a time is missing. A
renamed file is matched by camera and capture time, or by a stem contained in its name.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.intake.photofile.records import FileRecord
from auditor.intake.statements.names import stem_of

_WORD = re.compile(r"[A-Za-z_]*\d{3,}")


def match_selects(
    table: pd.DataFrame,
    rows: np.ndarray,
    names: Sequence[str],
    records: Sequence[FileRecord],
    clock_offsets_s: Sequence[float],
) -> tuple[np.ndarray, list[Problem]]:
    """Find the frames that a folder of selects holds.

    Parameters
    ----------
    table : pandas.DataFrame
    rows : numpy.ndarray of int
        The rows this folder speaks of.
    names : sequence of str
        File names in the folder of selects.
    records : sequence of FileRecord
        What was read from them.
    clock_offsets_s : sequence of float
        Offset added to each one's camera clock [s].

    Returns
    -------
    selected : numpy.ndarray of bool, shape (len(table),)
    problems : list of Problem
        The files that match no frame, or several.
    """
    index = _Index(table, rows)
    selected = np.zeros(len(table), dtype=bool)
    problems: list[Problem] = []
    for name, record, offset_s in zip(names, records, clock_offsets_s, strict=True):
        hits = index.find(name, record, offset_s)
        if len(hits) == 1:
            selected[hits[0]] = True
            continue
        what = "matches no frame" if not hits else f"could be any of {len(hits)} frames"
        problems.append(
            Problem(name, f"A file in the folder of selects {what}.", "Keep the frame's name in the name.")
        )
    return selected, problems


class _Index:
    def __init__(self, table: pd.DataFrame, rows: np.ndarray) -> None:
        self.times = [None if pd.isna(t) else t.to_pydatetime() for t in table["captured_at"]]
        self.exact = table["has_subseconds"].fillna(False).to_numpy(bool)
        self.cameras = [c if isinstance(c, str) else None for c in table["camera"]]
        self.by_stem: dict[str, list[int]] = defaultdict(list)
        self.by_moment: dict[tuple[str | None, datetime], list[int]] = defaultdict(list)
        for row in rows:
            files = str(table["files"].iloc[row]).split("|")
            for stem in {stem_of(f) for f in files if not f.casefold().endswith(".xmp")}:
                self.by_stem[stem].append(int(row))
            moment = self.times[row]
            if moment is not None:
                self.by_moment[self.cameras[row], moment.replace(microsecond=0)].append(int(row))

    def find(self, name: str, record: FileRecord, offset_s: float) -> list[int]:
        """Rows that this select can be; one row is a match."""
        moment = None if record.captured_at is None else record.captured_at + pd.Timedelta(seconds=offset_s)
        stem = os.path.splitext(name)[0].casefold()
        named = self.by_stem.get(stem, [])
        agreeing = [row for row in named if self._agrees(row, moment, record.has_subseconds)]
        if moment is not None and any(self.times[row] is not None for row in named):
            if agreeing:
                return agreeing
        elif len(named) == 1:
            return named
        if moment is not None:
            hits = self._at(record.camera, moment, record.has_subseconds)
            if len(hits) == 1:
                return hits
        contained = [
            row
            for word in dict.fromkeys(_WORD.findall(stem))
            for row in self.by_stem.get(word, [])
            if moment is None or self.times[row] is None or self._agrees(row, moment, record.has_subseconds)
        ]
        return sorted(set(contained)) or ([] if moment is not None else named)

    def _agrees(self, row: int, moment: datetime | None, exact: bool) -> bool:
        own = self.times[row]
        if own is None or moment is None:
            return False
        if exact and self.exact[row]:
            return bool(own == moment)
        return bool(own.replace(microsecond=0) == moment.replace(microsecond=0))

    def _at(self, camera: str | None, moment: datetime, exact: bool) -> list[int]:
        hits = self.by_moment.get((camera, moment.replace(microsecond=0)), [])
        if exact:
            same = [row for row in hits if self.exact[row] and self.times[row] == moment]
            return same or ([] if any(self.exact[row] for row in hits) else hits)
        return hits
