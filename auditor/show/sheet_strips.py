"""Strips of small pictures in order of time, for saying what was set; dark frames are to be offered."""

import base64
from collections.abc import Callable, Mapping, Sequence
from io import BytesIO
from typing import Any

import pandas as pd
from PIL import Image

from auditor.intake.assembling import Archive
from auditor.intake.markers import is_dark_frame, runs_of
from auditor.intake.photofile.previews import SmallPicture, as_jpeg, frame_files, thumbnail
from auditor.intake.starter import Run, frame_labels

MOST_THUMBNAILS = 1500
STRIP_PX, STRIP_QUALITY = 96, 45

Place = tuple[int, int]  # session, rank in the camera's order of time


def places_of(runs: Sequence[Run]) -> dict[int, Place]:
    """Where each timed frame stands in its camera's order of time."""
    ranks: dict[str | None, int] = {}
    places: dict[int, Place] = {}
    for run in runs:
        for row in run.rows:
            places[row] = run.session, ranks.setdefault(run.camera, 0)
            ranks[run.camera] += 1
    return places


def groups_shown(runs: Sequence[Run]) -> list[tuple[Run, tuple[int, ...], int]]:
    """Runs of those sessions that lack settings, the rows shown of each, and how many are not."""
    lacking = {(run.camera, run.session) for run in runs if not run.complete}
    shown = [run for run in runs if (run.camera, run.session) in lacking]
    if sum(len(run.rows) for run in shown) <= MOST_THUMBNAILS:
        return [(run, run.rows, 0) for run in shown]
    return [(run, run.rows[:1], len(run.rows) - 1) for run in shown[:MOST_THUMBNAILS]]


def strip_picture(archive: Archive, row: int) -> tuple[str | None, bool]:
    """A thumbnail as a data address, and whether it looks like a dark frame."""
    small = first_picture(thumbnail, archive, row)
    if small is None:
        return None, False
    picture = Image.open(BytesIO(small.jpeg))
    dark = is_dark_frame(picture)
    picture.thumbnail((STRIP_PX, STRIP_PX))
    return data_uri(as_jpeg(picture, STRIP_QUALITY)), dark


def first_picture(
    read: Callable[[str], SmallPicture | None], archive: Archive, row: int
) -> SmallPicture | None:
    """Read the first of a frame's files that can be shown."""
    table = archive.table
    files = frame_files(archive.paths[row], str(table["file"].iloc[row]), str(table["files"].iloc[row]))
    return next(filter(None, map(read, files)), None)


def data_uri(picture: SmallPicture) -> str:
    """Write a picture as a data address."""
    return "data:image/jpeg;base64," + base64.b64encode(picture.jpeg).decode()


def rolls_of(
    table: pd.DataFrame,
    groups: Sequence[tuple[Run, tuple[int, ...], int]],
    pictures: Mapping[int, tuple[str | None, bool]],
    places: Mapping[int, Place],
) -> list[dict[str, Any]]:
    """Tell the strips of each camera's sessions: groups of frames with their pictures and dark runs."""
    labels, times = frame_labels(table).to_numpy(object), table["captured_at"]
    presets = table["preset"].where(table["in_preset"].fillna(False), "").tolist()
    rolls: dict[tuple[str | None, int], dict[str, Any]] = {}
    for run, rows, more in groups:
        day = _written(run.starts_at, f"%A, {run.starts_at.day} %B %Y") or f"{run.first} to {run.last}"
        title = f"{run.camera}, {day}" if run.camera else day
        roll = rolls.setdefault((run.camera, run.session), {"title": title, "groups": []})
        shots = [
            {
                "label": str(labels[row]),
                "at": _written(times.iloc[row], "%H:%M:%S"),
                "camera": run.camera or "",
                "session": places[row][0],
                "rank": places[row][1],
                "small": pictures[row][0],
                "preset": presets[row],
            }
            for row in rows
        ]
        group = {"at": _written(run.starts_at, "%H:%M"), "why": run.why, "more": more}
        roll["groups"].append(group | {"frames": shots, "dark": [pictures[row][1] for row in rows]})
    for roll in rolls.values():
        _offer_markers(roll["groups"])
    return list(rolls.values())


def _written(at: pd.Timestamp, form: str) -> str:
    return "" if pd.isna(at) else f"{at:{form}}"


def _offer_markers(groups: list[dict[str, Any]]) -> None:
    """Mark the last frame of each run of dark ones with the run's length and the frame after it."""
    shots = [shot for group in groups for shot in group["frames"]]
    dark = [is_dark for group in groups for is_dark in group.pop("dark")]
    for start, length in runs_of(dark):
        last, after = shots[start + length - 1], shots[start + length : start + length + 1]
        last["dark_run"] = length
        last["dark_labels"] = [shot["label"] for shot in shots[start : start + length]]
        last["after"] = {key: value for key, value in after[0].items() if key != "small"} if after else None
