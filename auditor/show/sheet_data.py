"""Gathers what the sheet shows: strips of frames in order of time, drawn pictures, and the numbers behind.

Keys are those that the page's script reads. No mark and no weight is among them.
"""

import hashlib
import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.evidence.judging import FEWEST_GUESSES, LEAST_SD
from auditor.intake.assembling import Archive
from auditor.intake.library.camera_pixels import SHAPE_TOLERANCE
from auditor.intake.library.processes import cores
from auditor.intake.library.reading import Progress
from auditor.intake.people.proposals import Proposal
from auditor.intake.photofile.previews import JPEG, frame_files, small_picture
from auditor.intake.starter import Run, note_names
from auditor.intake.statements.bodies import FOCAL_LENGTH_SD, MEASURES, READING_SD, TILT_SD_RAD
from auditor.optics.sensors import HANDBOOK_DIVISOR
from auditor.settings import Settings
from auditor.show.page.shown_frames import relative_link
from auditor.show.sheet_strips import (
    Place,
    data_uri,
    first_picture,
    groups_shown,
    places_of,
    rolls_of,
    strip_picture,
)

SHOWN_BY_BROWSERS = JPEG | {".png", ".webp", ".avif"}
PREVIEW_PX, PREVIEW_QUALITY = 1920, 80  # where no browser shows the original; at least 1,600
FORM_PX = 420  # on the printed form
POINTING_PX = 2.0  # how well a hand places an end, sd in CSS pixels (estimate, no source)
GOES_ON_MS = 1600  # time to take a handle before the next picture comes

# In words: the measure, and its two ends.
_WORDS = {
    "standing": ("head to soles", ("the top of the head", "the soles")),
    "head_shoulder": ("head to shoulder line", ("the top of the head", "the shoulder line")),
    "face": ("nose root to chin", ("the nose root, between the eyes", "the chin")),
    "pupils": ("pupil to pupil", ("one pupil", "the other pupil")),
    "shoulders": (
        "shoulder breadth, from the front",
        ("one shoulder's outside", "the other shoulder's outside"),
    ),
    "seated": ("seated: head to seat", ("the top of the head", "the seat")),
}


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """What one sheet is about."""

    archive: Archive  # its table complete, as :func:`auditor.journey.run_scan` leaves it
    settings: Settings
    rows: np.ndarray  # the drawn frames in the order of the draw
    runs: Sequence[Run]
    proposals: Mapping[int, Sequence[Proposal]]  # by row
    command: str  # what to go on with


def sheet_data(facts: SheetFacts, folder: Path, progress: Progress | None = None) -> dict[str, Any]:
    """Gather everything for a page in ``folder``; pictures are read here, in threads, and only read."""
    table = facts.archive.table
    places, names = places_of(facts.runs), note_names(table)
    groups = groups_shown(facts.runs)
    strip_rows = [row for _, rows, _ in groups for row in rows]
    frames: list[int] = facts.rows.tolist()
    done = 0

    def count(made: Any) -> Any:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, len(strip_rows) + len(frames))
        return made

    def drawn(row: int) -> dict[str, Any]:
        return _drawn(facts, row, names.iloc[row], folder, places)

    with ThreadPoolExecutor(cores()) as pool:  # Pillow decodes outside of Python's lock
        strips = list(map(count, pool.map(lambda row: strip_picture(facts.archive, row), strip_rows)))
        shown = list(map(count, pool.map(drawn, frames)))
    pictures = dict(zip(strip_rows, strips, strict=True))
    identity = "\n".join([*table["file"].iloc[facts.rows], str(Path(folder).resolve())])
    return {
        "sample": hashlib.sha256(identity.encode("utf-8", "backslashreplace")).hexdigest()[:16],
        "command": facts.command,
        "units": facts.settings.units,
        "guess_sd": facts.settings.guess_sd,
        "cameras": _cameras(table),
        "presets": _declared_presets(facts.archive),
        "rolls": rolls_of(table, groups, pictures, places),
        "frames": shown,
        "measures": _measures(),
        "reading_sd": READING_SD,
        "pointing_px": POINTING_PX,
        "focal_length_sd": FOCAL_LENGTH_SD,
        "tilt_sd_rad": TILT_SD_RAD,
        "shape_tolerance": SHAPE_TOLERANCE,
        "handbook_divisor": HANDBOOK_DIVISOR,
        "judging": {"fewest": FEWEST_GUESSES, "least_sd": LEAST_SD},
        "goes_on_ms": GOES_ON_MS,
    }


def _measures() -> dict[str, dict[str, Any]]:
    names = {column: column.removesuffix("_share") for column in MEASURES}
    said = {name: {"name": words, "ends": list(ends)} for name, (words, ends) in _WORDS.items()}
    return {names[column]: asdict(body) | said[names[column]] for column, body in MEASURES.items()}


def _drawn(
    facts: SheetFacts, row: int, name: str, folder: Path, places: Mapping[int, Place]
) -> dict[str, Any]:
    archive = facts.archive
    frame = archive.table.iloc[row]
    files = frame_files(archive.paths[row], str(frame["file"]), str(frame["files"]))
    shown = next((path for path in files if os.path.splitext(path)[1].lower() in SHOWN_BY_BROWSERS), None)
    large = None
    if shown is None:
        large = first_picture(lambda path: small_picture(path, PREVIEW_PX, PREVIEW_QUALITY), archive, row)
    small = first_picture(lambda path: small_picture(path, FORM_PX), archive, row)
    session, rank = places.get(row, (-1, -1))
    width, height = _number(frame["pixel_width"]), _number(frame["pixel_height"])
    if small is not None and (width is None or height is None):
        width, height = float(small.width), float(small.height)
    setting: dict[str, Any] | None = None
    if pd.notna(frame["in_preset"]) and frame["in_preset"]:
        numbers = {"focal": "focal_length_mm", "stop": "f_number", "focus": "focus_distance_m"}
        setting = {key: _number(frame[column]) for key, column in numbers.items()} | {"name": frame["preset"]}
    sides = [_number(frame["sensor_width_mm"]), _number(frame["sensor_height_mm"])]
    return {
        "file": name,
        "name": str(frame["file"]).rsplit("/", 1)[-1],
        "src": None if shown is None else relative_link(folder, shown) or Path(shown).absolute().as_uri(),
        "preview": None if large is None else {"uri": data_uri(large), "width": large.width},
        "small": None if small is None else data_uri(small),
        "width": width,
        "height": height,
        "camera": _text(frame["camera"]),
        "session": session,
        "rank": rank,
        "focal_mm": _number(frame["focal_length_mm"]),
        "sensor": None if frame["sensor_source"] == "assumed" else sides,
        "setting": setting,
        "proposals": [asdict(one) for one in facts.proposals.get(row, ())],
    }


def _number(value: Any) -> float | None:
    return float(value) if pd.notna(value) and np.isfinite(value) else None


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str) else ""


def _cameras(table: pd.DataFrame) -> list[dict[str, Any]]:
    assumed = table["sensor_source"].eq("assumed").fillna(False)
    by_camera = assumed.groupby(table["camera"].fillna("")).any()
    return [{"name": str(name), "assumed": bool(flag)} for name, flag in by_camera.items()]


def _declared_presets(archive: Archive) -> list[dict[str, Any]]:
    """Presets that session files declare, each name once, as a session file has them."""
    presets: dict[str, dict[str, Any]] = {}
    for preset in (one for file in archive.session_files for one in file.presets):
        focal_mm, number, focus_m = preset.focal_length_mm, preset.f_number, preset.focus_distance_m
        given = {
            "focal_length": (focal_mm, f"{focal_mm:g}mm"),
            "f_number": (number, number),
            "focus_distance": (focus_m, "inf" if np.isinf(focus_m) else f"{focus_m:g}m"),
        }
        known = {key: typed for key, (value, typed) in given.items() if not np.isnan(value)}
        presets.setdefault(preset.name, {"name": preset.name} | known)
    return list(presets.values())
