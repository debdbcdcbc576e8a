"""From grouped files to the table of facts: what the files say of each frame, nothing assumed.

Besides the columns of the frame table it carries, for the steps that follow, the frame's own files and the
mark found in each kind of place.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pandas as pd

from auditor.errors import Problem
from auditor.frames import TEXT, with_columns
from auditor.intake.library.collector import without_collector
from auditor.intake.library.grouping import Group
from auditor.intake.library.numbering import numbers_in_names
from auditor.intake.library.sensor_told import sensor_of
from auditor.intake.library.walk import Found
from auditor.intake.photofile.records import NAN, FileRecord, XmpValues
from auditor.intake.statements.session import Camera, SessionFile

# Marks as found, one column for each kind of place; they become keeper and mark_source later.
RATING_COLUMNS = ("sidecar_rating", "embedded_rating", "exif_rating")
LABEL_COLUMNS = ("sidecar_label", "embedded_label")


@dataclass(frozen=True, slots=True)
class Facts:
    """Frames as their files describe them.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a frame, columns of :mod:`auditor.frames` plus :data:`RATING_COLUMNS`,
        :data:`LABEL_COLUMNS` and those of :mod:`auditor.intake.library.numbering`.
    paths : list of str
        Full path of the file that speaks for each frame.
    folders : list of int
        Index of its folder in the walk.
    problems : list of Problem
        What could not be read comes first.
    unreadable : int
        Pictures that could not be read.
    merged : int
        Pictures that joined another one's frame.
    """

    table: pd.DataFrame
    paths: list[str]
    folders: list[int]
    problems: list[Problem]
    unreadable: int
    merged: int


def first_known(values: Iterable[Any]) -> Any:
    """Return the first value that is neither None nor NaN; else the last one seen."""
    value: Any = None
    for value in values:
        if value is not None and not (isinstance(value, float) and math.isnan(value)):
            return value
    return value


@without_collector()
def gather_facts(
    found: Found,
    records: Sequence[FileRecord],
    sidecars: Sequence[FileRecord],
    groups: Sequence[Group],
    doubts: Sequence[Problem] = (),
) -> Facts:
    """Build the table of facts from the groups that hold something readable.

    Parameters
    ----------
    found : Found
    records, sidecars : sequence of FileRecord
        One for each picture, and for each sidecar, of the walk.
    groups : sequence of Group
    doubts : sequence of Problem
        What the grouping was in doubt about.
    """
    columns: dict[str, list[Any]] = {name: [] for name in _row_columns()}
    paths: list[str] = []
    folders: list[int] = []
    problems = [*_unreadable(found, records, sidecars), *doubts]
    shared = _shared_models(records)
    for group in groups:
        lead = group.pictures[0]
        members = [records[i] for i in group.pictures if records[i].error is None]
        packets = [packet for i in group.sidecars if (packet := sidecars[i].xmp) is not None]
        if not members and not packets:
            continue
        folder = found.folders[found.pictures[lead][0]]
        problems += [
            Problem(found.shown(found.pictures[i]), note, "")
            for i in group.pictures
            for note in records[i].notes
        ]
        row = _row(found, group, members, packets, folder.session, shared, problems)
        for name, value in row.items():
            columns[name].append(value)
        paths.append(found.path(found.pictures[lead]))
        folders.append(found.pictures[lead][0])
    table = pd.DataFrame(columns).astype(dict.fromkeys(LABEL_COLUMNS, TEXT))
    table = with_columns(table.assign(**numbers_in_names(columns["file"])))
    return Facts(
        table,
        paths,
        folders,
        problems,
        unreadable=sum(record.error is not None for record in records),
        merged=sum(len(group.pictures) - 1 for group in groups),
    )


def _row_columns() -> list[str]:
    return [
        "file", "files", "captured_at", "has_subseconds", "camera", "lens", "focal_length_mm", "f_number",
        "exposure_time_s", "iso", "flash", "sensor_width_mm", "sensor_height_mm", "sensor_source",
        "focus_distance_m", "focus_distance_source", "subject_distance_m", "subject_distance_source",
        "pixel_width", "pixel_height", *RATING_COLUMNS, *LABEL_COLUMNS,
    ]  # fmt: skip


def _row(
    found: Found,
    group: Group,
    members: list[FileRecord],
    packets: list[XmpValues],
    session: SessionFile,
    shared: frozenset[str],
    problems: list[Problem],
) -> dict[str, Any]:
    embedded = [record.xmp for record in members if record.xmp is not None]
    say: list[Any] = [*members, *packets, *embedded]

    def told(name: str, default: Any = NAN) -> Any:
        for item in say:
            value = getattr(item, name, None)
            if value is not None and value == value:  # NaN is not equal to itself
                return value
        return default

    shown = found.shown(found.pictures[group.pictures[0]])
    names = [shown, *(found.shown(found.pictures[i]) for i in group.pictures[1:])]
    names += [found.shown(found.sidecars[i]) for i in group.sidecars]
    model = told("camera", None)
    camera = _camera_name(model, told("serial", None), shared)
    entry = camera_entry(session, camera, model)
    timed = next((item for item in say if item.captured_at is not None), None)
    sensor, sensor_source = sensor_of(entry, members, told, shown, problems)
    distance, distance_source = _distance(members, packets + embedded)
    is_subject = session.in_files == "subject"
    width_px, height_px = next(filter(all, map(_upright_size, members)), (0, 0))
    return {
        "file": shown,
        "files": "|".join(names),
        "captured_at": None
        if timed is None
        else timed.captured_at + timedelta(seconds=entry.clock_offset_s if entry else 0.0),
        "has_subseconds": None if timed is None else timed.has_subseconds,
        "camera": camera,
        "lens": told("lens", None),
        "focal_length_mm": told("focal_length_mm"),
        "f_number": told("f_number"),
        "exposure_time_s": told("exposure_time_s"),
        "iso": told("iso"),
        "flash": told("flash", None),
        "sensor_width_mm": sensor.width_mm,
        "sensor_height_mm": sensor.height_mm,
        "sensor_source": sensor_source,
        "focus_distance_m": NAN if is_subject else distance,
        "focus_distance_source": "unknown" if is_subject else distance_source,
        "subject_distance_m": distance if is_subject else NAN,
        "subject_distance_source": distance_source if is_subject else "unknown",
        "pixel_width": width_px or None,
        "pixel_height": height_px or None,
        "sidecar_rating": first_known([packet.rating for packet in packets] or [NAN]),
        "embedded_rating": first_known([packet.rating for packet in embedded] or [NAN]),
        "exif_rating": first_known([record.exif_rating for record in members] or [NAN]),
        "sidecar_label": first_known([packet.label for packet in packets] or [None]),
        "embedded_label": first_known([packet.label for packet in embedded] or [None]),
    }


def _upright_size(record: FileRecord) -> tuple[int, int]:
    """Width and height of the picture as seen; orientations 5 to 8 lie on their side (Exif 2.32)."""
    size = record.stored_width_px, record.stored_height_px
    return size if record.orientation < 5 else size[::-1]


def _shared_models(records: Sequence[FileRecord]) -> frozenset[str]:
    """Models that more than one serial number bears."""
    pairs = {(r.camera, r.serial) for r in records if r.camera is not None and r.serial is not None}
    return frozenset(model for model, n in Counter(model for model, _ in pairs).items() if n > 1)


def _camera_name(model: str | None, serial: str | None, shared: frozenset[str]) -> str | None:
    """Name a camera by its model, with the mark of its serial number where several share it."""
    return f"{model} {serial}" if model in shared and serial else model


def camera_entry(session: SessionFile, camera: str | None, model: str | None) -> Camera | None:
    """Find the ``[[camera]]`` entry for a camera, by its name or its model, else the one without a name."""
    for entry in session.cameras:
        if entry.name is not None and entry.name in (camera, model):
            return entry
    return next((entry for entry in session.cameras if entry.name is None), None)


def _distance(members: list[FileRecord], packets: list[XmpValues]) -> tuple[float, str]:
    for source, items in (("exif", members), ("xmp", packets)):
        for item in items:
            if not math.isnan(item.focus_distance_m):
                return item.focus_distance_m, source
    return NAN, "unknown"


def _unreadable(found: Found, records: Sequence[FileRecord], sidecars: Sequence[FileRecord]) -> list[Problem]:
    """List the files that could not be read, each with its reason."""
    listed = [
        Problem(found.shown(item), record.error, "Its sidecar, if any, still counts.", unread=True)
        for item, record in zip(found.pictures, records, strict=True)
        if record.error is not None
    ]
    listed += [
        Problem(found.shown(item), f"The sidecar cannot be read: {record.error}.", unread=True)
        for item, record in zip(found.sidecars, sidecars, strict=True)
        if record.error is not None
    ]
    return listed
