"""The whole of intake: sources in, one frame table with every stated fact out."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.frames import captured_s, with_columns
from auditor.intake.facts import (
    LABEL_COLUMNS,
    RATING_COLUMNS,
    camera_entry,
    gather_facts,
    unreadable_problems,
)
from auditor.intake.files import NOTES_NAME, Found, find_files, printable
from auditor.intake.grouping import group_files
from auditor.intake.marks import count_marks, state_marks
from auditor.intake.notes import NOTE_READERS, SAMPLE_READERS, Readers, apply_notes, read_notes
from auditor.intake.numbering import missing_numbers
from auditor.intake.reading import Progress, read_found
from auditor.intake.sampling import sample_beside
from auditor.intake.selects import match_selects
from auditor.intake.session import SessionFile
from auditor.intake.session_file import SESSION_NAME, read_session
from auditor.intake.shares import SHARE_COLUMNS, apply_shares
from auditor.intake.stretches import apply_stretches
from auditor.intake.tables import is_table, read_table
from auditor.settings import Request

SESSION_GAP_S = 3 * 3600.0


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


def read_archive(request: Request, progress: Progress | None = None) -> Archive:
    """Read the sources of a request into one table.

    Raises
    ------
    SourceError
        If a source is missing, or nothing in it can be read.
    FileFormatError
        If a file named on the command line cannot be used.
    """
    fixed = read_session(request.session_file) if request.session_file else None
    keepers = request.keepers_folder
    if keepers is not None and not keepers.is_dir():
        raise SourceError(f"--keepers {keepers} is not a folder.", "Name the folder that holds your selects.")
    tables = [source for source in request.sources if is_table(source)]
    folders = [source for source in request.sources if not is_table(source)]
    parts = [_from_table(path, fixed) for path in tables]
    if folders:
        parts.append(_from_folders(folders, fixed, keepers, request, progress))
    archive, notes = _joined(parts)
    if fixed is not None:
        archive.problems = [*fixed.problems, *archive.problems]
    _number_sessions(archive.table)
    _apply_sessions(archive)
    for path, below, rows in (
        notes if request.notes_file is None else _everywhere(request.notes_file, archive)
    ):
        named = request.notes_file is not None
        _apply_notes_file(archive, Path(path), below, rows, NOTE_READERS, named=named)
        drawn = sample_beside(Path(path))
        if drawn.is_file():
            _apply_notes_file(archive, drawn, below, rows, SAMPLE_READERS, named=named)
    archive.problems += apply_shares(archive.table)
    _source_of_presets(archive.table)
    _mark(archive, keepers, request)
    archive.missing_numbers = missing_numbers(archive.table)
    passing = [*RATING_COLUMNS, *LABEL_COLUMNS, *SHARE_COLUMNS, "note_keeper"]
    archive.table = with_columns(archive.table.drop(columns=passing))
    return archive


_NotesFile = tuple[str, str, np.ndarray]  # path, folder as shown, rows


def _from_folders(
    folders: list[Path],
    fixed: SessionFile | None,
    keepers: Path | None,
    request: Request,
    progress: Progress | None,
) -> tuple[Archive, list[_NotesFile]]:
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


def _notes_of(found: Found, folder_of_row: Sequence[int]) -> list[_NotesFile]:
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


def _from_table(path: Path, fixed: SessionFile | None) -> tuple[Archive, list[_NotesFile]]:
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


def _joined(parts: list[tuple[Archive, list[_NotesFile]]]) -> tuple[Archive, list[_NotesFile]]:
    """Put several sources under each other."""
    notes: list[_NotesFile] = []
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


def _number_sessions(table: pd.DataFrame) -> None:
    """Number the sessions: frames with no gap over three hours, in order of time."""
    times = captured_s(table)
    known = np.flatnonzero(~np.isnan(times))
    order = known[np.argsort(times[known], kind="stable")]
    number = np.full(len(table), np.nan)
    if len(order):
        number[order] = 1 + np.cumsum(np.diff(times[order], prepend=times[order[0]]) > SESSION_GAP_S)
    table["session"] = pd.array(number, dtype="Int64")


def rows_by_session_file(archive: Archive) -> list[tuple[SessionFile, np.ndarray]]:
    """The rows that each session file governs."""
    keys = np.array([id(session) for session in archive.sessions])
    first = {id(session): session for session in archive.sessions}
    return [(session, np.flatnonzero(keys == key)) for key, session in first.items()]


def _apply_sessions(archive: Archive) -> None:
    for session, rows in rows_by_session_file(archive):
        archive.problems += apply_stretches(archive.table, rows, session, _below(archive, session, rows))
        _unknown_cameras(archive, session, rows)


def _below(archive: Archive, session: SessionFile, rows: np.ndarray) -> str:
    """Folder of a session file as it stands in front of the frames' files; empty at the source itself."""
    if session.path is None or not len(rows):
        return ""
    path, shown = archive.paths[int(rows[0])], str(archive.table["file"].iloc[int(rows[0])])
    inside = printable(os.path.relpath(path, session.path.parent)).replace(os.sep, "/")
    return shown[: -len(inside)].rstrip("/") if shown.endswith(inside) else ""


def _source_of_presets(table: pd.DataFrame) -> None:
    """A preset without a source was stated by a stretch or by the table's author."""
    stated = table["preset"].notna() & ~table["preset_source"].eq("notes").fillna(False)
    table["preset_source"] = table["preset_source"].where(~stated, "session").where(table["preset"].notna())


def _unknown_cameras(archive: Archive, session: SessionFile, rows: np.ndarray) -> None:
    """Say which ``[[camera]]`` entries name no camera that was met."""
    cameras = set(archive.table["camera"].iloc[rows].dropna().unique())
    for entry in session.cameras:
        if entry.name and not any(camera_entry(session, camera, camera) is entry for camera in cameras):
            archive.problems.append(
                Problem(
                    str(session.path),
                    f"[[camera]] {entry.name!r} took none of these frames.",
                    f"Cameras found: {', '.join(sorted(cameras)) or 'none with a name'}.",
                )
            )


def _everywhere(notes_file: Path, archive: Archive) -> list[_NotesFile]:
    return [(str(notes_file), "", np.arange(len(archive.table)))]


def _apply_notes_file(
    archive: Archive, path: Path, below: str, rows: np.ndarray, readers: Readers, *, named: bool
) -> None:
    try:
        notes, problems = read_notes(path, readers)
    except FileFormatError as error:
        if named:
            raise
        archive.problems.append(Problem(str(path), error.what, f"{error.next_step} The file was ignored."))
        return
    archive.problems += problems
    archive.problems += apply_notes(archive.table, notes, rows, below, archive.sessions)


def _mark(archive: Archive, keepers: Path | None, request: Request) -> None:
    table = archive.table
    n = len(table)
    matched = np.zeros(n, dtype=bool)
    marks = [session.marks for session in archive.sessions]
    groups: dict[tuple[int, str], list[int]] = {}
    for row, mark in enumerate(marks):
        folder = keepers or mark.keepers
        groups.setdefault((id(mark), str(folder) if folder else ""), []).append(row)
    by_folder: dict[str, list[int]] = {}
    for (_, folder_name), rows in groups.items():
        by_folder.setdefault(folder_name, []).extend(rows)
    selected_in: dict[str, np.ndarray] = {}
    for folder_name, rows in by_folder.items():
        if folder_name:
            selected_in[folder_name] = _selects(archive, Path(folder_name), np.array(sorted(rows)), request)
    for (_, folder_name), rows in groups.items():
        index = np.array(rows)
        selected = selected_in.get(folder_name)
        archive.problems += state_marks(table, index, marks[rows[0]], selected)
        if selected is not None and selected.any():
            matched[index] = True
    rules = [request.unmarked or mark.unmarked or "auto" for mark in marks]
    counted, problems = count_marks(table, rules, marks, matched)
    archive.problems += problems
    archive.counted_to_end, _ = count_marks(table, rules, marks, np.ones(n, dtype=bool))
    table["counted_as"] = pd.Series(counted, index=table.index, dtype="str")


def _selects(archive: Archive, folder: Path, rows: np.ndarray, request: Request) -> np.ndarray:
    empty = np.zeros(len(archive.table), dtype=bool)
    if not folder.is_dir():
        archive.problems.append(
            Problem(
                str(folder), "The folder of selects does not exist.", "Correct keepers in the session file."
            )
        )
        return empty
    found = find_files([folder], SessionFile())
    read = read_found(found, request.cache, request.workers)
    names = [name for _, name in found.pictures]
    session = archive.sessions[int(rows[0])]
    offsets = []
    for record in read.records:
        entry = camera_entry(session, record.camera, record.camera)
        offsets.append(entry.clock_offset_s if entry else 0.0)
    selected, problems = match_selects(archive.table, rows, names, read.records, offsets)
    archive.problems += problems
    return selected
