"""The whole of intake: sources in, one frame table with every stated fact out."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.frames import LEFT_OUT, captured_s, with_columns
from auditor.intake.library.facts import LABEL_COLUMNS, RATING_COLUMNS, camera_entry
from auditor.intake.library.numbering import NUMBER_COLUMNS, missing_numbers
from auditor.intake.library.reading import Progress, read_found
from auditor.intake.library.walk import find_files
from auditor.intake.sampling import sample_beside
from auditor.intake.sources import Archive, NotesFile, from_folders, from_table, joined
from auditor.intake.statements.counting import COUNTED_BEFORE, count_marks
from auditor.intake.statements.marks import state_marks
from auditor.intake.statements.moments import SESSION_GAP_S
from auditor.intake.statements.notes import NOTE_READERS, SAMPLE_READERS, Readers, apply_notes, read_notes
from auditor.intake.statements.selects import match_selects
from auditor.intake.statements.session import SessionFile
from auditor.intake.statements.session_file import read_session
from auditor.intake.statements.shares import SHARE_COLUMNS, apply_shares
from auditor.intake.statements.stretches import apply_stretches
from auditor.intake.tables import is_table
from auditor.settings import Request
from auditor.text import printable


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
    outer = read_session(request.outer_session) if request.outer_session and fixed is None else None
    keepers = request.keepers_folder
    if keepers is not None and not keepers.is_dir():
        raise SourceError(f"--keepers {keepers} is not a folder.", "Name the folder that holds your selects.")
    tables = [source for source in request.sources if is_table(source)]
    folders = [source for source in request.sources if not is_table(source)]
    parts = [from_table(path, fixed, outer) for path in tables]
    if folders:
        parts.append(from_folders(folders, fixed, keepers, request, progress, outer))
    archive, notes = joined(parts)
    if (stated := fixed or outer) is not None:
        archive.problems = [*stated.problems, *archive.problems]
    if request.outer_notes is not None:
        notes = [*_everywhere(request.outer_notes, archive), *notes]
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
    marks = (*RATING_COLUMNS, *LABEL_COLUMNS, "note_keeper", COUNTED_BEFORE)
    archive.table = with_columns(archive.table.drop(columns=[*marks, *NUMBER_COLUMNS, *SHARE_COLUMNS]))
    return archive


def _number_sessions(table: pd.DataFrame) -> None:
    """Number the sessions: frames with no gap over three hours, in order of time."""
    times = captured_s(table)
    known = np.flatnonzero(~np.isnan(times))
    order = known[np.argsort(times[known], kind="stable")]
    number = np.full(len(table), np.nan)
    if len(order):
        number[order] = 1 + np.cumsum(np.diff(times[order], prepend=times[order[0]]) > SESSION_GAP_S)
    table["session"] = pd.array(number, dtype="Int64")


def _apply_sessions(archive: Archive) -> None:
    for session, rows in archive.by_session_file():
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


def _everywhere(notes_file: Path, archive: Archive) -> list[NotesFile]:
    return [(str(notes_file), "", np.arange(len(archive.table)))]


def _apply_notes_file(
    archive: Archive, path: Path, below: str, rows: np.ndarray, readers: Readers, *, named: bool
) -> None:
    try:
        notes, problems = read_notes(path, readers)
    except FileFormatError as error:
        if named:
            raise
        archive.problems.append(
            Problem(
                str(path), error.what.removeprefix(f"{path} "), f"{error.next_step} The file was ignored."
            )
        )
        return
    archive.problems += problems
    archive.problems += apply_notes(archive.table, notes, rows, below, archive.session_of)


def _mark(archive: Archive, keepers: Path | None, request: Request) -> None:
    table = archive.table
    n = len(table)
    governed = [
        (session.marks, request.unmarked or session.marks.unmarked or "auto", rows)
        for session, rows in archive.by_session_file()
    ]
    rows_of_folder: dict[Path, list[np.ndarray]] = {}
    for marks, _, rows in governed:
        if (folder := keepers or marks.keepers) is not None:
            rows_of_folder.setdefault(folder, []).append(rows)
    selected_in = {
        folder: _selects(archive, folder, np.sort(np.concatenate(parts)), request)
        for folder, parts in rows_of_folder.items()
    }
    matched, as_before = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for marks, _, rows in governed:
        folder = keepers or marks.keepers
        selected = None if folder is None else selected_in[folder]
        before = table["keeper"].iloc[rows]
        archive.problems += state_marks(table, rows, marks, selected)
        matched[rows] = selected is not None and selected.any()
        rules = (request.unmarked, marks.unmarked, marks.culled_to, folder)
        as_before[rows] = all(rule is None for rule in rules) and before.equals(table["keeper"].iloc[rows])
    counted, problems = count_marks(table, governed, matched)
    archive.problems += problems
    to_end, _ = count_marks(table, governed, np.ones(n, dtype=bool))
    told = table[COUNTED_BEFORE].to_numpy(object)
    as_before &= table[COUNTED_BEFORE].notna().to_numpy()
    counted[as_before] = told[as_before]
    counts = as_before & (told != LEFT_OUT)
    to_end[counts] = told[counts]
    archive.counted_to_end = to_end
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
    if not found.pictures:
        what = "The folder of selects holds no pictures, so it marks nothing."
        archive.problems.append(Problem(str(folder), what, "Copy what you kept into it, or name another."))
    read = read_found(found, request.cache, request.workers)
    names = [name for _, name in found.pictures]
    session = archive.session_of(int(rows[0]))
    offsets = []
    for record in read.records:
        entry = camera_entry(session, record.camera, record.camera)
        offsets.append(entry.clock_offset_s if entry else 0.0)
    selected, problems = match_selects(archive.table, rows, names, read.records, offsets)
    archive.problems += problems
    return selected
