"""Takes what was filled in, wherever it was saved, into the notes and the session file that lie together.

Filled cells win over empty ones and later ones over earlier ones; what is equal is no contradiction. The
merge is a function of values; :mod:`auditor.intake.filled_files` reads and writes.
"""

import json
import os
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from operator import methodcaller
from typing import Any

from auditor.intake.filled_files import Rows
from auditor.intake.statements.sheet_file import BY_EYE, TYPED, SheetFile, SheetFrame

_KEYED_BY = {"camera": ("name",), "lens": ("name", "focal_length"), "preset": ("name",)}
_LISTS = ("markers",)  # of [marks]: joined, not replaced


@dataclass(frozen=True, slots=True)
class Filled:
    """What people have said: a session document as TOML has it, and the filled cells of each frame."""

    session: dict[str, Any] = field(default_factory=dict)
    notes: Rows = field(default_factory=dict)


def merge_filled(first: Filled, *later: Filled) -> Filled:
    """Merge; of two that speak of the same thing, by name, path or end of a path, the later one holds."""
    session = json.loads(json.dumps(first.session, default=methodcaller("isoformat")))
    notes = {frame: dict(cells) for frame, cells in first.notes.items()}
    for one in later:
        _merge_session(session, one.session)
        same = _same_frames(list(notes), list(one.notes))
        for frame, cells in one.notes.items():
            row = notes.setdefault(same.get(frame, frame), {})
            row.update({name: cell for name, cell in cells.items() if cell})
    return Filled(session, notes)


def _same_frames(known: Sequence[str], new: Sequence[str]) -> dict[str, str]:
    """Find for each new name the known one that means the same frame, where only one can.

    >>> _same_frames(["P1", "a/P2.jpg", "b/P2.jpg"], ["walk/P1.jpg", "P2", "b/p2.JPG"])
    {'walk/P1.jpg': 'P1', 'b/p2.JPG': 'b/P2.jpg'}
    >>> _same_frames(["P1.jpg"], ["walk/P1"]), _same_frames(["walk/P1"], ["P1.jpg"])
    ({'walk/P1': 'P1.jpg'}, {'P1.jpg': 'walk/P1'})
    """
    by_end, by_name, of_new = _by_end(known), _by_end(known, 2), _by_end(new)
    same_case = {name.casefold(): name for name in known}
    found: dict[str, str] = {}
    for name in new:
        ends = _ends(name)
        alike = by_end[ends[0]] | by_end[ends[1]]
        alike = alike.union(*(by_name[end] for end in ends if len(of_new[end]) == 1))
        if name.casefold() in same_case:
            alike = {same_case[name.casefold()]}
        if len(alike) == 1:
            found[name] = alike.pop()
    return found


def _ends(name: str) -> list[str]:
    """A path, the same without its ending, and every end of both; casefolded."""
    path = name.casefold().replace("\\", "/").removeprefix("./")
    parts = path.split("/")
    tails = ["/".join(parts[i:]) for i in range(len(parts))]
    return [end for tail in tails for end in (tail, os.path.splitext(tail)[0])]


def _by_end(names: Sequence[str], first: int | None = None) -> defaultdict[str, set[str]]:
    """Names by each of their ends, or by the first of these alone."""
    index: defaultdict[str, set[str]] = defaultdict(set)
    for name in names:
        for end in _ends(name)[:first]:
            index[end].add(name)
    return index


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
    """Take back what was said before, where it is still as it was: it is about to be said again."""
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
    """Write a filled sheet, and what its guesses show of the eye, as session file and notes."""
    session: dict[str, Any] = {
        "camera": [{k: v for k, v in camera.items() if v} for camera in sheet.cameras if len(camera) > 1],
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
    # The audit works a share out again, should the lens or the sensor be corrected; of several people in one
    # frame only distances can be written.
    if frame.distances and (not share or len(frame.distances) > 1):
        cells["subject_distance"] = "; ".join(map(_metres, frame.distances))
    if frame.sd is not None and (frame.distances or share):
        cells["subject_distance_sd"] = f"{frame.sd:.4f}"
    return {name: cell for name, cell in cells.items() if cell}


def _metres(distance_m: float | None) -> str:
    return "" if distance_m is None else f"{distance_m:.4g}m"
