"""Turns each source, a folder or a frame table, into frames and the notes files that speak of them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.intake.library.cache import Cache
from auditor.intake.library.facts import (
    LABEL_COLUMNS,
    RATING_COLUMNS,
    Facts,
    gather_facts,
)
from auditor.intake.library.grouping import group_files
from auditor.intake.library.kept_facts import keep_facts, place_of, recall_facts, state_of
from auditor.intake.library.numbering import numbers_in_names
from auditor.intake.library.reading import Progress, read_through
from auditor.intake.library.walk import NOTES_NAME, Found, find_files
from auditor.intake.statements.counting import COUNTED_BEFORE, counts_fit_marks
from auditor.intake.statements.session import SessionFile
from auditor.intake.statements.session_file import SESSION_NAME, read_session
from auditor.intake.statements.shares import SHARE_COLUMNS
from auditor.intake.tables import TABLE_NAME, files_named, is_table, read_table
from auditor.settings import Request

NAMES_TRIED = 2000  # of a frame table, to see whether its photographs are there


@dataclass(slots=True)
class Archive:
    """Frames with every fact that was stated of them.

    Attributes
    ----------
    table : pandas.DataFrame
        Frame table; columns that follow from optics and presets are still unknown.
    paths : list of str
        Full path of each frame's speaking file.
    session_files : list of SessionFile
        Those that govern any frame, each once.
    governed_by : numpy.ndarray of int, shape (n,)
        Which of them governs each frame.
    found, read, unreadable, merged : int
        Candidate picture files; those read; those not; those that joined another file's frame.
    missing_numbers : int or None
        Gaps in the cameras' numbering; None where files were renamed.
    counted_to_end : numpy.ndarray of object
        What frames would count as if the choosing had gone to each session's end.
    problems : list of Problem
    """

    table: pd.DataFrame
    paths: list[str]
    session_files: list[SessionFile]
    governed_by: np.ndarray
    found: int = 0
    read: int = 0
    unreadable: int = 0
    merged: int = 0
    missing_numbers: int | None = None
    counted_to_end: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=object))
    problems: list[Problem] = field(default_factory=list)

    def session_of(self, row: int) -> SessionFile:
        """Return the session file that governs a frame."""
        return self.session_files[int(self.governed_by[row])]

    def by_session_file(self) -> list[tuple[SessionFile, np.ndarray]]:
        """Return each session file with the rows that it governs."""
        return [(file, np.flatnonzero(self.governed_by == i)) for i, file in enumerate(self.session_files)]


NotesFile = tuple[str, str, np.ndarray]  # path, folder as shown, rows


def from_folders(
    folders: list[Path],
    fixed: SessionFile | None,
    keepers: Path | None,
    request: Request,
    progress: Progress | None,
    outer: SessionFile | None = None,
) -> tuple[Archive, list[NotesFile]]:
    """Read folders: their frames as the files describe them, and the notes files found.

    Raises
    ------
    SourceError
        If there are no photographs, or none can be read.
    """
    found = find_files(folders, fixed, keepers, outer)
    names = ", ".join(str(folder) for folder in folders)
    if not found.pictures:
        tables = [table for folder in folders if (table := folder / TABLE_NAME).is_file()]
        raise SourceError(
            f"No photographs in {names}.",
            f"There is a frame table: name {tables[0]}."
            if tables
            else "Name the folder that holds them; JPEG, TIFF, PNG, WebP, HEIC, AVIF and raw files are read.",
        )
    facts, problems = _recall_or_read(found, folders, request, progress)
    if not len(facts.table):
        first = next((p for p in facts.problems if p.file is not None), None)
        raise SourceError(
            f"None of the {len(found.pictures)} files in {names} can be read.",
            f"The first: {first.file}: {first.what}" if first else "",
        )
    used = np.unique(facts.folders)
    files, number = _each_once([found.folders[i].session for i in used])
    archive = Archive(
        table=facts.table,
        paths=facts.paths,
        session_files=files,
        governed_by=number[np.searchsorted(used, facts.folders)],
        found=len(found.pictures),
        read=len(found.pictures) - facts.unreadable,
        unreadable=facts.unreadable,
        merged=facts.merged,
        problems=[*found.problems, *problems, *facts.problems],
    )
    return archive, _notes_of(found, facts.folders)


def _each_once(files: Sequence[SessionFile]) -> tuple[list[SessionFile], np.ndarray]:
    """The session files without repetition, and for each one given its number among them."""
    number: dict[int, int] = {}
    numbers = np.array([number.setdefault(id(file), len(number)) for file in files], dtype=int)
    return [files[i] for i in np.unique(numbers, return_index=True)[1]], numbers


def _recall_or_read(
    found: Found, folders: Sequence[Path], request: Request, progress: Progress | None
) -> tuple[Facts, list[Problem]]:
    """The facts of a walk: as they were kept where nothing has changed, else from its files."""
    place, state = place_of(folders), state_of(found)
    with closing(Cache(request.cache)) as store:
        facts = recall_facts(store, place, state, found)
        if facts is not None:
            if progress is not None:
                files = len(found.pictures) + len(found.sidecars)
                progress(files, files)
            return facts, store.problems
        read = read_through(store, found, request.workers, progress)
        groups, doubts = group_files(found, read.records)
        facts = gather_facts(found, read.records, read.sidecars, groups, doubts)
        if read.is_kept:
            keep_facts(store, place, state, facts)
        return facts, read.problems


def _notes_of(found: Found, folder_of_row: Sequence[int]) -> list[NotesFile]:
    """Notes files from the outermost to the innermost, so that the nearest filled cell is put in last."""
    by_path: dict[str, list[int]] = {}
    for row, index in enumerate(folder_of_row):
        for path in found.folders[index].notes:
            by_path.setdefault(path, []).append(row)
    shown = {folder.path: folder.shown for folder in found.folders}
    for folder in found.folders:  # notes above which no frame lies still deserve to be read
        for path in folder.notes:
            by_path.setdefault(path, [])
    ordered = sorted(by_path, key=lambda path: path.count(os.sep))
    return [
        (path, shown.get(os.path.dirname(path), ""), np.array(by_path[path], dtype=int)) for path in ordered
    ]


def from_table(
    path: Path, fixed: SessionFile | None, outer: SessionFile | None = None
) -> tuple[Archive, list[NotesFile]]:
    """Read a frame table, and the session file and notes that lie beside it."""
    table, problems = read_table(path)
    table = table.assign(files=table["files"].fillna(table["file"]), **numbers_in_names(table["file"]))
    table["preset"] = table["preset"].where(table["preset_source"] != "grouped")
    beside = path.parent / SESSION_NAME
    session = fixed or outer or SessionFile()
    if fixed is None and beside.is_file():
        try:
            session = read_session(beside)
            problems += session.problems
        except FileFormatError as error:
            problems.append(
                Problem(
                    str(beside),
                    error.what.removeprefix(f"{beside} "),
                    f"{error.next_step} The file was ignored.",
                )
            )
    for name in ("subject_distance_source", "focus_distance_source", "sensor_source"):
        given = table[name.replace("_source", "_m" if "distance" in name else "_width_mm")].notna()
        table[name] = table[name].where(
            table[name].notna() | ~given, "notes" if "subject" in name else "exif"
        )
        table[name] = table[name].fillna("unknown")
    files = sum(
        sum(not name.casefold().endswith(".xmp") for name in str(names).split("|"))
        for names in table["files"]
    )
    _assume_sensor(table)
    stated = table["keeper"].notna() & table["mark_source"].isna()
    table.loc[stated, "mark_source"] = "notes"
    if not stated.any() and counts_fit_marks(table["counted_as"], table["keeper"]):
        table[COUNTED_BEFORE] = table["counted_as"]
    archive = Archive(
        table=table,
        paths=[str(path.parent / name) for name in table["file"]],
        session_files=[session],
        governed_by=np.zeros(len(table), dtype=int),
        found=files,
        read=files,
        merged=files - len(table),
        problems=problems,
    )
    notes = path.parent / NOTES_NAME
    rows = np.arange(len(table))
    return archive, [(str(notes), "", rows)] if notes.is_file() else []


def folders_of(source: Path) -> list[Path]:
    """Folders in which a source has its photographs; a frame table has none where its files are not there."""
    if source.is_dir():
        return [source]
    if not is_table(source):
        return [source.parent]
    try:
        names = files_named(source, NAMES_TRIED)
    except FileFormatError:
        return []  # reading it will say why
    paths = [path for name in names if (path := source.parent / name).exists()]
    below = {
        source.parent if path.resolve().is_relative_to(source.parent.resolve()) else path.parent
        for path in paths
    }
    return sorted(below)


def _assume_sensor(table: pd.DataFrame) -> None:
    missing = table["sensor_width_mm"].isna() | table["sensor_height_mm"].isna()
    table.loc[missing, ["sensor_width_mm", "sensor_height_mm"]] = [36.0, 24.0]
    table.loc[missing, "sensor_source"] = "assumed"


def joined(parts: list[tuple[Archive, list[NotesFile]]]) -> tuple[Archive, list[NotesFile]]:
    """Put several sources under each other."""
    notes: list[NotesFile] = []
    offset = 0
    for part, part_notes in parts:
        notes += [(path, below, rows + offset) for path, below, rows in part_notes]
        offset += len(part.table)
    archives = [part for part, _ in parts]
    table = (
        archives[0].table if len(parts) == 1 else pd.concat([a.table for a in archives], ignore_index=True)
    )
    files, number = _each_once([file for a in archives for file in a.session_files])
    ends = np.cumsum([len(a.session_files) for a in archives])
    numbers_of = np.split(number, ends[:-1])
    numbers = (*RATING_COLUMNS, *SHARE_COLUMNS)
    for column in (*numbers, *LABEL_COLUMNS, "note_keeper", COUNTED_BEFORE):
        if column not in table:
            dtype = "float64" if column in numbers else "str"
            table[column] = pd.Series(np.nan, index=table.index, dtype=dtype)
    joined = Archive(
        table=table,
        paths=[path for a in archives for path in a.paths],
        session_files=files,
        governed_by=np.concatenate([n[a.governed_by] for a, n in zip(archives, numbers_of, strict=True)]),
        found=sum(a.found for a in archives),
        read=sum(a.read for a in archives),
        unreadable=sum(a.unreadable for a in archives),
        merged=sum(a.merged for a in archives),
        problems=[problem for a in archives for problem in a.problems],
    )
    return joined, notes
