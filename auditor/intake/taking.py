"""Takes what was filled in, wherever it was saved, into the notes and the session file that lie together.

Filled cells win over empty ones and later ones over earlier ones; what is equal is no contradiction. The
merge is a function of values; one thin writer keeps each former file as ``NAME.before``.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from auditor.errors import FileFormatError, OutputError
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.names import FrameNames
from auditor.intake.statements.sheet_file import BY_EYE, TYPED, SheetFile, SheetFrame
from auditor.intake.tables import neutralised, restored

NOTES_ORDER = (
    "file", "keeper", "sharp", "sharp_seen", "sharp_shown_px", "guessed_distance", "subject_distance",
    "subject_distance_sd", *MEASURES, "focus_distance", "f_number", "focal_length", "lens", "preset",
    "reason",
)  # fmt: skip
LARGEST_NOTES_BYTES = 256 * 1024 * 1024
_KEYED_BY = {"camera": ("name",), "lens": ("name", "focal_length"), "preset": ("name",)}
_LISTS = ("markers",)  # of [marks]: joined, not replaced

Rows = dict[str, dict[str, str]]


@dataclass(frozen=True, slots=True)
class Filled:
    """What people have said: a session document as TOML has it, and the filled cells of each frame."""

    session: dict[str, Any] = field(default_factory=dict)
    notes: Rows = field(default_factory=dict)


def merge_filled(first: Filled, *later: Filled) -> Filled:
    """Merge; where two say something of the same thing the later one holds.

    Frames are recognised by their names, by their paths, or by the end of a path where that is unique.
    """
    session = json.loads(json.dumps(first.session, default=_as_it_is_written))
    notes = {frame: dict(cells) for frame, cells in first.notes.items()}
    for one in later:
        _merge_session(session, one.session)
        names = FrameNames(enumerate(notes))
        known = list(notes)
        for frame, cells in one.notes.items():
            hits = [] if frame in notes else names.find(frame)
            row = notes.setdefault(known[hits[0]] if len(hits) == 1 else frame, {})
            row.update({name: cell for name, cell in cells.items() if cell})
    return Filled(session, notes)


def _as_it_is_written(value: Any) -> str:
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    raise TypeError(type(value).__name__)


def _merge_session(session: dict[str, Any], later: Mapping[str, Any]) -> None:
    for table, content in later.items():
        if table == "stretch":
            _merge_stretches(session, content)
        elif isinstance(content, list):
            keys = _KEYED_BY.get(table, ())
            entries = session.setdefault(table, [])
            for entry in content:
                same = [old for old in entries if keys and _identity(old, keys) == _identity(entry, keys)]
                if same:
                    same[0].update(entry)
                elif entry not in entries:
                    entries.append(dict(entry))
        elif isinstance(content, dict):
            old = session.setdefault(table, {})
            for key, value in content.items():
                joined = key in _LISTS and isinstance(old.get(key), list) and isinstance(value, list)
                old[key] = [*old[key], *(item for item in value if item not in old[key])] if joined else value
        else:
            session[table] = content


def _identity(entry: Mapping[str, Any], keys: Sequence[str]) -> tuple[Any, ...]:
    return next(((key, entry[key]) for key in keys if key in entry), ())


def _merge_stretches(session: dict[str, Any], content: Sequence[Mapping[str, Any]]) -> None:
    """Later stretches replace those that begin with the same frame or moment of the same camera."""

    def begins(stretch: Mapping[str, Any]) -> tuple[Any, Any]:
        return stretch.get("camera"), stretch.get("from")

    new = {begins(stretch) for stretch in content}
    kept = [stretch for stretch in session.get("stretch", []) if begins(stretch) not in new]
    session["stretch"] = [*kept, *map(dict, content)]


def without(filled: Filled, said: Filled) -> Filled:
    """Take back what was said before, where it still stands as it was said: it is about to be said anew."""
    notes = {
        frame: {name: cell for name, cell in cells.items() if said.notes.get(frame, {}).get(name) != cell}
        for frame, cells in filled.notes.items()
    }
    session = dict(filled.session)
    taken_back = said.session.get("stretch", [])
    if "stretch" in session:
        session["stretch"] = [stretch for stretch in session["stretch"] if stretch not in taken_back]
    marks = said.session.get("marks", {}).get("markers", [])
    if marks and isinstance(session.get("marks"), dict):
        left = [name for name in session["marks"].get("markers", []) if name not in marks]
        session["marks"] = {**session["marks"], "markers": left}
    return Filled(session, notes)


def from_sheet(sheet: SheetFile, guess_sd: float | None = None) -> Filled:
    """Tell a filled sheet in the words of the session file and the notes.

    Parameters
    ----------
    sheet : SheetFile
    guess_sd : float, optional
        What the guesses of the sheet have told of the eye.
    """
    session: dict[str, Any] = {
        "camera": [camera for camera in sheet.cameras if len(camera) > 1],
        "preset": list(sheet.presets),
        "stretch": list(sheet.stretches),
    }
    session = {name: entries for name, entries in session.items() if entries}
    if sheet.markers:
        session["marks"] = {"markers": list(sheet.markers)}
    if guess_sd is not None:
        session["subject"] = {"guess_sd": round(guess_sd, 3)}
    notes: Rows = {}
    for frame in sorted(sheet.frames, key=lambda frame: frame.answered):
        if cells := _cells_of(frame):
            notes.setdefault(frame.file, {}).update(cells)
    return Filled(session, notes)


def _cells_of(frame: SheetFrame) -> dict[str, str]:
    if frame.skipped:
        return {}
    share = frame.share is not None and frame.measure not in (None, TYPED, BY_EYE)
    cells = {
        "sharp": frame.sharp or "",
        "sharp_seen": frame.sharp_seen or "" if frame.sharp else "",
        "sharp_shown_px": f"{frame.shown_px:.0f}" if frame.sharp and frame.shown_px else "",
        "guessed_distance": _metres(frame.guess),
        "reason": frame.reason or "",
    }
    if share:
        cells[f"{frame.measure}_share"] = f"{100 * frame.share:.3f}%" if frame.share else ""
    # A share is told again by the audit, should the lens or the sensor be corrected; of several people in one
    # frame only distances can be written.
    if frame.distances and (not share or len(frame.distances) > 1):
        cells["subject_distance"] = "; ".join(map(_metres, frame.distances))
    if frame.sd is not None and (frame.distances or share):
        cells["subject_distance_sd"] = f"{frame.sd:.4f}"
    return {name: cell for name, cell in cells.items() if cell}


def _metres(distance_m: float | None) -> str:
    return "" if distance_m is None else f"{distance_m:.4g}m"


def read_filled_session(path: Path) -> dict[str, Any]:
    """Read a session file as TOML has it; an absent one is empty.

    Raises
    ------
    FileFormatError
        If it is not TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise FileFormatError(f"{path} cannot be read: {error.strerror}.", "Check its name.") from None
    except ValueError as error:
        raise FileFormatError(f"{path} is not valid TOML: {error}.", "Mend that line.") from None


def read_filled_notes(path: Path) -> Rows:
    """Read the cells of a notes file as they were typed; an absent one is empty.

    Raises
    ------
    FileFormatError
        If it is not text or has no column ``file``.
    """
    try:
        if path.stat().st_size > LARGEST_NOTES_BYTES:
            raise FileFormatError(f"{path} is larger than 256 MB.", "Split it.")
        text = path.read_bytes().decode("utf-8-sig").replace("\0", "")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError):
        raise FileFormatError(f"{path} cannot be read as UTF-8 text.", "Save it as CSV UTF-8.") from None
    delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
    lines = csv.reader(io.StringIO(text), delimiter=delimiter)
    columns = [name.strip().casefold() for name in next(lines, [])]
    if "file" not in columns:
        raise FileFormatError(
            f"{path} has no column 'file'.", "Name the column with the frames' names 'file'."
        )
    rows: Rows = {}
    for line in lines:
        cells = {
            name: cell.strip() for name, cell in zip(columns, line, strict=False) if name and cell.strip()
        }
        if frame := restored(cells.pop("file", "")):
            row = rows.setdefault(frame, {})
            row.update({name: cell for name, cell in cells.items() if name not in row})  # the first row holds
    return rows


def notes_text(notes: Rows, columns: Iterable[str] = ()) -> str:
    """Write notes: every frame a row, the columns that are filled and those that are asked for."""
    filled = {name for cells in notes.values() for name in cells} | {"file", *columns}
    names = [name for name in NOTES_ORDER if name in filled] + sorted(filled - set(NOTES_ORDER))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for frame, cells in notes.items():
        writer.writerow([neutralised(({"file": frame} | cells).get(name, "")) for name in names])
    return out.getvalue()


def write_keeping(folder: Path, files: Mapping[str, str]) -> list[Path]:
    """Write files into a folder; a former one that differs is kept as ``NAME.before``, ``NAME.before-2``, ...

    Returns
    -------
    list of Path
        Those that were written; what is there already in the same words stays untouched.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            path, data = folder / name, text.encode("utf-8", "backslashreplace")
            if path.is_file() and path.read_bytes() == data:
                continue
            if path.exists():
                number = 1
                while (kept := folder / f"{name}.before{f'-{number}' if number > 1 else ''}").exists():
                    number += 1
                path.rename(kept)
            with path.open("xb") as file:
                file.write(data)
            written.append(path)
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written: {error.strerror}.", "Name another folder with --out."
        ) from None
    return written
