"""Which frame is meant: by the name that people give it, or by a span of one camera's frames.

Read-only and made once for an archive. Names are looked up where they are written down, so that they mean the
same frames whichever way the folder is read.
"""

import difflib
import os
import re
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

from auditor.intake.library.folders import stem_of
from auditor.text import natural_key, printable

Rows = npt.NDArray[np.intp]
MOST_COMPARED, MOST_ASKED = 20_000, 20  # names looked through for the nearest spelling, and how often
SESSION_GAP_S = 3 * 3600.0  # a longer gap between frames begins another session
_LAST = "\U0010ffff"
_AT_FRONT = re.compile(r"^\d+(?:[A-Za-z](?![A-Za-z]))?(?=\D)")  # 12A lies between 12 and 13
# Frames: a roll of 36 holds some more, of halves twice as many; the shortest of 120 film (common practice, no
# source).
MOST_ON_ROLL, FEWEST_ON_ROLL = 40, 8
_BEFORE_NUMBER = re.compile(r"\d+\D*$")  # the number, and what follows it


def number_sessions(time_s: np.ndarray, paths: Sequence[str]) -> np.ndarray:
    """Number the sessions from 1: frames with no gap over three hours; then the rolls without times."""
    number = np.zeros(len(time_s))
    known = np.flatnonzero(~np.isnan(time_s))
    order = known[np.argsort(time_s[known], kind="stable")]
    if len(order):
        number[order] = 1 + np.cumsum(np.diff(time_s[order], prepend=time_s[order[0]]) > SESSION_GAP_S)
    unknown = np.flatnonzero(np.isnan(time_s))
    number[unknown] = number.max(initial=0) + number_rolls([paths[row] for row in unknown.tolist()])
    return number


def before_number(name: str) -> str:
    """What stands before the number of a frame's name; a roll has it in common."""
    return _BEFORE_NUMBER.sub("", stem_of(name))


def number_rolls(paths: Sequence[str]) -> np.ndarray:
    """Number the rolls from 1, in order of folder and name: a folder, or one of several in it, by stem.

    The last number is the frame's; one in front (``07_roll2``) where that makes fewer rolls, none too long:
    no longer than rolls are, or than those of half frames where the last number would leave only scraps.

    >>> number_rolls(["a/1.tif", "a/2.tif", "b/y-1.tif", "b/y-2.tif", "b/x-1.tif", "b/x-2.tif"]).tolist()
    [1, 1, 3, 3, 2, 2]
    """
    names = [(folder, stem_of(name)) for folder, name in map(os.path.split, paths)]
    keys = [(folder, _BEFORE_NUMBER.sub("", stem)) for folder, stem in names]
    fronts = [(folder, _AT_FRONT.sub("", stem)) for folder, stem in names]
    many, few = (Counter(folder for folder, _ in set(some)) for some in (keys, fronts))
    longest, by_number = (
        {folder: n for (folder, _), n in reversed(Counter(some).most_common())} for some in (fronts, keys)
    )
    most = {folder: MOST_ON_ROLL * (1 + (n < FEWEST_ON_ROLL)) for folder, n in by_number.items()}
    by_front = {one for one in many if few[one] < many[one] and longest[one] <= most[one]}
    keys = [other if key[0] in by_front else key for key, other in zip(keys, fronts, strict=True)]
    frames = Counter(keys)
    rolls = Counter(folder for (folder, _), n in frames.items() if n > 1)
    several = {key for key, n in frames.items() if n > 1 and rolls[key[0]] > 1}
    keys = [key if key in several else (key[0], "") for key in keys]
    ordered = sorted(set(keys), key=lambda key: tuple(map(natural_key, key)))
    number = {key: place for place, key in enumerate(ordered, 1)}
    return np.array([number[key] for key in keys], dtype=np.intp)


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """Some frames in order: by time, then by name; those without a time last, roll by roll; shape (k,)."""

    rows: Rows
    time_s: np.ndarray  # NaN where unknown
    session: np.ndarray
    cameras: np.ndarray

    def position(self, time_s: float) -> int:
        """Position of the first frame at or after a time."""
        return int(np.searchsorted(self.time_s, time_s, side="left"))

    def end_of_session(self, position: int) -> int:
        """Position after the last frame of the session that a position lies in."""
        if position >= len(self.rows):
            return len(self.rows)
        return int(np.searchsorted(self.session, self.session[position], side="right"))

    def span(self, start: int, stop: int, camera: str | None) -> Rows:
        """Positions from one to another, the latter excluded, of one camera or of all."""
        positions = np.arange(start, stop)
        return positions if camera is None else positions[self.cameras[start:stop] == camera]


class FrameIndex:
    """Names (all files of each, joined by ``|``), paths, cameras, times [s] and sessions of the frames."""

    def __init__(
        self, files: npt.ArrayLike, paths: Sequence[str], cameras: np.ndarray, time_s: np.ndarray
    ) -> None:
        self._shown, self.paths, self.cameras, self.time_s = files, paths, cameras, time_s
        self._asked = 0
        self._folders: dict[Path | None, str] = {}  # of files in which names are written
        self.session = number_sessions(time_s, paths)
        for array in (self.cameras, self.time_s, self.session):
            array.flags.writeable = False

    def __len__(self) -> int:
        return len(self.paths)

    @cached_property
    def files(self) -> list[str]:
        """All files of each frame as shown, joined by ``|``, the speaking one first."""
        return list(np.asarray(self._shown, dtype=object))

    def name(self, row: int) -> str:
        """The speaking file of a frame as shown."""
        return self.files[row].split("|", 1)[0]

    @cached_property
    def rank(self) -> np.ndarray:
        """Place of each frame in the order of time, then of folders and names; those without a time last."""
        order = np.argsort(self.time_s, kind="stable")
        by_name = np.isnan(self.time_s)
        same = np.flatnonzero(np.diff(self.time_s[order]) == 0)
        by_name[order[same]] = by_name[order[same + 1]] = True
        names = [natural_key(self.paths[row]) for row in np.flatnonzero(by_name).tolist()]
        place = np.zeros(len(self), dtype=np.intp)
        place[by_name] = np.unique(np.array(names, dtype=str), return_inverse=True)[1]
        order = np.lexsort((place, self.session, self.time_s))
        rank = np.empty(len(self), dtype=np.intp)
        rank[order] = np.arange(len(order))
        return rank

    def timeline(self, rows: Rows) -> Timeline:
        """Put some rows in order."""
        ordered = rows[np.argsort(self.rank[rows])]
        return Timeline(ordered, self.time_s[ordered], self.session[ordered], self.cameras[ordered])

    def positions(self, timeline: Timeline, rows: Sequence[int]) -> list[int]:
        """Positions on a timeline of those rows that it holds."""
        wanted = np.array(rows, dtype=np.intp)
        at = np.searchsorted(self.rank[timeline.rows], self.rank[wanted])
        inside = at < len(timeline.rows)
        return [int(i) for i in at[inside][timeline.rows[at[inside]] == wanted[inside]]]

    @cached_property
    def _named(self) -> dict[str, list[tuple[str, str, int]]]:
        """Stem to folder (with a slash at its end), name and row of each file, in order; casefolded."""
        named: dict[str, list[tuple[str, str, int]]] = defaultdict(list)
        known: dict[str, str] = {}
        for row, (joined, path) in enumerate(zip(self.files, self.paths, strict=True)):
            lead, *others = joined.casefold().split("|")
            above = os.path.dirname(path)
            folder = known.get(above)
            if folder is None:
                folder = known[above] = _folder_key(above)
            shown = lead.rpartition("/")[0]
            for file in (lead, *others):
                inside, _, name = file.rpartition("/")
                own = folder
                if inside != shown:
                    base = folder.removesuffix(shown).rstrip("/")
                    own = f"{base}/{inside}" if inside else base
                named[os.path.splitext(name)[0]].append((f"{own}/", name, row))
        for frames in named.values():
            frames.sort()
        return named

    @cached_property
    def _places(self) -> list[str]:
        return sorted({place for frames in self._named.values() for place, _, _ in frames})

    def find(self, text: str, written_in: Path | None) -> list[int]:
        """Rows that a name can mean in the file where it is written, in order; none where there is none such.

        A name or a stem means a frame below the folder, or else anywhere; a path leads from the folder, or
        else is the end of one. ``./`` in front says that the frame lies in the folder itself. Case does not
        matter, and a backslash can stand between folders where no name is written with it.
        """
        folder = self._folders.get(written_in)
        if folder is None:
            folder = self._folders[written_in] = _folder_key(written_in.parent) if written_in else ""
        wanted = text.strip().casefold()
        rows = self._find(wanted, folder)
        return rows if rows or "\\" not in wanted else self._find(wanted.replace("\\", "/"), folder)

    def _find(self, wanted: str, folder: str) -> list[int]:
        head, slash, name = wanted.rpartition("/")
        if not slash:
            return self._rows(name, f"{folder}/") or self._rows(name)
        exact = os.path.normpath(f"{folder}/{head}" if head and not wanted.startswith("/") else head)
        exact = exact.replace(os.sep, "/") + "/"
        rows = self._rows(name, exact, exact)
        if rows or not head.startswith("."):
            return rows or self._rows(name, end=f"/{head}/")
        start, stop = (bisect_left(self._places, f"{folder}/{end}") for end in ("", _LAST))
        return [] if start < stop else self._shown_as(wanted[2:])

    def _rows(self, name: str, above: str = "", end: str = "") -> list[int]:
        """Rows with a file of this name or stem below a folder, and in one that ends as given."""
        found: set[int] = set()
        for stem in dict.fromkeys((name, os.path.splitext(name)[0])):
            frames = self._named.get(stem, [])
            start, stop = (bisect_left(frames, (above + last,)) for last in ("", _LAST))
            found.update(
                row
                for place, own, row in frames[start:stop]
                if f"/{place}".endswith(end) and name in (stem, own)
            )
        return sorted(found)

    def _shown_as(self, file: str) -> list[int]:
        """Rows with a file of this path from the source; for names written down away from all frames."""
        alike = self._rows(file.rpartition("/")[2])
        shown = {row: self.files[row].casefold().split("|") for row in alike}
        return [
            row for row in alike if file in shown[row] or file in (os.path.splitext(f)[0] for f in shown[row])
        ]

    def nearest(self, text: str) -> str:
        """A sentence with the nearest name there is; empty where none is near, or it was asked often."""
        self._asked += 1
        if self._asked > MOST_ASKED:
            return ""
        names = {stem_of(self.name(row)): row for row in range(min(len(self), MOST_COMPARED))}
        close = difflib.get_close_matches(stem_of(text.strip()), list(names), n=1)
        if not close:
            return ""
        written = os.path.splitext(self.name(names[close[0]]).rsplit("/", 1)[-1])[0]
        return f" The nearest name is {written!r}."


def _folder_key(folder: str | os.PathLike[str]) -> str:
    """A folder's full path in the form that :meth:`FrameIndex.find` compares."""
    return printable(os.path.abspath(folder)).replace(os.sep, "/").rstrip("/").casefold()
