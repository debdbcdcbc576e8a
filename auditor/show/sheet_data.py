"""Gathers what the sheet shows: strips of frames in order of time, drawn pictures, and the numbers behind.

Keys are those that the page's script reads. No mark and no weight is among them.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pandas as pd
from PIL import Image

from auditor.evidence.judging import FEWEST_GUESSES, LEAST_SD
from auditor.intake.library.processes import cores
from auditor.intake.library.reading import Progress
from auditor.intake.markers import is_dark_frame, runs_of
from auditor.intake.photofile.previews import (
    JPEG,
    SmallPicture,
    as_jpeg,
    frame_files,
    small_picture,
    thumbnail,
)
from auditor.intake.sources import Archive
from auditor.intake.starter import Block, frame_labels
from auditor.intake.statements.bodies import FOCAL_LENGTH_SD, MEASURES, READING_SD, TILT_SD_RAD
from auditor.intake.statements.shares import SHAPE_TOLERANCE
from auditor.optics.sensors import HANDBOOK_DIVISOR
from auditor.settings import Settings

MOST_THUMBNAILS = 1500
SHOWN_BY_BROWSERS = JPEG | {".png", ".webp", ".avif"}
PREVIEW_PX, PREVIEW_QUALITY = 1920, 80  # where no browser shows the original; at least 1,600
FORM_PX = 420  # on the printed form
STRIP_PX, STRIP_QUALITY = 96, 45
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
class Proposal:
    """A measure read from a picture by itself, shown as handles when the frame's turn comes.

    Attributes
    ----------
    measure : str
        A key of the measures, such as ``face``.
    ends : tuple of two (x, y)
        As shares of the picture's width and height, from the top left.
    distance_m, rel_sd : float
        What it tells [m], and how surely.
    """

    measure: str
    ends: tuple[tuple[float, float], tuple[float, float]]
    distance_m: float
    rel_sd: float


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """What one sheet is about.

    Attributes
    ----------
    archive : Archive
        Its table complete, as :func:`auditor.journey.run_scan` leaves it.
    settings : Settings
    rows : numpy.ndarray of int
        The drawn frames in the order of the draw.
    blocks : list of Block
    proposals : mapping of int to Proposals
        By row.
    presets : list of dict
        Presets declared so far, as a session file has them.
    command : str
        What to go on with.
    """

    archive: Archive
    settings: Settings
    rows: np.ndarray
    blocks: Sequence[Block]
    proposals: Mapping[int, Sequence[Proposal]]
    presets: Sequence[Mapping[str, Any]]
    command: str


def sheet_data(facts: SheetFacts, folder: Path, progress: Progress | None = None) -> dict[str, Any]:
    """Gather everything; pictures are read here, in threads, and only read.

    Parameters
    ----------
    facts : SheetFacts
    folder : Path
        Where the page will lie: links to originals are relative to it.
    progress : callable, optional
    """
    table = facts.archive.table
    places = _places(facts.blocks)
    groups = _groups_shown(facts.blocks)
    strip_rows = [row for _, rows, _ in groups for row in rows]
    frames: list[int] = facts.rows.tolist()
    done = 0

    def told(made: Any) -> Any:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, len(strip_rows) + len(frames))
        return made

    with ThreadPoolExecutor(cores()) as pool:  # Pillow decodes outside of Python's lock
        strips = list(map(told, pool.map(lambda row: _strip_picture(facts.archive, row), strip_rows)))
        drawn = list(map(told, pool.map(lambda row: _drawn(facts, row, folder, places), frames)))
    pictures = dict(zip(strip_rows, strips, strict=True))
    identity = "\n".join([*table["file"].iloc[facts.rows], str(Path(folder).resolve())])
    return {
        "sample": hashlib.sha256(identity.encode("utf-8", "backslashreplace")).hexdigest()[:16],
        "command": facts.command,
        "units": facts.settings.units,
        "guess_sd": facts.settings.guess_sd,
        "cameras": _cameras(table),
        "presets": list(facts.presets),
        "rolls": _rolls(table, groups, pictures, places),
        "frames": drawn,
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
    measures = {}
    for column, body in MEASURES.items():
        name = column.removesuffix("_share")
        words, ends = _WORDS[name]
        measures[name] = asdict(body) | {"name": words, "ends": list(ends)}
    return measures


Place = tuple[int, int]  # session, rank in the camera's order of time


def _places(blocks: Sequence[Block]) -> dict[int, Place]:
    """Where each timed frame stands in its camera's order of time."""
    ranks: dict[str | None, int] = {}
    places: dict[int, Place] = {}
    for block in blocks:
        for row in block.rows:
            places[row] = block.session, ranks.setdefault(block.camera, 0)
            ranks[block.camera] += 1
    return places


def _groups_shown(blocks: Sequence[Block]) -> list[tuple[Block, tuple[int, ...], int]]:
    """Blocks of those sessions that lack settings, the rows shown of each, and how many are not."""
    lacking = {(block.camera, block.session) for block in blocks if not block.complete}
    shown = [block for block in blocks if (block.camera, block.session) in lacking]
    if sum(len(block.rows) for block in shown) <= MOST_THUMBNAILS:
        return [(block, block.rows, 0) for block in shown]
    return [(block, block.rows[:1], len(block.rows) - 1) for block in shown[:MOST_THUMBNAILS]]


def _strip_picture(archive: Archive, row: int) -> tuple[str | None, bool]:
    """A thumbnail as a data address, and whether it looks like a dark frame."""
    small = _first(thumbnail, archive, row)
    if small is None:
        return None, False
    picture = Image.open(BytesIO(small.jpeg))
    dark = is_dark_frame(picture)
    picture.thumbnail((STRIP_PX, STRIP_PX))
    return _uri(as_jpeg(picture, STRIP_QUALITY)), dark


def _first(read: Callable[[str], SmallPicture | None], archive: Archive, row: int) -> SmallPicture | None:
    table = archive.table
    files = frame_files(archive.paths[row], str(table["file"].iloc[row]), str(table["files"].iloc[row]))
    return next(filter(None, map(read, files)), None)


def _uri(picture: SmallPicture) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(picture.jpeg).decode()


def _drawn(facts: SheetFacts, row: int, folder: Path, places: Mapping[int, Place]) -> dict[str, Any]:
    archive = facts.archive
    frame = archive.table.iloc[row]
    files = frame_files(archive.paths[row], str(frame["file"]), str(frame["files"]))
    shown = next((path for path in files if os.path.splitext(path)[1].lower() in SHOWN_BY_BROWSERS), None)
    large = None
    if shown is None:
        large = _first(lambda path: small_picture(path, PREVIEW_PX, PREVIEW_QUALITY), archive, row)
    small = _first(lambda path: small_picture(path, FORM_PX), archive, row)
    session, rank = places.get(row, (-1, -1))
    width, height = _number(frame["pixel_width"]), _number(frame["pixel_height"])
    if small is not None and (width is None or height is None):
        width, height = float(small.width), float(small.height)
    in_preset = bool(frame["in_preset"]) if pd.notna(frame["in_preset"]) else False
    return {
        "file": str(frame["file"]),
        "name": str(frame["file"]).rsplit("/", 1)[-1],
        "src": None if shown is None else link_from(folder, shown),
        "preview": None if large is None else {"uri": _uri(large), "width": large.width},
        "small": None if small is None else _uri(small),
        "width": width,
        "height": height,
        "camera": _text(frame["camera"]),
        "session": session,
        "rank": rank,
        "focal_mm": _number(frame["focal_length_mm"]),
        "sensor": None
        if frame["sensor_source"] == "assumed"
        else [_number(frame["sensor_width_mm"]), _number(frame["sensor_height_mm"])],
        "stratum": _text(frame["preset"]) if in_preset else None,
        "setting": {
            "name": _text(frame["preset"]),
            "focal": _number(frame["focal_length_mm"]),
            "stop": _number(frame["f_number"]),
            "focus": _number(frame["focus_distance_m"]),
        }
        if in_preset
        else None,
        "proposals": [asdict(proposal) for proposal in facts.proposals.get(row, ())],
    }


def link_from(folder: Path, path: str) -> str:
    """Address of a file, relative to a folder where both lie on one drive; every odd sign is encoded."""
    path = os.path.abspath(path)
    try:
        return quote(os.fsencode(os.path.relpath(path, os.path.abspath(folder)).replace(os.sep, "/")))
    except ValueError:
        return Path(path).as_uri()


def _number(value: Any) -> float | None:
    return float(value) if pd.notna(value) and np.isfinite(value) else None


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str) else ""


def _cameras(table: pd.DataFrame) -> list[dict[str, Any]]:
    assumed = table["sensor_source"].eq("assumed").fillna(False)
    by_camera = assumed.groupby(table["camera"].fillna("")).any()
    return [{"name": str(name), "assumed": bool(flag)} for name, flag in by_camera.items()]


def _rolls(
    table: pd.DataFrame,
    groups: Sequence[tuple[Block, tuple[int, ...], int]],
    pictures: Mapping[int, tuple[str | None, bool]],
    places: Mapping[int, Place],
) -> list[dict[str, Any]]:
    labels = frame_labels(table).to_numpy(object)
    times = table["captured_at"]
    rolls: dict[tuple[str | None, int], dict[str, Any]] = {}
    for block, rows, more in groups:
        day = f"{block.starts_at:%A, %-d %B %Y}" if os.name != "nt" else f"{block.starts_at:%A, %d %B %Y}"
        title = f"{block.camera}, {day}" if block.camera else day
        roll = rolls.setdefault((block.camera, block.session), {"title": title, "groups": []})
        shots = [
            {
                "label": str(labels[row]),
                "at": f"{times.iloc[row]:%H:%M:%S}",
                "camera": block.camera or "",
                "session": places[row][0],
                "rank": places[row][1],
                "small": pictures[row][0],
            }
            for row in rows
        ]
        roll["groups"].append(
            {"at": f"{block.starts_at:%H:%M}", "why": block.why, "more": more, "frames": shots}
            | {"dark": [pictures[row][1] for row in rows]}
        )
    for roll in rolls.values():
        _offer_markers(roll["groups"])
    return list(rolls.values())


def _offer_markers(groups: list[dict[str, Any]]) -> None:
    """Mark the last frame of each run of dark ones with the run's length and the frame after it."""
    shots = [shot for group in groups for shot in group["frames"]]
    dark = [is_dark for group in groups for is_dark in group.pop("dark")]
    for start, length in runs_of(dark):
        last, after = shots[start + length - 1], shots[start + length : start + length + 1]
        last["dark_run"] = length
        last["dark_labels"] = [shot["label"] for shot in shots[start : start + length]]
        plain = {key: value for key, value in after[0].items() if key != "small"} if after else None
        last["after"] = plain
