"""Frame notes: what the photographer wrote of single frames, in a table made with any spreadsheet.

Filled cells win over the files and the session file. Empty cells change nothing.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, UnitError
from auditor.intake.statements.door import read_rows
from auditor.intake.statements.filling import focus_from_sensor
from auditor.intake.statements.marks import parse_verdict
from auditor.intake.statements.names import FrameNames
from auditor.intake.statements.ranges import out_of_range
from auditor.intake.statements.session import SessionFile
from auditor.intake.statements.shares import MEASURE_COLUMNS, OWN_DISTANCE, OWN_SD, SHARE_COLUMNS
from auditor.units import parse_distance_m, parse_f_number, parse_focal_length_mm


def _share(text: str) -> float:
    cleaned = text.replace(",", ".").strip()
    percent = cleaned.endswith("%")
    try:
        value = float(cleaned.rstrip("% ")) / (100 if percent else 1)
    except ValueError:
        value = math.nan
    if not 0 < value <= 5:
        raise UnitError(f"{text!r} is not a share.", "Write it like 0.15 or 15%.")
    return value


def _weight(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 < value < math.inf:
        raise UnitError(f"{text!r} is not a weight.", "A weight is a number above 0.")
    return value


def _body_share(text: str) -> float:
    value = _share(text)
    bare = not text.strip().endswith("%")
    if value > 1 or (bare and value == 1):  # a bare 5 may well mean 5 %
        raise UnitError(f"{text!r} is not a share of the picture's height.", "Write it like 0.15 or 15%.")
    return value


Readers = Mapping[str, Callable[[str], Any]]
NOTE_READERS: Readers = {
    "keeper": parse_verdict,
    "subject_distance": parse_distance_m,
    "subject_distance_sd": _share,
    **dict.fromkeys(MEASURE_COLUMNS.values(), _body_share),
    "focus_distance": parse_distance_m,
    "f_number": parse_f_number,
    "focal_length": parse_focal_length_mm,
    "lens": str,
    "preset": str,
    "reason": str,
    **dict.fromkeys(("sharp", "sharp_seen", "sharp_shown_px", "guessed_distance"), str),
}
SAMPLE_READERS: Readers = {"sample_weight": _weight}


@dataclass(frozen=True, slots=True)
class Note:
    """One row: the frame it names, the values of its filled cells, and where it stands."""

    frame: str
    values: dict[str, Any]
    place: str


def read_notes(path: Path, readers: Readers = NOTE_READERS) -> tuple[list[Note], list[Problem]]:
    """Read a notes file; comma, semicolon or tab between cells.

    Parameters
    ----------
    path : Path
    readers : mapping
        What each column but ``file`` is read with; ``SAMPLE_READERS`` for the weights of a drawn sample.

    Raises
    ------
    FileFormatError
        If it cannot be opened, is not text, or has no column ``file``.
    """
    table = read_rows(path)
    columns, problems = table.header, table.problems
    notes: list[Note] = []
    if "file" not in columns:
        raise FileFormatError(
            f"{path} has no column 'file'; found: {', '.join(c for c in columns if c) or 'none'}.",
            "Name the column with the frames' names 'file'.",
        )
    for name in columns:
        if name and name != "file" and name not in readers:
            close = difflib.get_close_matches(name, list(readers), n=1)
            hint = f" Did you mean {close[0]!r}?" if close else ""
            problems.append(
                Problem(
                    f"{path}, line 1",
                    f"There is no column {name!r}; it was ignored.{hint}",
                    f"Allowed: file, {', '.join(readers)}.",
                )
            )
    for line, cells in table:
        place = f"{path}, line {line}"
        row = {name: cell for name, cell in zip(columns, cells, strict=False) if cell}
        if "file" not in row:
            problems.append(Problem(place, "The row names no frame.", "Fill in its cell 'file'."))
            continue
        values: dict[str, Any] = {}
        for name, cell in row.items():
            if name not in readers:
                continue
            try:
                values[name] = readers[name](cell)
                if allowed := out_of_range(name, values[name]):
                    raise UnitError(f"{values.pop(name):g} is out of range.", f"It must be {allowed}.")
            except UnitError as error:
                problems.append(Problem(place, f"{name}: {error.what}", error.next_step))
        notes.append(Note(row["file"].lstrip("'"), values, place))
    return notes, problems


def apply_notes(
    table: pd.DataFrame,
    notes: Sequence[Note],
    rows: np.ndarray,
    below: str,
    session_of: Callable[[int], SessionFile],
) -> list[Problem]:
    """Put the filled cells of one notes file into the rows below its folder, in place.

    Parameters
    ----------
    table : pandas.DataFrame
    notes : sequence of Note
    rows : numpy.ndarray of int
        The rows these notes may speak of.
    below : str
        The notes' folder as it stands in front of the frames' file names; empty at the top.
    session_of : callable
        The session file that governs a row.

    Returns
    -------
    list of Problem
        Rows without their frame, with several, or for a frame that already has a note.
    """
    problems: list[Problem] = []
    files = table["file"].to_numpy(object)
    extra = table["files"].to_numpy(object)
    names = FrameNames(((row, file) for row in rows.tolist() for file in extra[row].split("|")), below)
    noted: dict[int, str] = {}
    matched: list[tuple[int, Note]] = []
    for note in notes:
        hits = names.find(note.frame)
        if len(hits) != 1:
            problems.append(_unmatched(note, [files[i] for i in hits], names))
            continue
        row = hits[0]
        if row in noted:
            problems.append(
                Problem(
                    note.place,
                    f"A second note for the frame {files[row]}.",
                    f"The first ({noted[row]}) was used.",
                )
            )
            continue
        noted[row] = note.place
        matched.append((row, note))
    problems += _put(table, matched, session_of)
    return problems


def _unmatched(note: Note, hits: list[str], names: FrameNames) -> Problem:
    if hits:
        return Problem(
            note.place,
            f"{note.frame!r} could be {len(hits)} frames: {', '.join(hits[:3])}.",
            "Write its path, such as folder/name.",
        )
    return Problem(
        note.place, f"There is no frame {note.frame!r}.", f"The row was ignored.{names.nearest(note.frame)}"
    )


def _put(
    table: pd.DataFrame, matched: list[tuple[int, Note]], session_of: Callable[[int], SessionFile]
) -> list[Problem]:
    problems: list[Problem] = []
    columns = {name: table[name].to_numpy(object, copy=True) for name in _TARGETS}
    for row, note in matched:
        session, values = session_of(row), dict(note.values)
        name = values.pop("preset", None)
        if name is not None:
            preset = next((p for p in session.presets if p.name == name), None)
            if preset is None:
                declared = [p.name for p in session.presets]
                close = difflib.get_close_matches(name, declared, n=1)
                problems.append(
                    Problem(
                        note.place,
                        f"There is no preset {name!r}{f'; did you mean {close[0]!r}?' if close else ''}",
                        f"The cell was ignored. Declared: {', '.join(declared) or 'none'}.",
                    )
                )
            else:
                columns["preset"][row] = name
                columns["preset_source"][row] = "notes"
                given = {
                    "focal_length": preset.focal_length_mm,
                    "f_number": preset.f_number,
                    "focus_distance": preset.focus_distance_m,
                    "lens": preset.lens,
                }
                for key, value in given.items():
                    if value is not None and value == value:
                        values.setdefault(key, value)
        _put_row(columns, row, values, session)
    for column, content in columns.items():
        table[column] = pd.Series(content, index=table.index).astype(table[column].dtype)
    return problems


_TARGETS = (
    "preset", "preset_source", "lens", "focal_length_mm", "f_number", "focus_distance_m",
    "focus_distance_source", "subject_distance_m", "subject_distance_source", "subject_distance_rel_sd",
    "note_keeper", "reason", "sample_weight", *SHARE_COLUMNS,
)  # fmt: skip


def _put_row(columns: dict[str, np.ndarray], row: int, values: dict[str, Any], session: SessionFile) -> None:
    def put(column: str, key: str) -> None:
        if key in values:
            columns[column][row] = values[key]

    put("lens", "lens")
    put("focal_length_mm", "focal_length")
    put("f_number", "f_number")
    put("note_keeper", "keeper")
    put("reason", "reason")
    put("sample_weight", "sample_weight")
    for column, name in MEASURE_COLUMNS.items():
        put(column, name)
    put(OWN_SD, "subject_distance_sd")
    focal = np.asarray(columns["focal_length_mm"][row], dtype="float64")
    for key in ("focus_distance", "subject_distance"):
        if key in values:
            columns[f"{key}_m"][row] = float(focus_from_sensor(values[key], focal, session.distances_from))
            columns[f"{key}_source"][row] = "notes"
    if "subject_distance" in values:
        guess_sd = session.settings.get("guess_sd", 0.15)
        columns["subject_distance_rel_sd"][row] = values.get("subject_distance_sd", guess_sd)
        columns[OWN_DISTANCE][row] = 1.0
    elif "subject_distance_sd" in values:
        columns["subject_distance_rel_sd"][row] = values["subject_distance_sd"]
