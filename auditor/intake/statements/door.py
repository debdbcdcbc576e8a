"""The one door for files that people write: session files, notes, tables, JSON.

Ordinary files only, of bounded size; text in any of the encodings that spreadsheets and editors write; rows
with commas, semicolons or tabs between cells. Whatever else comes is one error with the file and the line.
"""

import codecs
import csv
import json
import os
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from auditor.errors import FileFormatError, Problem
from auditor.intake.photofile.opening import OpenError, opened
from auditor.text import shown_path

MIB = 1 << 20
LARGEST_TOML_BYTES = 2 * MIB
LARGEST_STATEMENT_BYTES = 8 * MIB  # the JSON of a sheet
MOST_DOTS = 200  # on one line of a session file; keys nested by thousands take hours
LARGEST_TABLE_BYTES = 1 << 31  # a million frames take a quarter of it
LONGEST_CELL = 20_000
LONGEST_LINE = 4 * LONGEST_CELL
LONGEST_ROW_LINES = 50  # that a cell in quotes may go over
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def read_bytes(path: Path, largest: int = LARGEST_STATEMENT_BYTES) -> bytes:
    """Read an ordinary file whole; FileFormatError if it is none, too large, or cannot be read."""
    try:
        with opened(path) as (fd, size), os.fdopen(fd, "rb", closefd=False) as file:
            if size > largest:
                what = f"{shown_path(path)} is larger than {largest // MIB} MB."
                raise FileFormatError(what, "Split it, or name the right file.")
            return file.read(largest)
    except OpenError as error:
        what = f"{shown_path(path)} cannot be read: {error}."
        raise FileFormatError(what, "Check its name and permissions.") from None


def read_text(path: Path, largest: int = LARGEST_STATEMENT_BYTES) -> str:
    """Read a text in UTF-8, UTF-16 or UTF-32, with lines that end alike; FileFormatError if it is none."""
    data = read_bytes(path, largest)
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), None) or _unmarked(data[:1000])
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"{shown_path(path)}, line {line}, is not UTF-8 text."
        raise FileFormatError(what, "Save it as UTF-8 (in a spreadsheet: CSV UTF-8).") from None
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")


def _unmarked(head: bytes) -> str:
    """UTF-16 without its mark shows as a zero in every other byte of what is mostly Latin."""
    pairs = len(head) // 2
    if pairs and head[1::2].count(0) > pairs * 0.7:
        return "utf-16-le"
    return "utf-16-be" if pairs and head[0::2].count(0) > pairs * 0.7 else "utf-8"


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """Read a TOML document; also its text, to find lines in. FileFormatError names the line that is wrong."""
    text = read_text(path, LARGEST_TOML_BYTES)
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_CELL or line.count(".") > MOST_DOTS:
            what = f"{shown_path(path)}, line {number}, is too long or too deeply nested to be a setting."
            raise FileFormatError(what, "Correct that line, or remove it.")
    step = "Correct that line; texts and distances stand in quotes."
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as error:
        raise FileFormatError(f"{shown_path(path)} is not valid TOML: {error}.", step) from None
    except (ValueError, OverflowError, RecursionError):
        lines = text.split("\n")
        longest = max(range(len(lines)), key=lambda i: len(lines[i])) + 1
        why = f"a number is too long, or brackets are nested too deeply (line {longest})"
        raise FileFormatError(f"{shown_path(path)} is not valid TOML: {why}.", step) from None


def read_json(path: Path, largest: int = LARGEST_STATEMENT_BYTES) -> Any:
    """Read a JSON document; FileFormatError names the line that is wrong."""
    text = read_text(path, largest)
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        what = f"{shown_path(path)} is not valid JSON: {error.msg} ({where})."
        raise FileFormatError(what, "Save it again.") from None
    except (ValueError, RecursionError):
        what = f"{shown_path(path)} is not valid JSON: a number is too long, or it is nested too deeply."
        raise FileFormatError(what, "Save it again.") from None


Rows = Iterator[tuple[int, list[str]]]  # the line of each row that is not empty, and its cells without blanks


def read_rows(
    path: Path, largest: int = 256 * MIB, most: int = sys.maxsize
) -> tuple[list[str], Rows, list[Problem]]:
    """Read ``most`` lines with commas, semicolons or tabs between cells; FileFormatError if there are none.

    Gives its columns' names in small letters, its rows, and a list of what is wrong with those read so far.
    """
    lines = read_text(path, largest).split("\n", most)[:most]
    skip, delimiter = separated_by(lines[:3])
    problems: list[Problem] = []
    rows = _records(lines, skip, delimiter, path, problems)
    return [name.casefold() for name in next(rows, (0, []))[1]], rows, problems


def separated_by(first_lines: list[str]) -> tuple[int, str]:
    """How many lines to skip, and what stands between cells: by ``sep=;``, else the most frequent sign."""
    head = first_lines[0].strip().strip('"').casefold() if first_lines else ""
    if head.startswith("sep=") and len(head) == len("sep=") + 1:
        return 1, first_lines[0].strip().strip('"')[-1]
    if head == "sep=":
        return 1, "\t"
    skip = next((i for i, line in enumerate(first_lines) if line.strip()), 0)
    return skip, max(",;\t", key=(first_lines[skip] if first_lines else "").count)


def _records(lines: list[str], at: int, delimiter: str, path: Path, problems: list[Problem]) -> Rows:
    """Give cells row by row, with the line each begins at; an open mark swallows no other row."""

    def found(what: str, step: str) -> None:
        problems.append(Problem(f"{shown_path(path)}, line {at + 1}", what, step))

    while at < len(lines):
        line, taken = lines[at][:LONGEST_LINE], 1
        if len(line) < len(lines[at]):
            found(f"The line is longer than {LONGEST_LINE} characters.", "What follows was ignored.")
        cells = line.split(delimiter)
        if '"' in line:
            rest = [own[:LONGEST_LINE] + "\n" for own in lines[at : at + LONGEST_ROW_LINES]]
            reader = csv.reader([*rest, _END], delimiter=delimiter)
            try:
                quoted = next(reader)
            except csv.Error:  # a cell longer than it takes
                quoted = [_END]
            if _is_unclosed(lines, at, reader.line_num, delimiter, quoted):
                found(
                    "A quotation mark is opened and not closed.",
                    "The mark was left out; close it or remove it.",
                )
                cells = line.replace('"', "").split(delimiter)
            else:
                cells, taken = quoted, reader.line_num
        for place, cell in enumerate(cells):
            cells[place] = cell.strip() if len(cell) <= LONGEST_CELL else ""
            if len(cell) > LONGEST_CELL:
                found(f"A cell holds more than {LONGEST_CELL} characters.", "The cell was ignored.")
        if any(cells):
            yield at + 1, cells
        at += taken


_END = "\x1aend of the table\x1a"  # swallowed only by a cell in quotes that is still open


def _is_unclosed(lines: list[str], at: int, taken: int, delimiter: str, cells: list[str]) -> bool:
    """Whether a row over several lines is no text with line breaks, but swallows the rows that follow."""
    if any(_END in cell for cell in cells):
        return True
    # Behind a mark that closes a text stands the next cell; behind another row's own mark, its text.
    behind = lines[at + taken - 1].replace('""', "").partition('"')[2].strip(" ")
    if taken > 1 and behind and not behind.startswith(delimiter):
        return True
    most = max(1, lines[at].count(delimiter))
    return any(line.count(delimiter) >= most for line in lines[at + 1 : at + taken - 1])
