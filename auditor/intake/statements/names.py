"""How people call a frame: by its name or stem where that is unique, or by its path.

A name with a slash is a path from the folder where it is written down, or from the source; ``./`` in front
says so for a file of that folder itself. Case and ending do not matter.
"""

from __future__ import annotations

import difflib
import os
from collections import defaultdict
from collections.abc import Iterable

MOST_COMPARED = 20_000  # names looked through for the nearest spelling, at once and in all

LONGEST_COMPARED = 255


class FrameNames:
    """Finds frames by the names that people give them.

    Parameters
    ----------
    files : iterable of (row, file)
        Row numbers and files as shown in the frame table; a row may come with several files.
    below : str
        Folder, as it stands in front of the files, where the names are written down; empty at the top.
    """

    def __init__(self, files: Iterable[tuple[int, str]], below: str = "") -> None:
        self._by_path: dict[str, set[int]] = defaultdict(set)
        self._by_name: dict[str, set[int]] = defaultdict(set)
        self._compared = 0
        self._written: dict[str, str] = {}  # names as they are written
        for row, file in files:
            path = file.casefold()
            relative = path[len(below) + 1 :] if below and path.startswith(below.casefold() + "/") else path
            for key in {path, relative}:
                self._by_path[key].add(row)
                self._by_path[os.path.splitext(key)[0]].add(row)
            written = file.rsplit("/", 1)[-1]
            for name in (written, os.path.splitext(written)[0]):
                self._by_name[name.casefold()].add(row)
                self._written[name.casefold()] = name

    def find(self, text: str) -> list[int]:
        """Rows that a name can mean, in order; none where there is no such frame."""
        wanted = text.strip().casefold().replace("\\", "/")
        if wanted.startswith("./"):
            return sorted(self._by_path.get(wanted[2:], ()))
        if "/" in wanted:
            return sorted(self._by_path.get(wanted, ()))
        return sorted(self._by_name.get(wanted, ()))

    def nearest(self, text: str) -> str:
        """A sentence with the nearest name there is; empty where none is near."""
        names = list(self._by_name)[:MOST_COMPARED]
        self._compared += len(names)
        if self._compared > 2 * MOST_COMPARED or len(text) > LONGEST_COMPARED:
            return ""  # most rows are wrong: another archive's notes, where no spelling helps
        close = difflib.get_close_matches(text.strip().casefold(), names, n=1)
        return f" The nearest name is {self._written[close[0]]!r}." if close else ""


def stem_of(file: str) -> str:
    """Stem of a file's name, casefolded.

    Examples
    --------
    >>> stem_of("walk/P1010001.JPG")
    'p1010001'
    """
    return os.path.splitext(file.rsplit("/", 1)[-1])[0].casefold()
