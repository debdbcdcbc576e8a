"""A folder of selects: a file there makes the frame it was made from a keeper.

Stem and capture time must agree; the stem alone counts only where it is unique and a time is missing. A
renamed file is matched by camera and capture time, by folder and stem contained in its path (``roll1-s7``),
or by a stem contained in its name.
"""

import os
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import numpy as np

from auditor.errors import Problem
from auditor.intake.frame_index import FrameIndex, Rows
from auditor.intake.library.folders import stem_of
from auditor.intake.photofile.records import FileRecord
from auditor.intake.statements.claims import Claim, Claims, objects

_EPOCH = datetime(1970, 1, 1)
_WORD = re.compile(r"[A-Za-z_]*\d{3,}")
_PIECE = re.compile(r"\d+|[^\W\d_]+")


def claim_selects(
    folder: str,
    rows: Rows,
    names: Sequence[str],
    records: Sequence[FileRecord],
    clock_offsets_s: Sequence[float],
    index: FrameIndex,
    has_subseconds: np.ndarray,
) -> Claims:
    """State as keepers the frames that a folder of selects holds; a file of no one frame is a problem."""
    moments = _Moments(index, rows, has_subseconds)
    selected: list[int] = []
    problems: list[Problem] = []
    for name, record, offset_s in zip(names, records, clock_offsets_s, strict=True):
        hits = moments.find(name, record, offset_s)
        if len(hits) == 1:
            selected.append(hits[0])
            continue
        what = "matches no frame" if not hits else f"could be any of {len(hits)} frames"
        step = "Keep the frame's name in the name."
        problems.append(Problem(name, f"A file in the folder of selects {what}.", step, ignored=True))
    kept = np.unique(np.array(selected, dtype=np.intp))
    claim = Claim("keeper", "selects", kept, objects(["yes"] * len(kept)), folder)
    return Claims((claim,) if len(kept) else (), tuple(problems))


def probable_selects(files: Iterable[str]) -> dict[str, int]:
    """Folders of nothing but copies of some frames of another folder, and how many; read of ``files``."""
    folders = [{name.rpartition("/")[0] for name in names.split("|")} for names in files]
    frames: dict[str, set[int]] = defaultdict(set)
    for row, own in enumerate(folders):
        for folder in own:
            frames[folder].add(row)
    return {
        folder: len(rows)
        for folder, rows in frames.items()
        if any(rows < frames[other] for other in folders[min(rows)])
    }


class _Moments:
    """The frames of one folder of selects by stem, and by camera and second."""

    def __init__(self, index: FrameIndex, rows: Rows, has_subseconds: np.ndarray) -> None:
        self.exact = has_subseconds
        self.by_stem: dict[str, list[int]] = defaultdict(list)
        self.by_place: dict[tuple[str, ...], list[int]] = defaultdict(list)  # pieces of folder and stem
        self.by_moment: dict[tuple[str | None, datetime], list[int]] = defaultdict(list)
        self.times: dict[int, datetime] = {}
        for row in rows.tolist():
            files = index.files[row].split("|")
            for stem in {stem_of(f) for f in files if not f.casefold().endswith(".xmp")}:
                self.by_stem[stem].append(row)
            above, name = os.path.split(index.paths[row])
            self.by_place[_pieces(f"{os.path.basename(above)}/{stem_of(name)}")].append(row)
            if not np.isnan(index.time_s[row]):
                moment = self.times[row] = _EPOCH + timedelta(seconds=float(index.time_s[row]))
                camera = index.cameras[row]
                known = camera if isinstance(camera, str) else None
                self.by_moment[known, moment.replace(microsecond=0)].append(row)

    def find(self, name: str, record: FileRecord, offset_s: float) -> list[int]:
        """Rows that this select can be; one row is a match."""
        moment = None if record.captured_at is None else record.captured_at + timedelta(seconds=offset_s)
        stem = stem_of(name)
        named = self.by_stem.get(stem, [])
        agreeing = [row for row in named if self._agrees(row, moment, record.has_subseconds)]
        if moment is not None and any(row in self.times for row in named):
            if agreeing:
                return agreeing
        elif len(named) == 1:
            return named
        if moment is not None:
            hits = self._at(record.camera, moment, record.has_subseconds)
            if len(hits) == 1:
                return hits
        contained = self._placed(name) or {
            row for word in _WORD.findall(stem) for row in self.by_stem.get(word, [])
        }
        if moment is not None:
            exact = record.has_subseconds
            return sorted(r for r in contained if r not in self.times or self._agrees(r, moment, exact))
        return sorted(contained) or named

    def _placed(self, name: str) -> set[int]:
        """Rows whose folder and stem are contained in a path; of several the longest."""
        pieces = _pieces(os.path.splitext(name)[0])
        for length in range(len(pieces), 0, -1):
            parts = (pieces[at : at + length] for at in range(len(pieces) - length + 1))
            if rows := {row for part in parts for row in self.by_place.get(part, [])}:
                return rows
        return set()

    def _agrees(self, row: int, moment: datetime | None, exact: bool) -> bool:
        own = self.times.get(row)
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


def _pieces(path: str) -> tuple[str, ...]:
    return tuple(_PIECE.findall(path.casefold()))
