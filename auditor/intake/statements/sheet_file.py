"""Reads a filled ``sheet.json``: what was set, how far people stood, and whether they came out sharp.

The file comes back from a browser, or by mail: everything in it is checked, and bounded in size. The first
fault ends the reading with its place, since a half-read sheet would bend what is made of it.
"""

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from auditor.errors import AuditorError, FileFormatError
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.door import MIB, read_json
from auditor.intake.statements.ranges import NotAllowedError, Read, any_text, number, one_of
from auditor.intake.statements.session_values import SCHEMA

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


def _text(value: Any) -> str:
    any_text(value)
    return str(value)


def _name_or_none(value: Any) -> str:
    return "" if value == "" else _text(value)


def _truth(value: Any) -> bool:
    if not isinstance(value, bool):
        raise NotAllowedError("true or false")
    return value


_distance_m = number(0.01, 10_000.0, "from 0.01 to 10000")


def _distances(value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) > 50:
        raise NotAllowedError("a list of at most 50 distances")
    return tuple(_distance_m(item) for item in value)


def _as_typed(table: str, *keys: str) -> dict[str, Read]:
    """Keys of a session file's table, checked as there and kept as they were written."""

    def checked(read: Read, value: Any) -> Any:
        read(value)
        return value

    return {key: partial(checked, SCHEMA[table][key][1]) for key in keys}


_CAMERA = {"name": _name_or_none, **_as_typed("camera", "sensor")}
_PRESET = _as_typed("preset", "name", "lens", "focal_length", "f_number", "focus_distance")
_STRETCH = _as_typed("stretch", "preset", "from", "to", "camera")
_FRAME: dict[str, Read] = {
    "file": _text,
    "measure": one_of(*MEASURE_NAMES),
    "share": number(1e-5, 5.0, "from 0.00001 to 5"),
    "distances": _distances,
    "sd": number(1e-4, 5.0, "from 0.0001 to 5"),
    "guess": _distance_m,
    "sharp": one_of("yes", "no", "unsure"),
    "sharp_seen": one_of("shown", "pixels"),
    "shown_px": number(1.0, 100_000.0, "from 1 to 100000"),
    "reason": one_of(*REASONS),
    "skipped": _truth,
    "answered": _text,
}


def read_sheet(path: Path) -> SheetFile:
    """Read a filled sheet; FileFormatError, with the place, where it is none or a value is not allowed."""
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
    for at, entry in enumerate(entries):
        place = f"{path}, {name}[{at}]"
        if not isinstance(entry, dict):
            raise FileFormatError(f"{place} is no table.", "Save the sheet again.")
        row = {}
        for key, value in entry.items():
            if value is None or key not in schema:  # unanswered; a key of a later version
                continue
            try:
                if isinstance(value, str) and (len(value) > LONGEST_TEXT or "\0" in value):
                    raise NotAllowedError(f"a text of at most {LONGEST_TEXT} characters")
                row[key] = schema[key](value)
            except NotAllowedError as fault:
                what = f"{place}.{key} = {str(value)[:60]!r} is not allowed."
                raise FileFormatError(what, fault.step) from None
            except AuditorError as error:
                raise FileFormatError(f"{place}.{key}: {error.what}", error.next_step) from None
        if needed not in row:
            raise FileFormatError(f"{place} has no {needed!r}.", "Save the sheet again.")
        rows.append(row)
    return tuple(rows)
