"""Walks the source folders: which files are pictures, sidecars, session files and notes.

Nothing is opened here but lists of what we wrote. Links to folders are not followed, hidden
names are passed over. A folder of our results is skipped only where each picture in it is one that we wrote;
where others lie among them, ours alone are.
"""

from __future__ import annotations

import os
import stat
from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from auditor.errors import Problem, SourceError
from auditor.intake.library.collector import without_collector
from auditor.intake.photofile.metadata import PICTURE_SUFFIXES
from auditor.text import natural_key, printable
from auditor.writing import WRITTEN_NAME, read_written, sum_of

SESSION_NAME = "session.toml"
NOTES_NAME = "notes.csv"
SAMPLE_NAME = "sample.csv"
_WRITTEN = {SESSION_NAME, NOTES_NAME, WRITTEN_NAME}
Stamp = tuple[int, int, int]  # size in bytes, time of last change of the contents and of the entry [ns]
NO_STAMP: Stamp = (-1, -1, -1)  # no ordinary file, out of reach, or dated beyond the year 2262
LATEST_NS = 1 << 63
# A file changed more shortly before may change again within the resolution of its times, unnoticed.
SETTLED_NS = 2_000_000_000  # on the file systems of memory cards
ENTRY_SETTLED_NS = 20_000_000  # the clock tick of the systems that keep this time


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder with pictures, and what the photographer wrote that holds there."""

    path: str
    shown: str  # path as shown in tables, relative to its source
    session: str | None  # path of the nearest session file
    notes: tuple[str, ...]  # paths of the notes files that hold here, nearest first


@dataclass(frozen=True, slots=True)
class Found:
    """What a walk has found; pictures and sidecars as (folder index, file name), in sorted order.

    Three stamps of each, all in a row, tell an unchanged file.
    """

    folders: list[Folder] = field(default_factory=list)
    pictures: list[tuple[int, str]] = field(default_factory=list)
    sidecars: list[tuple[int, str]] = field(default_factory=list)
    picture_stamps: array[int] = field(default_factory=partial(array, "q"))
    sidecar_stamps: array[int] = field(default_factory=partial(array, "q"))
    problems: list[Problem] = field(default_factory=list)

    def path(self, item: tuple[int, str]) -> str:
        """Full path of a picture or sidecar."""
        return os.path.join(self.folders[item[0]].path, item[1])

    def shown(self, item: tuple[int, str]) -> str:
        """Path for people and tables: relative to the source, with ``/``, printable whatever its bytes."""
        folder = self.folders[item[0]].shown
        return printable(f"{folder}/{item[1]}" if folder else item[1])


SelectsOf = Callable[[str], "Path | None"]


@without_collector()
def find_files(
    sources: list[Path], selects_of: SelectsOf | None = None, left_out: Iterable[Path] = ()
) -> Found:
    """Walk the folders; SourceError if a source does not exist or cannot be opened."""
    found = Found()
    passed_over = {os.path.realpath(folder) for folder in left_out}
    for source in sources:
        prefix = source.name if len(sources) > 1 else ""
        if source.is_file():
            found.folders.append(Folder(str(source.parent), prefix and source.parent.name, None, ()))
            found.pictures.append((len(found.folders) - 1, source.name))
            found.picture_stamps.extend(stamp_of(source))
        elif source.is_dir():
            try:
                os.scandir(source).close()
            except OSError as error:
                what = f"{source} cannot be opened: {error.strerror}."
                raise SourceError(what, "Check its permissions.") from None
            _walk(found, str(source), prefix, selects_of, passed_over)
        else:
            raise SourceError(f"{source} does not exist.", "Name a folder of photographs, or a frame table.")
    return found


def _walk(found: Found, top: str, prefix: str, selects_of: SelectsOf | None, left_out: set[str]) -> None:
    """Visit folders from the top down; what holds in a folder is known before its subfolders are seen."""
    waiting: list[tuple[str, str, str | None, tuple[str, ...], _Ours | None]]
    waiting = [(top, prefix, None, (), None)]
    while waiting:
        path, shown, session, notes, ours = waiting.pop()
        listed = _list_folder(found, path)
        if WRITTEN_NAME in listed.written:
            ours = _Ours(path, read_written(path))
            if path != top and ours.all_below():
                what = "A folder of this tool's own results was passed over."
                found.problems.append(Problem(printable(path), what))
                continue
        if ours is not None:
            written = {entry.name for entry in listed.pictures if ours.wrote(entry.path)}
            what = "A picture that this tool wrote was passed over."
            listed.problems.extend(
                Problem(printable(os.path.join(path, name)), what) for name in sorted(written)
            )
            listed.pictures[:] = [entry for entry in listed.pictures if entry.name not in written]
        if SESSION_NAME in listed.written:
            session = os.path.join(path, SESSION_NAME)
            selects = selects_of(session) if selects_of else None
            if selects is not None:
                left_out.add(os.path.realpath(selects))
        if NOTES_NAME in listed.written:
            notes = (os.path.join(path, NOTES_NAME), *notes)
        index = len(found.folders)
        found.folders.append(Folder(path, shown, session, notes))
        found.problems.extend(listed.problems)
        for entries, items, stamps in (
            (listed.pictures, found.pictures, found.picture_stamps),
            (listed.sidecars, found.sidecars, found.sidecar_stamps),
        ):
            items.extend([(index, entry.name) for entry in entries])
            for entry in entries:
                stamps.extend(stamp_of(entry))
        for name in reversed(listed.folders):
            inside = os.path.join(path, name)
            if os.path.realpath(inside) not in left_out:
                waiting.append((inside, f"{shown}/{name}" if shown else name, session, notes, ours))


@dataclass(frozen=True, slots=True)
class _Ours:
    """What was written into a folder of results: the sums of each name below it."""

    folder: str
    sums: dict[str, list[str]]

    def wrote(self, path: str) -> bool:
        """Whether a file below is, byte for byte, what was written there."""
        name = os.path.relpath(path, self.folder).replace(os.sep, "/")
        return name in self.sums and sum_of(path) in self.sums[name]

    def all_below(self) -> bool:
        """Whether every picture below was written by us; no other kind of file is a frame."""
        return bool(self.sums) and all(
            self.wrote(os.path.join(folder, name))
            for folder, _, names in os.walk(self.folder)
            for name in names
            if name[0] != "." and os.path.splitext(name)[1].lower() in PICTURE_SUFFIXES
        )


@dataclass(frozen=True, slots=True)
class _Listed:
    """What a folder holds, each kind in order of its names; ``written`` are files of ours and the user's."""

    folders: list[str] = field(default_factory=list)
    pictures: list[os.DirEntry[str]] = field(default_factory=list)
    sidecars: list[os.DirEntry[str]] = field(default_factory=list)
    written: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def _list_folder(found: Found, path: str) -> _Listed:
    listed = _Listed()
    try:
        with os.scandir(path) as listing:
            entries = sorted(listing, key=lambda entry: (natural_key(entry.name), entry.name))
    except OSError as error:
        what = f"The folder cannot be opened: {error.strerror}."
        found.problems.append(Problem(printable(path), what, "Check its permissions."))
        return listed
    for entry in entries:
        name = entry.name
        if name[0] == ".":
            continue
        if entry.is_dir(follow_symlinks=False):
            listed.folders.append(name)
            continue
        if entry.is_symlink() and os.path.isdir(entry.path):
            what = "A link to a folder was not followed."
            listed.problems.append(Problem(printable(entry.path), what, "Name it as a source."))
            continue
        suffix = name[name.rfind(".") :].lower()
        if suffix in PICTURE_SUFFIXES:
            listed.pictures.append(entry)
        elif suffix == ".xmp":
            listed.sidecars.append(entry)
        elif name in _WRITTEN:
            listed.written.append(name)
    return listed


def stem_of(file: str) -> str:
    """Stem of a file's name, casefolded.

    >>> stem_of("walk/P1010001.JPG")
    'p1010001'
    """
    return os.path.splitext(file.rsplit("/", 1)[-1])[0].casefold()


def stamp_of(entry: os.DirEntry[str] | Path) -> Stamp:
    """Return what tells an unchanged file."""
    try:
        status = entry.stat()
    except (OSError, ValueError):
        return NO_STAMP
    if not stat.S_ISREG(status.st_mode):
        return NO_STAMP
    stamp = status.st_size, status.st_mtime_ns, status.st_ctime_ns
    return stamp if max(map(abs, stamp)) < LATEST_NS else NO_STAMP


def is_settled(stamp: Stamp, at_ns: int) -> bool:
    """Whether a change after some time is sure to show in the stamp; one dated in the future is settled."""
    _, changed_ns, entry_changed_ns = stamp
    return abs(at_ns - changed_ns) > SETTLED_NS and at_ns - entry_changed_ns > ENTRY_SETTLED_NS
