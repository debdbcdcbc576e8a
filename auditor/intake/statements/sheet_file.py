"""Reads a filled ``sheet.json``: what was set, how far people stood, and whether they came out sharp.

The file comes back from a browser, or by mail: everything in it is checked, and bounded in size. The first
fault ends the reading with its place, since a half-read sheet would bend what is made of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from auditor.errors import FileFormatError, UnitError
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.door import MIB, read_json
from auditor.optics.sensors import parse_sensor
from auditor.units import parse_distance_m, parse_f_number, parse_length_mm

LARGEST_BYTES = 32 * MIB
MOST_ENTRIES = 100_000
LONGEST_TEXT = 1000
TYPED, BY_EYE, NOBODY = "typed", "by eye", "nobody"
MEASURE_NAMES = (*(name.removesuffix("_share") for name in MEASURES), TYPED, BY_EYE, NOBODY)
REASONS = ("soft", "moved")


@dataclass(frozen=True, slots=True)
class SheetFrame:
    """The answers of one frame; what was not answered is None."""

    file: str
    measure: str | None = None  # one of MEASURE_NAMES: what the first distance was read by
    share: float | None = None  # of the picture's height, that the body measure fills
    distances: tuple[float, ...] = ()  # [m], of the person meant first
    sd: float | None = None  # relative, of the first
    guess: float | None = None  # [m], by eye before anything was measured
    sharp: str | None = None  # yes, no or unsure
    sharp_seen: str | None = None  # shown or pixels
    shown_px: float | None = None  # width shown when that was judged, in device pixels
    reason: str | None = None
    skipped: bool = False
    answered: str = ""  # ISO 8601; of two answers the later one holds


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A filled sheet; cameras, presets and stretches are tables as a session file has them."""

    path: Path
    sample: str
    cameras: tuple[dict[str, Any], ...]
    presets: tuple[dict[str, Any], ...]
    stretches: tuple[dict[str, Any], ...]
    markers: tuple[str, ...]
    frames: tuple[SheetFrame, ...]


class _FaultError(ValueError):
    """Something is not what its place allows."""


Read = Callable[[Any], Any]


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > LONGEST_TEXT or "\0" in value:
        raise _FaultError(f"a text of 1 to {LONGEST_TEXT} characters")
    return value


def _one_of(*allowed: str) -> Read:
    def read(value: Any) -> str:
        if value not in allowed:
            raise _FaultError(f"one of {', '.join(allowed)}")
        return str(value)

    return read


def _number(low: float, high: float) -> Read:
    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise _FaultError(f"a number from {low:g} to {high:g}")
        return float(value)

    return read


def _typed(parse: Callable[[str], Any]) -> Read:
    """A text in the words of a session file, kept as it was written."""

    def read(value: Any) -> str:
        parse(_text(value))
        return str(value)

    return read


def _f_number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise _FaultError("an f-number")
    return parse_f_number(value)


def _truth(value: Any) -> bool:
    if not isinstance(value, bool):
        raise _FaultError("true or false")
    return value


_distance_m = _number(0.01, 10_000.0)


def _distances(value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) > 50:
        raise _FaultError("a list of at most 50 distances")
    return tuple(_distance_m(item) for item in value)


_CAMERA: dict[str, Read] = {
    "name": lambda value: _text(value) if value != "" else "",
    "sensor": _typed(parse_sensor),
}
_PRESET: dict[str, Read] = {
    "name": _text,
    "lens": _text,
    "focal_length": _typed(parse_length_mm),
    "f_number": _f_number,
    "focus_distance": _typed(parse_distance_m),
}
_STRETCH: dict[str, Read] = {"preset": _text, "from": _text, "to": _text, "camera": _text}
_FRAME: dict[str, Read] = {
    "file": _text,
    "measure": _one_of(*MEASURE_NAMES),
    "share": _number(1e-5, 5.0),
    "distances": _distances,
    "sd": _number(1e-4, 5.0),
    "guess": _distance_m,
    "sharp": _one_of("yes", "no", "unsure"),
    "sharp_seen": _one_of("shown", "pixels"),
    "shown_px": _number(1.0, 100_000.0),
    "reason": _one_of(*REASONS),
    "skipped": _truth,
    "answered": _text,
}


def read_sheet(path: Path) -> SheetFile:
    """Read a filled sheet.

    Raises
    ------
    FileFormatError
        If it cannot be opened, is no filled sheet, or holds a value that is not allowed, with its place.
    """
    document = read_json(path, LARGEST_BYTES)
    if not isinstance(document, dict) or not isinstance(document.get("sample"), str):
        raise FileFormatError(f"{path} is no filled sheet.", "Name the file that the sheet saved.")

    def rows(name: str, schema: dict[str, Read], needed: str) -> tuple[dict[str, Any], ...]:
        return _rows(path, name, document.get(name) or [], schema, needed)

    markers = document.get("markers") or []
    if isinstance(markers, list):
        markers = [{"file": name} for name in markers]
    return SheetFile(
        path=path,
        sample=document["sample"][:LONGEST_TEXT],
        cameras=rows("cameras", _CAMERA, "name"),
        presets=rows("presets", _PRESET, "name"),
        stretches=rows("stretches", _STRETCH, "preset"),
        markers=tuple(row["file"] for row in _rows(path, "markers", markers, {"file": _text}, "file")),
        frames=tuple(SheetFrame(**row) for row in rows("frames", _FRAME, "file")),
    )


def _rows(
    path: Path, name: str, entries: Any, schema: dict[str, Read], needed: str
) -> tuple[dict[str, Any], ...]:
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        raise FileFormatError(f"{path}, {name}: this is no list that can be read.", "Save the sheet again.")
    rows = []
    for number, entry in enumerate(entries):
        place = f"{path}, {name}[{number}]"
        if not isinstance(entry, dict):
            raise FileFormatError(f"{place} is no table.", "Save the sheet again.")
        row = {}
        for key, value in entry.items():
            if value is None or key not in schema:  # unanswered; a key of a later version
                continue
            try:
                row[key] = schema[key](value)
            except _FaultError as fault:
                raise FileFormatError(
                    f"{place}.{key} = {str(value)[:60]!r} is not allowed.", f"It needs {fault}."
                ) from None
            except UnitError as error:
                raise FileFormatError(f"{place}.{key}: {error.what}", error.next_step) from None
        if needed not in row:
            raise FileFormatError(f"{place} has no {needed!r}.", "Save the sheet again.")
        rows.append(row)
    return tuple(rows)
