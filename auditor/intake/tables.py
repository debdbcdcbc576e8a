"""Frame tables as files: written by ``scan``, read back as a source, or made by anyone.

CSV holds ``inf`` and empty cells; a cell that a spreadsheet would run is written with an apostrophe in
front, which is taken off again on reading. JSON holds null, with ``<key>_is_infinite`` where that is meant.
"""

import io
import math
import re
import warnings
from collections.abc import Iterator
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, OutputError, Problem
from auditor.frames import COLUMNS, MEASURED_COLUMNS, NUMBER, TEXT, TIME, TRUTH, WHOLE, with_columns
from auditor.intake.library.collector import give_back
from auditor.intake.statements.door import (
    LARGEST_TABLE_BYTES,
    read_bytes,
    read_json,
    read_rows,
    read_text,
    separated_by,
)
from auditor.intake.statements.marks import SPELLINGS
from auditor.intake.statements.notes import NOTE_READERS
from auditor.intake.statements.ranges import range_of
from auditor.text import json_safe, json_text, printable_lines
from auditor.writing import write_file

CSV_ROWS = 20_000  # written at a time, so that a large table is not held twice
TABLE_NAME = "frames.csv"  # as commands write it into a folder of results
TABLE_SUFFIXES = (".csv", ".json", ".parquet")
_INSTALL_PYARROW = 'Install it: pip install "focus-zone-auditor[parquet]".'
_SPECIAL = re.compile(r'[,;\t"\r\n]')  # what has a cell quoted; some countries separate by others than commas
_ZONED = r"\s*(?:Z|[+-]\d\d:?\d\d)$"
_ZONE = rf"(?<=\d\d:\d\d)(:\d\d(?:\.\d+)?)?{_ZONED}"
_INFINITE = "_is_infinite"
KNOWN_COLUMNS = COLUMNS | MEASURED_COLUMNS
_READ_AS = {TEXT: "category", TRUTH: "category", NUMBER: "", WHOLE: ""}  # "": as it comes; all else as text
LARGEST_WHOLE = 1 << 53  # whole numbers up to here are exact
LONGEST_HEAD = 100_000  # characters in which the names of the columns stand
_HUNDREDTHS = len("2031-04-05T12:00:00.00")  # where a time may be cut at the earliest
_RUNS = re.compile(r"^'*[=+\-@\t\r]")


def is_table(path: Path) -> bool:
    """Whether a source is a frame table by its ending."""
    return path.is_file() and path.suffix.lower() in TABLE_SUFFIXES


def neutralised(text: str) -> str:
    """Return a cell that no spreadsheet runs as a formula.

    >>> neutralised("=1+1"), neutralised("P1010203.jpg")
    ("'=1+1", 'P1010203.jpg')
    """
    return f"'{text}" if _RUNS.match(text) else text


def restored(text: str) -> str:
    """Undo :func:`neutralised`.

    >>> restored("'=1+1"), restored("it's")
    ('=1+1', "it's")
    """
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text


def time_texts(table: pd.DataFrame) -> np.ndarray:
    """Capture times as ISO 8601 text, with a fraction only where the camera wrote one; None where unknown."""
    times = table["captured_at"].to_numpy("datetime64[us]")
    texts: np.ndarray = np.datetime_as_string(times, unit="s").astype(object)
    has_fraction = table["has_subseconds"].fillna(False).to_numpy(bool) | (times != times.astype("M8[s]"))
    exact = np.datetime_as_string(times[has_fraction], unit="us")
    texts[has_fraction] = [text[:_HUNDREDTHS] + text[_HUNDREDTHS:].rstrip("0") for text in exact.tolist()]
    texts[np.isnat(times)] = None
    return texts


def csv_parts(table: pd.DataFrame) -> Iterator[str]:
    """Write any table as CSV, some thousand lines at a time."""
    yield ",".join(_quoted([str(name) for name in table.columns])) + "\n"
    for start in range(0, len(table), CSV_ROWS):
        part = table.iloc[start : start + CSV_ROWS]
        lines = map(",".join, zip(*(_cells(part, name) for name in part.columns), strict=True))
        # A line with nothing in it would be lost on reading back.
        yield "\n".join([*(line or '""' for line in lines), ""])


def to_csv_text(table: pd.DataFrame) -> str:
    """Write any table as one text, see :func:`csv_parts`."""
    return "".join(csv_parts(table))


def _cells(table: pd.DataFrame, name: str) -> list[str]:
    """A column as text; each different value is put into words once."""
    column = table[name]
    if name == "captured_at" and "has_subseconds" in table:
        return _quoted([text or "" for text in time_texts(table)])
    codes, values = pd.factorize(column)
    if column.dtype == TRUTH:
        texts = ["true" if value else "false" for value in values]
    elif column.dtype.kind in "iufb" or isinstance(column.dtype, pd.Int64Dtype):
        texts = [str(value) for value in values.tolist()]
    else:
        texts = [str(value) for value in np.asarray(values, dtype=object).tolist()]
        if not "".join(texts).isprintable() or {text[:1] for text in texts} & set("'=+-@"):
            texts = [neutralised(printable_lines(text)) for text in texts]
        texts = _quoted(texts)
    return list(np.array([*texts, ""], dtype=object)[codes])  # unknown has the code -1


def _quoted(texts: list[str]) -> list[str]:
    """Cells as CSV has them."""
    if not _SPECIAL.search("".join(texts)):
        return texts
    return ['"' + text.replace('"', '""') + '"' if _SPECIAL.search(text) else text for text in texts]


def to_json_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Write any table as rows of plain JSON values."""
    out = table.copy()
    if "captured_at" in out and "has_subseconds" in out:
        out["captured_at"] = time_texts(out)
    return [
        json_safe({str(key): value for key, value in row.items()})
        for row in out.astype(object).to_dict("records")
    ]


def write_table(table: pd.DataFrame, path: Path, *, force: bool = False) -> None:
    """Write a frame table as CSV, JSON or Parquet, by the file's ending; OutputError where that cannot be."""
    suffix = path.suffix.lower()
    if suffix not in TABLE_SUFFIXES:
        raise OutputError(f"{path} ends in {suffix or 'nothing'}.", "Let it end in .csv, .json or .parquet.")
    if suffix == ".csv":
        write_file(path, csv_parts(table), force=force)
    elif suffix == ".json":
        write_file(path, json_text(to_json_rows(table), indent=None), force=force)
    else:
        buffer = io.BytesIO()
        try:
            table.to_parquet(buffer, index=False)
        except ImportError:
            raise OutputError("Parquet needs pyarrow.", _INSTALL_PYARROW) from None
        write_file(path, buffer.getvalue(), force=force)


def read_table(path: Path) -> tuple[pd.DataFrame, list[Problem]]:
    """Read a frame table; missing columns are unknown. FileFormatError without any row of a frame."""
    problems: list[Problem] = []
    raw = _read_raw(path, problems)
    own, notes = KNOWN_COLUMNS.keys() - {"file"}, NOTE_READERS.keys()
    if notes - own & set(raw) and not own - notes & set(raw):
        step = "Name the folder of the photographs; notes among them are found, others named by --notes."
        raise FileFormatError(f"{path} holds notes, not frames.", step)
    names = raw.get("file", pd.Series(dtype="str"))
    nameless = names.isna() | names.astype("str").eq("")
    if nameless.all():
        raise FileFormatError(f"{path} has no column 'file' or no row.", "Each row needs its frame's name.")
    if nameless.any():
        what = f"{int(nameless.sum())} rows have no name in the column 'file'."
        problems.append(Problem(str(path), what, "They were left out; each row needs its frame's name."))
        raw = raw[~nameless].reset_index(drop=True)
    columns: dict[str, pd.Series] = {}
    if "captured_at" in raw and "has_subseconds" not in raw:
        times = raw["captured_at"].astype("str")
        columns["has_subseconds"] = times.str.contains(r"\.\d", regex=True, na=False)
    for name in [name for name in raw.columns if not name.endswith(_INFINITE)]:
        columns[name] = raw.pop(name)  # not held twice
        if dtype := KNOWN_COLUMNS.get(name):
            columns[name] = _column(columns[name], name, dtype, path, problems)
            if name + _INFINITE in raw.columns:
                columns[name][raw[name + _INFINITE].fillna(False).astype(bool)] = math.inf
    give_back()
    return with_columns(pd.DataFrame(columns, copy=False)), problems


def _read_raw(path: Path, problems: list[Problem]) -> pd.DataFrame:
    """The cells as they stand, columns under their names in small letters."""
    suffix = path.suffix.lower()
    try:
        if suffix == ".csv":
            raw = _read_csv(path, problems)
        elif suffix == ".json":
            raw = pd.DataFrame(read_json(path, LARGEST_TABLE_BYTES))
        else:
            raw = pd.read_parquet(io.BytesIO(read_bytes(path, LARGEST_TABLE_BYTES)))
    except ImportError:
        raise FileFormatError(f"{path} needs pyarrow.", _INSTALL_PYARROW) from None
    except FileFormatError:
        raise
    except Exception as error:  # whatever is wrong with a table, it is said of that table
        why = str(error).strip().split("\n")[0][:200] or type(error).__name__
        what = f"{path} cannot be read as a table: {why}"
        raise FileFormatError(what, "See README, frame table.") from None
    raw.columns = [str(name).strip().casefold() for name in raw.columns]
    twice = raw.columns[raw.columns.duplicated()]
    if len(twice):
        what = f"The column {twice[0]!r} is there twice."
        problems.append(Problem(str(path), what, "The first one is used."))
        raw = raw.loc[:, ~raw.columns.duplicated()]
    alike = raw[raw["file"].duplicated(keep=False)] if "file" in raw else raw
    again = alike.index[alike.astype(TEXT).duplicated()]
    if len(again):
        what = f"{len(again)} rows are repeated, cell by cell."
        problems.append(Problem(str(path), what, "Each is counted once."))
        raw = raw.drop(index=again).reset_index(drop=True)
    return raw


def _read_csv(path: Path, problems: list[Problem]) -> pd.DataFrame:
    data = read_text(path, LARGEST_TABLE_BYTES).encode()
    skip, delimiter = separated_by(data[:LONGEST_HEAD].decode(errors="ignore").split("\n")[:3])
    read = partial(
        pd.read_csv, keep_default_na=False, na_values=[""], sep=delimiter, skiprows=skip, index_col=False
    )
    names = read(io.BytesIO(data), nrows=0).columns
    kinds = {name: _READ_AS.get(KNOWN_COLUMNS.get(name.strip().casefold(), ""), TEXT) for name in names}
    kinds |= {"file": TEXT, "files": TEXT}  # hardly one is like another
    with warnings.catch_warnings(category=pd.errors.DtypeWarning, action="ignore"):  # said by _column
        raw = read(io.BytesIO(data), dtype={name: kind for name, kind in kinds.items() if kind})
    lines = data.count(b"\n") + (not data.endswith(b"\n")) - skip - 1
    if lines - len(raw) > data.count(b"\n\n"):  # cells go over several lines: do they swallow rows?
        header, rows, found = read_rows(path, LARGEST_TABLE_BYTES)
        cells = pd.DataFrame([row[: len(header)] for _, row in rows], columns=header, dtype=object)
        if found:
            problems += found
            raw = cells.replace("", np.nan)
    if delimiter == ";":  # where cells are separated so, figures have decimal commas
        for name in raw.columns:
            if COLUMNS.get(name.strip().casefold()) == NUMBER and raw[name].dtype.kind == "O":
                raw[name] = raw[name].astype(TEXT).str.replace(",", ".", regex=False)
    return raw


def files_named(path: Path, most: int) -> list[str]:
    """The first names in the column ``file`` of a frame table."""
    if path.suffix.lower() == ".csv":
        header, rows, _ = read_rows(path, LARGEST_TABLE_BYTES, 2 * most)
        if "file" not in header:
            return []
        place = header.index("file")
        return [restored(cells[place]) for _, cells in islice(rows, most) if len(cells) > place]
    return [str(name) for name in read_table(path)[0]["file"].head(most)]


def _column(values: pd.Series, name: str, dtype: str, path: Path, problems: list[Problem]) -> pd.Series:
    """Read one column; cells that cannot be read become unknown and are listed."""
    given = values.notna()
    if name == "keeper":
        read = values.map(lambda v: SPELLINGS.get(str(v).strip().casefold()), na_action="ignore").astype(TEXT)
    elif dtype == TEXT:
        read = values.astype(TEXT)
        if path.suffix.lower() == ".csv" and read.str.startswith("'", na=False).any():
            read = read.map(restored, na_action="ignore").astype(TEXT)
        return read
    elif dtype == TIME:
        local = values.astype(TEXT)
        zoned = local.str.contains(_ZONED, na=False)
        # The camera's own time, whatever its zone.
        local[zoned] = local[zoned].str.replace(_ZONE, r"\1", regex=True)
        read = pd.to_datetime(local, errors="coerce", format="ISO8601").astype(TIME)
    elif dtype == TRUTH:
        words = {"true": True, "false": False, "1": True, "0": False}
        read = values.map(lambda v: words.get(str(v).casefold()), na_action="ignore").astype(TRUTH)
    else:
        figures = values.astype(TEXT) if values.dtype.kind in "bO" else values  # True is no figure
        read = pd.to_numeric(figures, errors="coerce").astype(NUMBER)
        if (allowed := range_of(name)) is not None:
            read = read.where(allowed.holds(read.to_numpy("float64")))
        if dtype != NUMBER:
            read = read.round().where(read.abs() < LARGEST_WHOLE).astype(dtype)
    bad = given & read.isna()
    if bad.any():
        what = f"{int(bad.sum())} cells cannot be read, the first is {str(values[bad].iloc[0])!r}."
        problems.append(Problem(f"{path}, column {name}", what, "They count as unknown."))
    return read
