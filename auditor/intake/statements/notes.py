"""Frame notes: what the photographer wrote of single frames, in a table made with any spreadsheet.

Filled cells win over the files and the session file, the nearest file's first. Empty cells change nothing.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from auditor.errors import FileFormatError, Problem, UnitError
from auditor.intake.frame_index import FrameIndex, Rows
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.door import read_rows
from auditor.intake.statements.marks import parse_verdict
from auditor.intake.statements.ranges import nearest, out_of_range
from auditor.intake.statements.session import Preset, SessionFile
from auditor.units import parse_distance_m, parse_f_number, parse_focal_length_mm

LARGEST_SHARE = 5.0
LISTED = 3  # rows without their frame that are listed one by one


def _number(what: str, step: str, above: float, most: float) -> Callable[[str], float]:
    """Read a number in a range; a percentage too where that is at most 5."""

    def read(text: str) -> float:
        cleaned = text.replace(",", ".").strip()
        percent = cleaned.endswith("%") and most <= LARGEST_SHARE
        try:
            value = float(cleaned.rstrip("% ") if percent else cleaned) / (100 if percent else 1)
        except ValueError:
            value = math.nan
        if not above < value <= most:
            raise UnitError(f"{text!r} is not {what}.", step)
        return value

    return read


_share = _number("a share", "Write it like 0.15 or 15%.", 0, LARGEST_SHARE)


def _body_share(text: str) -> float:
    value = _share(text)
    if value > 1 or (value == 1 and not text.strip().endswith("%")):  # a bare 1 may well mean 1 %
        raise UnitError(f"{text!r} is not a share of the picture's height.", "Write it like 0.15 or 15%.")
    return value


def _distances(text: str) -> tuple[float, ...]:
    """Several distances in one cell, the first of the subject that was meant."""
    return tuple(parse_distance_m(part) for part in text.split(";") if part.strip()) or (math.nan,)


def _one_of(*allowed: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        word = text.strip().casefold()
        if word not in allowed:
            raise UnitError(f"{text!r} is not allowed.", f"Write {', '.join(allowed[:-1])} or {allowed[-1]}.")
        return word

    return read


Readers = Mapping[str, Callable[[str], Any]]
NOTE_READERS: Readers = {
    "keeper": parse_verdict,
    "subject_distance": _distances,
    "subject_distance_sd": _share,
    "guessed_distance": parse_distance_m,
    **dict.fromkeys(MEASURES, _body_share),
    "focus_distance": parse_distance_m,
    "f_number": parse_f_number,
    "focal_length": parse_focal_length_mm,
    "lens": str,
    "preset": str,
    "sharp": _one_of("yes", "no", "unsure"),
    "sharp_seen": _one_of("shown", "pixels"),
    "sharp_shown_px": _number("a number of pixels", "Write it like 1600.", 0.99, 1e6),
    "reason": str,
}
SAMPLE_READERS: Readers = {"sample_weight": _number("a weight", "A weight is a number above 0.", 0, 1e12)}
_TYPED_DISTANCES = ("subject_distance", "other_subjects", "guessed_distance", "focus_distance", "preset")
# Where such a cell cannot be read, what was set is unknown: neither the file nor a stretch speaks for it.
_SETTINGS = ("focal_length", "f_number", "focus_distance")


@dataclass(frozen=True, slots=True)
class Note:
    """One row: the frame it names, the values of its filled cells, and its line."""

    frame: str
    values: dict[str, Any]
    line: int


def read_notes(path: Path, readers: Readers = NOTE_READERS) -> tuple[list[Note], list[Problem]]:
    """Read a notes file, each column but ``file`` by its reader; FileFormatError where it is none."""
    columns, rows, problems = read_rows(path)
    notes: list[Note] = []
    if "file" not in columns:
        what = f"{path} has no column 'file'; found: {', '.join(c for c in columns if c) or 'none'}."
        raise FileFormatError(what, "Name the column with the frames' names 'file'.")
    for name in columns:
        if name and name != "file" and name not in readers:
            what = f"There is no column {name!r}{nearest(name, list(readers)) or '.'}"
            step = f"It was ignored. Allowed: file, {', '.join(readers)}."
            problems.append(Problem(_place(path, 1), what, step, ignored=True))
    for line, cells in rows:
        place = _place(path, line)
        row = {name: cell for name, cell in zip(columns, cells, strict=False) if cell}
        if "file" not in row:
            step = "Fill in its cell 'file'."
            problems.append(Problem(place, "The row names no frame.", step, ignored=True))
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
                problems.append(Problem(place, f"{name}: {error.what}", error.next_step, ignored=True))
                if name in _SETTINGS:
                    values[name] = math.nan
        notes.append(Note(row["file"].lstrip("'"), values, line))
    return notes, problems


def claim_notes(
    path: Path,
    notes: Sequence[Note],
    index: FrameIndex,
    rows: Rows,
    depth: int,
    session_of: Callable[[int], SessionFile],
) -> Claims:
    """State what one notes file says of the rows that it may speak of; name rows without one frame."""
    problems: list[Problem] = []
    allowed = set(rows.tolist())
    first: dict[int, Note] = {}
    lost: list[Problem] = []
    for note in notes:
        hits = [row for row in index.find(note.frame, path) if row in allowed]
        if len(hits) != 1:
            near = index.nearest(note.frame) if not hits and len(lost) < LISTED else ""
            lost.append(_unmatched(path, note, [index.name(row) for row in hits], near))
        elif hits[0] in first:
            what = f"A second note for the frame {index.name(hits[0])}."
            used = f"The first ({_place(path, first[hits[0]].line)}) was used."
            problems.append(Problem(_place(path, note.line), what, used, ignored=True))
        else:
            first[hits[0]] = note
    matched = len(notes) - len(lost)
    if len(lost) > LISTED + 1:
        what, rest = f"{len(lost)} rows in all name no frame, or more than one.", len(lost) - LISTED
        lost[LISTED:] = [Problem(str(path), what, "They were ignored.", ignored=True, frames=rest)]
    stated: dict[tuple[str, bool], list[tuple[int, Any]]] = defaultdict(list)
    for row, note in first.items():
        session = session_of(row)
        from_lens = session.distances_from == "lens"
        values = dict(note.values)
        if "subject_distance" in values:  # of the one who was meant, then of others
            values["subject_distance"], *others = values["subject_distance"]
            values["other_subjects"] = tuple(others)
        if "preset" in values:
            values["preset"] = _preset(path, note, session, problems)
        for name, value in values.items():
            stated[name, from_lens and name in _TYPED_DISTANCES].append((row, value))
    claims = []
    for (name, from_lens), cells in stated.items():
        own, typed = zip(*cells, strict=True)
        own_rows = np.array(own, dtype=np.intp)
        claims.append(Claim(name, "notes", own_rows, objects(typed), str(path), depth, from_lens))
    return Claims(tuple(claims), (*problems, *lost), len(notes), matched)


def _place(path: Path, line: int) -> str:
    return f"{path}, line {line}"


def _preset(path: Path, note: Note, session: SessionFile, problems: list[Problem]) -> Preset | None:
    """The preset that a note names; None where there is none that can be used."""
    name = note.values["preset"]
    preset = session.preset_named(name)
    if preset is not None and not preset.slip:
        return preset
    declared = [p.name for p in session.presets]
    what = f"The preset {name!r} has a key that cannot be used."
    if preset is None:
        what = f"There is no preset {name!r}{nearest(name, declared) or '.'}"
    step = f"The frame has no setting. Declared: {', '.join(declared) or 'none'}."
    problems.append(Problem(_place(path, note.line), what, step, ignored=True))
    return None


def _unmatched(path: Path, note: Note, hits: list[str], hint: str) -> Problem:
    what = f"There is no frame {note.frame!r}."
    if hits:
        what = f"{note.frame!r} could be {len(hits)} frames: {', '.join(hits[:3])}."
        hint = " Write its path, such as folder/name."
    return Problem(_place(path, note.line), what, f"The row was ignored.{hint}", ignored=True)
