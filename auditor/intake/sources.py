"""Turns each source, a folder or a frame table, into frames and the notes files that speak of them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.intake.facts import (
    LABEL_COLUMNS,
    RATING_COLUMNS,
    gather_facts,
    unreadable_problems,
)
from auditor.intake.files import NOTES_NAME, Found, find_files
from auditor.intake.grouping import group_files
from auditor.intake.reading import Progress, read_found
from auditor.intake.session import SessionFile
from auditor.intake.session_file import SESSION_NAME, read_session
from auditor.intake.shares import SHARE_COLUMNS
from auditor.intake.tables import read_table
from auditor.settings import Request


@dataclass(slots=True)
class Archive:
    """Frames with every fact that was stated of them.

    Attributes
    ----------
    table : pandas.DataFrame
        Frame table; columns that follow from optics and presets are still unknown.
    paths : list of str
        Full path of each frame's speaking file.
    sessions : list of SessionFile
        The session file that governs each frame.
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
    sessions: list[SessionFile]
    found: int = 0
    read: int = 0
    unreadable: int = 0
    merged: int = 0
    missing_numbers: int | None = None
    counted_to_end: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=object))
    problems: list[Problem] = field(default_factory=list)


NotesFile = tuple[str, str, np.ndarray]  # path, folder as shown, rows


def from_folders(
    folders: list[Path],
    fixed: SessionFile | None,
    keepers: Path | None,
    request: Request,
    progress: Progress | None,
) -> tuple[Archive, list[NotesFile]]:
    """Read folders: their frames as the files describe them, and the notes files found.

    Raises
    ------
    SourceError
        If there are no photographs, or none can be read.
    """
    found = find_files(folders, fixed, keepers)
    names = ", ".join(str(folder) for folder in folders)
    if not found.pictures:
        raise SourceError(
            f"No photographs in {names}.",
            "Name the folder that holds them; JPEG, TIFF, PNG, WebP, HEIC, AVIF and raw files are read.",
        )
    read = read_found(found, request.cache, request.workers, progress)
    groups, problems = group_files(found, read.records)
    facts = gather_facts(found, read.records, read.sidecars, groups)
    unreadable = unreadable_problems(found, read.records)
    if not len(facts.table):
        raise SourceError(
            f"None of the {len(read.records)} files in {names} can be read.",
            f"The first: {unreadable[0].file}: {unreadable[0].what}" if unreadable else "",
        )
    lost = sum(record.error is not None for record in read.records)
    archive = Archive(
        table=facts.table,
        paths=facts.paths,
        sessions=[found.folders[i].session for i in facts.folders],
        found=len(read.records),
        read=len(read.records) - lost,
        unreadable=lost,
        merged=sum(len(group.pictures) - 1 for group in groups),
        problems=[*found.problems, *read.problems, *unreadable, *problems, *facts.problems],
    )
    return archive, _notes_of(found, facts.folders)


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


def from_table(path: Path, fixed: SessionFile | None) -> tuple[Archive, list[NotesFile]]:
    """Read a frame table, and the session file and notes that lie beside it."""
    table, problems = read_table(path)
    table["files"] = table["files"].fillna(table["file"])
    table["preset"] = table["preset"].where(table["preset_source"] != "grouped")
    beside = path.parent / SESSION_NAME
    session = fixed or SessionFile()
    if fixed is None and beside.is_file():
        try:
            session = read_session(beside)
            problems += session.problems
        except FileFormatError as error:
            problems.append(Problem(str(beside), error.what, f"{error.next_step} The file was ignored."))
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
    archive = Archive(
        table=table,
        paths=[str(path.parent / name) for name in table["file"]],
        sessions=[session] * len(table),
        found=files,
        read=files,
        merged=files - len(table),
        problems=problems,
    )
    notes = path.parent / NOTES_NAME
    rows = np.arange(len(table))
    return archive, [(str(notes), "", rows)] if notes.is_file() else []


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
    numbers = (*RATING_COLUMNS, *SHARE_COLUMNS)
    for column in (*numbers, *LABEL_COLUMNS, "note_keeper"):
        if column not in table:
            dtype = "float64" if column in numbers else "str"
            table[column] = pd.Series(np.nan, index=table.index, dtype=dtype)
    joined = Archive(
        table=table,
        paths=[path for a in archives for path in a.paths],
        sessions=[session for a in archives for session in a.sessions],
        found=sum(a.found for a in archives),
        read=sum(a.read for a in archives),
        unreadable=sum(a.unreadable for a in archives),
        merged=sum(a.merged for a in archives),
        problems=[problem for a in archives for problem in a.problems],
    )
    return joined, notes
