"""Filled notes and session files as they were typed: read, and written so that the former ones are kept."""

import csv
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from auditor.errors import FileFormatError
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.door import read_rows, read_toml
from auditor.intake.tables import neutralised, restored
from auditor.writing import ResultsFolder

NOTES_ORDER = (
    "file", "keeper", "sharp", "sharp_seen", "sharp_shown_px", "guessed_distance", "subject_distance",
    "subject_distance_sd", *MEASURES, "focus_distance", "f_number", "focal_length", "lens", "preset",
    "reason",
)  # fmt: skip
Rows = dict[str, dict[str, str]]


def read_filled_session(path: Path) -> dict[str, Any]:
    """Read a session file as TOML has it; an absent one is empty."""
    return read_toml(path)[0] if path.exists() else {}


def read_filled_notes(path: Path) -> Rows:
    """Read the cells of a notes file as they were typed; an absent one is empty."""
    if not path.exists():
        return {}
    header, lines, _ = read_rows(path)
    if "file" not in header:
        step = "Name the column with the frames' names 'file'."
        raise FileFormatError(f"{path} has no column 'file'.", step)
    rows: Rows = {}
    for _, line in lines:
        cells = {name: cell for name, cell in zip(header, line, strict=False) if name and cell}
        if frame := restored(cells.pop("file", "")):
            row = rows.setdefault(frame, {})
            row.update({name: cell for name, cell in cells.items() if name not in row})  # the first row holds
    return rows


def notes_as_csv(notes: Rows, columns: Iterable[str] = ()) -> str:
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
    """Write files into a folder, return those written; a former one that differs stays as ``NAME.before``."""
    data = {name: text.encode("utf-8", "backslashreplace") for name, text in files.items()}
    there = {name: (folder / name).read_bytes() for name in data if (folder / name).is_file()}
    changed = {name: own for name, own in data.items() if there.get(name) != own}
    return ResultsFolder(folder).write_all(changed, keeping=True) if changed else []
