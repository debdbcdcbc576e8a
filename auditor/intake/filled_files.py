"""Filled notes and session files as they were typed: read, and written so that the former ones are kept."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from auditor.errors import FileFormatError
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.tables import neutralised, restored
from auditor.writing import ResultsFolder

NOTES_ORDER = (
    "file", "keeper", "sharp", "sharp_seen", "sharp_shown_px", "guessed_distance", "subject_distance",
    "subject_distance_sd", *MEASURES, "focus_distance", "f_number", "focal_length", "lens", "preset",
    "reason",
)  # fmt: skip
LARGEST_NOTES_BYTES = 256 * 1024 * 1024

Rows = dict[str, dict[str, str]]


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
    data = {name: text.encode("utf-8", "backslashreplace") for name, text in files.items()}
    changed = {
        name: own
        for name, own in data.items()
        if not (folder / name).is_file() or (folder / name).read_bytes() != own
    }
    return ResultsFolder(folder).write_all(changed, keeping=True) if changed else []
