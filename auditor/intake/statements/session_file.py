"""Reads a session file: one wrong key costs that key alone, in a preset or a stretch the whole entry.

Each mistake is listed with the line where it can be found, what was found and what is allowed.
"""

import re
from pathlib import Path
from typing import Any

from auditor.errors import AuditorError, Problem
from auditor.intake.library.folders import SESSION_NAME as SESSION_NAME
from auditor.intake.statements.door import read_toml
from auditor.intake.statements.ranges import NotAllowedError, nearest, out_of_range
from auditor.intake.statements.session import Camera, Lens, Marks, Preset, SessionFile, Stretch
from auditor.intake.statements.session_values import SCHEMA
from auditor.text import collapse

MOST_COMPARED = 20_000  # words, to find the nearest to those that are wrong
_RENAMED = {"worth_points": 'Write worth = "10%": the smallest gain worth acting on, of what is kept now.'}
_REPEATED = ("camera", "lens", "preset", "stretch")
_SETTING_TABLES = ("light", "subject", "advice")


def _short(value: object) -> str:
    if isinstance(value, (dict, list)):
        return f"a {type(value).__name__}"
    text = "a very long number" if isinstance(value, int) and value.bit_length() > 200 else repr(value)
    return text if len(text) <= 60 else f"{text[:60]}…"


_HEADER = re.compile(r"\s*\[{1,2}\s*([\w-]{1,100})\s*\]{1,2}")
_KEY = re.compile(r'\s*"?([\w-]{1,100})"?\s*=')
_Entry = tuple[dict[str, Any], str, bool]  # values, place, whether a key in it could not be used


class _Reader:
    """Reads one document, collecting problems with the line where each can be found."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.problems: list[Problem] = []
        self._compared = 0
        self._lines: dict[tuple[str, int, str | None], int] = {}
        table, seen = "", -1
        counts: dict[str, int] = {}
        for number, line in enumerate(text.split("\n"), 1):
            if header := _HEADER.match(line):
                table = header[1]
                seen = counts[table] = counts.get(table, -1) + 1
                self._lines.setdefault((table, seen, None), number)
            elif key := _KEY.match(line):
                self._lines.setdefault((table, seen, key[1]), number)

    def line_of(self, table: str, index: int, key: str | None = None) -> str:
        line = self._lines.get((table, index, key))
        return f", line {line}" if line else ""

    def nearest(self, word: str, allowed: tuple[str, ...] | list[str]) -> str:
        """End a sentence, with the nearest allowed word if not yet too many were looked through."""
        self._compared += len(allowed)
        return (nearest(word, allowed) if self._compared <= MOST_COMPARED else "") or "."

    def problem(self, place: str, what: str, next_step: str) -> None:
        self.problems.append(Problem(f"{self.path}{place}", what, next_step, ignored=True))

    def table(self, name: str, content: object, index: int = 0) -> dict[str, Any]:
        shown = f"[[{name}]] {index + 1}" if name in _REPEATED else f"[{name}]"
        if not isinstance(content, dict):
            step = f"Write it as {shown.split()[0]}."
            self.problem(self.line_of(name, index), f"{shown} is not a table.", step)
            return {}
        schema, values = SCHEMA[name], {}
        for key, value in content.items():
            place = self.line_of(name, index, key)
            if key not in schema:
                what = f"{shown} has no key {key!r}{self.nearest(key, list(schema))}"
                allowed = f"It was ignored. Allowed: {', '.join(schema)}."
                self.problem(place, what, _RENAMED.get(key, allowed))
                continue
            attribute, read = schema[key]
            try:
                as_read = read(value)
                if allowed := out_of_range(key, as_read):
                    raise NotAllowedError(f"a value {allowed}")
                values[attribute] = as_read
            except NotAllowedError as error:
                self.problem(place, f"{shown} {key} = {_short(value)} is not allowed.", error.step)
            except AuditorError as error:
                self.problem(place, f"{shown} {key}: {error.what}", error.next_step)
            except OverflowError:
                self.problem(place, f"{shown} {key} is a very long number.", "It was ignored.")
        return values

    def tables(self, name: str, content: object) -> list[_Entry]:
        if not isinstance(content, list):
            step = f"Write [[{name}]], since it repeats."
            self.problem(self.line_of(name, 0), f"[{name}] stands alone.", step)
            content = [content]
        entries = []
        for i, entry in enumerate(content):
            before = len(self.problems)
            values = self.table(name, entry, i)
            entries.append((values, self.line_of(name, i), len(self.problems) > before))
        return entries


def read_session(path: Path) -> SessionFile:
    """Read a session file; FileFormatError, with line and column, if it cannot be opened or is not TOML."""
    document, text = read_toml(path)
    reader = _Reader(path, text)
    found: dict[str, Any] = {}
    for name, content in document.items():
        if name not in SCHEMA:
            what = f"There is no table {name!r}{reader.nearest(name, list(SCHEMA))}"
            reader.problem(reader.line_of(name, 0), what, f"It was ignored. Allowed: {', '.join(SCHEMA)}.")
        elif name in _REPEATED:
            found[name] = reader.tables(name, content)
        else:
            found[name] = reader.table(name, content)
    marks = dict(found.get("marks", {}))
    if "keepers" in marks:
        marks["keepers"] = (reader.path.parent / marks["keepers"]).resolve()
    lenses = tuple(Lens(**values) for values, _, _ in found.get("lens", []))
    presets = _presets(reader, found.get("preset", []), lenses)
    settings = {key: value for table in _SETTING_TABLES for key, value in found.get(table, {}).items()}
    return SessionFile(
        path=reader.path,
        **found.get("distances", {}),
        cameras=tuple(Camera(**values) for values, _, _ in found.get("camera", [])),
        lenses=lenses,
        presets=presets,
        stretches=_stretches(reader, found.get("stretch", []), presets),
        marks=Marks(**marks),
        flash_duration_s=settings.pop("flash_duration_s", None),
        settings=settings,
        problems=tuple(reader.problems),
    )


def _presets(reader: _Reader, entries: list[_Entry], lenses: tuple[Lens, ...]) -> tuple[Preset, ...]:
    presets: list[Preset] = []
    taken: set[str] = set()
    for values, place, slip in entries:
        name = values.get("name")
        if name is None:
            reader.problem(place, "A [[preset]] has no name.", "Give it one; stretches refer to it.")
            continue
        if name in taken:
            reader.problem(place, f"The preset {name!r} is there twice.", "The first one is used.")
            continue
        lens = next((lens for lens in lenses if lens.name == values.get("lens")), None)
        if "lens" in values and lens is None and lenses:
            names = [lens.name for lens in lenses if lens.name]
            what = f"The preset {name!r} names a lens {values['lens']!r} that no [[lens]] has"
            what += reader.nearest(values["lens"], names)
            reader.problem(place, what, "Correct the name, or add the lens.")
            slip = slip or "focal_length_mm" not in values
        if lens is not None and "focal_length_mm" not in values:
            values = values | {"focal_length_mm": lens.focal_length_mm}
        taken.add(name)
        presets.append(Preset(**values, slip=slip))
    return tuple(presets)


def _stretches(reader: _Reader, entries: list[_Entry], presets: tuple[Preset, ...]) -> tuple[Stretch, ...]:
    """Every stretch, those with a slip among them: they end the one before all the same."""
    stretches: list[Stretch] = []
    slips = {preset.name: preset.slip for preset in presets}
    for values, place, has_bad_key in entries:
        name = values.setdefault("preset", "")
        slip = "a key in it cannot be used" if has_bad_key else ""
        if not name:
            if not has_bad_key:
                step = 'It sets nothing. Add preset = "...".'
                reader.problem(place, "A [[stretch]] names no preset.", step)
            slip = slip or "it names no preset"
        elif name not in slips:
            what = f"The stretch names a preset {name!r} that no [[preset]] has"
            step = f"It sets nothing. Declared: {collapse(list(slips), limit=20) or 'none'}."
            reader.problem(place, f"{what}{reader.nearest(name, list(slips))}", step)
            slip = slip or f"there is no preset {name!r}"
        elif slips[name]:
            slip = slip or f"the preset {name!r} has a key that cannot be used"
        is_placed = "starts" in values or not has_bad_key
        stretches.append(Stretch(**values, place=place, slip=slip, is_placed=is_placed))
    return tuple(stretches)
