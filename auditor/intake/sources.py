"""Turns each source, a folder or a frame table, into facts and the files in which people speak of them."""

import os
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.frames import COLUMNS
from auditor.intake.frame_index import Rows
from auditor.intake.library.cache import Cache
from auditor.intake.library.facts import Facts, fact_table, gather_facts
from auditor.intake.library.folders import NOTES_NAME, Found, find_files
from auditor.intake.library.grouping import group_files
from auditor.intake.library.kept_facts import pack_facts, recall_facts, state_of
from auditor.intake.library.reading import Progress, read_through
from auditor.intake.precedence import TABLE_DEPTH
from auditor.intake.statements.claims import Claims, together
from auditor.intake.statements.frame_table import GROUPED, claim_table
from auditor.intake.statements.session import SessionFile
from auditor.intake.statements.session_file import SESSION_NAME, read_session
from auditor.intake.tables import TABLE_NAME, files_named, is_table, read_table
from auditor.settings import Request

NAMES_TRIED = 2000  # of a frame table, to see whether its photographs are there


@dataclass(slots=True)
class Sources:
    """What files record, and where people state something of it."""

    facts: pd.DataFrame  # see FACT_COLUMNS
    paths: list[str]  # of each frame's speaking file
    session_files: list[SessionFile]  # those that govern any frame, each once
    governed_by: np.ndarray  # which of them governs each frame, shape (n,)
    notes: list[tuple[Path, Rows]] = field(default_factory=list)  # and the rows that they may speak of
    stated: Claims = field(default_factory=Claims)  # by frame tables
    found: int = 0  # candidate picture files
    unreadable: int = 0
    merged: int = 0  # those that joined another file's frame
    problems: list[Problem] = field(default_factory=list)


class SessionFiles:
    """Reads each session file once; one that cannot be used counts as absent, and is listed."""

    def __init__(self, fixed: SessionFile | None, outer: SessionFile | None = None) -> None:
        self.fixed = fixed  # replaces every file found; the outer one holds where none is found
        self.elsewhere = fixed or outer or SessionFile()
        self.problems = list(self.elsewhere.problems)
        self._read: dict[str, SessionFile] = {}

    def of(self, path: str | None) -> SessionFile:
        """The session file at a path; the one that replaces all, or the outermost one without a path."""
        if self.fixed is not None or path is None:
            return self.elsewhere
        if path not in self._read:
            try:
                self._read[path] = read_session(Path(path))
                self.problems += self._read[path].problems
            except FileFormatError as error:
                self.problems.append(ignored_file(Path(path), error))
                self._read[path] = SessionFile()
        return self._read[path]

    def selects_of(self, path: str) -> Path | None:
        """The folder of selects that the session file at a path names."""
        return self.of(path).marks.keepers


def ignored_file(path: Path, error: FileFormatError) -> Problem:
    """Say that a file that people wrote could not be used at all."""
    what = error.what.removeprefix(f"{path} ")
    return Problem(str(path), what, f"{error.next_step} The file was ignored.", ignored=True)


def from_folders(
    folders: list[Path],
    sessions: SessionFiles,
    keepers: Path | None,
    request: Request,
    progress: Progress | None,
) -> Sources:
    """Read folders: frames as the files describe them, and the notes found; SourceError without any."""
    selects = [folder for folder in (keepers, sessions.elsewhere.marks.keepers) if folder is not None]
    found = find_files(folders, sessions.selects_of, selects)
    names = ", ".join(str(folder) for folder in folders)
    if not found.pictures:
        tables = [table for folder in folders if (table := folder / TABLE_NAME).is_file()]
        step = "Name the folder that holds them; JPEG, TIFF, PNG, WebP, HEIC, AVIF and raw files are read."
        step = f"There is a frame table: name {tables[0]}." if tables else step
        raise SourceError(f"No photographs in {names}.", step)
    facts, problems = _recall_or_read(found, folders, request, progress)
    if not len(facts.table):
        first = next((p for p in facts.problems if p.file is not None), None)
        what = f"None of the {len(found.pictures)} files in {names} can be read."
        raise SourceError(what, f"The first: {first.file}: {first.what}" if first else "")
    used = np.unique(facts.folders)
    files, number = _each_once([sessions.of(found.folders[i].session) for i in used])
    return Sources(
        facts=facts.table,
        paths=facts.paths,
        session_files=files,
        governed_by=number[np.searchsorted(used, facts.folders)],
        notes=_notes_of(found, facts.folders),
        found=len(found.pictures),
        unreadable=facts.unreadable,
        merged=facts.merged,
        problems=[*found.problems, *problems, *facts.problems],
    )


def _each_once(files: Sequence[SessionFile]) -> tuple[list[SessionFile], np.ndarray]:
    """The session files without repetition, and for each one given its number among them."""
    number: dict[int, int] = {}
    numbers = np.array([number.setdefault(id(file), len(number)) for file in files], dtype=int)
    return [files[i] for i in np.unique(numbers, return_index=True)[1]], numbers


def _recall_or_read(
    found: Found, folders: Sequence[Path], request: Request, progress: Progress | None
) -> tuple[Facts, list[Problem]]:
    """The facts of a walk: as they were kept where nothing has changed, else from its files."""
    place = "\n".join(f"{folder}\n{os.path.abspath(folder)}" for folder in folders)  # as typed, and absolute
    state = state_of(found)
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
            store.put_walk(place, state, pack_facts(facts))
        return facts, read.problems


def _notes_of(found: Found, folder_of_row: Sequence[int]) -> list[tuple[Path, Rows]]:
    by_path: dict[str, list[int]] = {path: [] for folder in found.folders for path in folder.notes}
    for row, index in enumerate(folder_of_row):
        for path in found.folders[index].notes:
            by_path[path].append(row)
    return [(Path(path), np.array(rows, dtype=np.intp)) for path, rows in by_path.items()]


def from_table(path: Path, sessions: SessionFiles) -> Sources:
    """Read a frame table, and the session file and notes that lie beside it."""
    table, problems = read_table(path)
    declared = table["preset"].where(table["preset_source"] != GROUPED)
    table = table.assign(
        files=table["files"].fillna(table["file"]),
        stated_preset=table["stated_preset"].fillna(declared),
        stated_preset_source=table["stated_preset_source"].fillna(table["preset_source"]),
    )
    distance_by = table["focus_distance_source"].fillna("exif")
    facts = fact_table(
        {
            **{name: table[name] for name in ("file", "files", "has_subseconds", "exposure_time_s", "iso")},
            **{name: table[name] for name in ("flash", "pixel_width", "pixel_height")},
            "clock_time": table["captured_at"],
            "model": table["camera"],
            "body": table["camera"],
            "recorded_lens": table["lens"],
            "recorded_focal_length_mm": table["focal_length_mm"],
            "recorded_f_number": table["f_number"],
            "recorded_distance_m": table["focus_distance_m"].where(~distance_by.isin(["notes", "session"])),
            "recorded_distance_by": distance_by.where(distance_by == "xmp", "exif"),
        }
    )
    beside, notes = path.parent / SESSION_NAME, path.parent / NOTES_NAME
    shown = table["files"].str
    files = len(table) + int(shown.count(r"\|").sum() - shown.count(r"(?i)\.xmp(?:\||$)").sum())
    names = (file.rpartition("/") for file in table["file"].tolist())
    begins = cache(lambda folder: str(path.parent / folder / "_")[:-1])
    # The lens's shift, or where its ring really focuses, only a session file states otherwise.
    kept = {"ring_shift_mm", "focus_true_m"}
    further = table.drop(columns=[name for name in COLUMNS if name in table and name not in kept])
    return Sources(
        facts=pd.concat([facts, further], axis=1),
        paths=[begins(above + slash) + name for above, slash, name in names],
        session_files=[sessions.of(str(beside) if beside.is_file() else None)],
        governed_by=np.zeros(len(table), dtype=int),
        notes=[(notes, np.arange(len(table)))] if notes.is_file() else [],
        stated=claim_table(table, str(path), TABLE_DEPTH),
        found=files,
        merged=files - len(table),
        problems=problems,
    )


def folders_of(source: Path) -> list[Path]:
    """Folders in which a source has its photographs; a frame table has none where its files are not there."""
    if source.is_dir():
        return [source]
    if not source.exists():
        return []  # reading it will say so
    if not is_table(source):
        return [source.parent]
    try:
        names = files_named(source, NAMES_TRIED)
    except FileFormatError:
        return []  # reading it will say why
    above, whole = source.parent, source.parent.resolve()
    paths = [path for name in names if (path := above / name).exists()]
    return sorted({above if path.resolve().is_relative_to(whole) else path.parent for path in paths})


def joined(parts: list[Sources]) -> Sources:
    """Put several sources under each other."""
    if len(parts) == 1:
        return parts[0]
    starts = np.cumsum([0, *(len(part.facts) for part in parts[:-1])]).tolist()
    files, number = _each_once([file for part in parts for file in part.session_files])
    numbers_of = np.split(number, np.cumsum([len(part.session_files) for part in parts])[:-1])
    return Sources(
        facts=pd.concat([part.facts for part in parts], ignore_index=True),
        paths=[path for part in parts for path in part.paths],
        session_files=files,
        governed_by=np.concatenate([n[p.governed_by] for p, n in zip(parts, numbers_of, strict=True)]),
        notes=[
            (path, rows + at) for part, at in zip(parts, starts, strict=True) for path, rows in part.notes
        ],
        stated=together(part.stated.moved(at) for part, at in zip(parts, starts, strict=True)),
        found=sum(part.found for part in parts),
        unreadable=sum(part.unreadable for part in parts),
        merged=sum(part.merged for part in parts),
        problems=[problem for part in parts for problem in part.problems],
    )
