"""From grouped files to the table of facts: what the files say of each frame, nothing stated or assumed."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, Final

import pandas as pd

from auditor.errors import Problem
from auditor.frames import NUMBER, TEXT, TIME, TRUTH, WHOLE
from auditor.intake.library.collector import without_collector
from auditor.intake.library.folders import Found
from auditor.intake.library.grouping import Group
from auditor.intake.library.numbering import numbers_in_names
from auditor.intake.photofile.records import NAN, FileRecord

FULL_FRAME_MM = (36.0, 24.0)
PLAUSIBLE_DIAGONAL_MM = (4.0, 80.0)  # from phones to medium format; resized exports fall outside

# What files tell, as they tell it: times by the camera's clock, nothing stated, nothing assumed. What a file
# says of a quantity that people state too is only one of its sources (see auditor.intake.resolve).
FACT_COLUMNS: Final[dict[str, str]] = {
    "file": TEXT,
    "files": TEXT,
    "clock_time": TIME,
    "has_subseconds": TRUTH,
    "model": TEXT,
    "body": TEXT,  # the model, with the mark of its serial number where several share it
    "recorded_lens": TEXT,
    "recorded_focal_length_mm": NUMBER,
    "recorded_f_number": NUMBER,
    "exposure_time_s": NUMBER,
    "iso": NUMBER,
    "flash": TRUTH,
    "recorded_distance_m": NUMBER,  # of the focus, unless the session file says that it is the subject's
    "recorded_distance_by": TEXT,  # exif or xmp
    "crop_factor": NUMBER,
    "plane_width_mm": NUMBER,
    "plane_height_mm": NUMBER,
    "plane_pixels": NUMBER,
    "pixel_width": WHOLE,
    "pixel_height": WHOLE,
    "sidecar_rating": NUMBER,
    "embedded_rating": NUMBER,
    "exif_rating": NUMBER,
    "sidecar_label": TEXT,
    "embedded_label": TEXT,
    "name_letters": TEXT,
    "name_number": NUMBER,
}
_PLANE, _NO_PLANE = ("plane_width_mm", "plane_height_mm", "plane_pixels"), (NAN, NAN, NAN)


@dataclass(frozen=True, slots=True)
class Facts:
    """Frames as their files describe them."""

    table: pd.DataFrame  # one row a frame, the columns of FACT_COLUMNS
    paths: list[str]  # full path of the file that speaks for each frame
    folders: list[int]  # index of its folder in the walk
    problems: list[Problem]  # what could not be read comes first
    unreadable: int  # pictures that could not be read
    merged: int  # pictures that could be read and joined another one's frame


def first_known(items: Iterable[Any], name: str, default: Any = NAN) -> Any:
    """Return the first value of that name which is neither None nor NaN."""
    for item in items:
        value = getattr(item, name, None)
        if value is not None and value == value:  # NaN is not equal to itself
            return value
    return default


@without_collector()
def gather_facts(
    found: Found,
    records: Sequence[FileRecord],
    sidecars: Sequence[FileRecord],
    groups: Sequence[Group],
    doubts: Sequence[Problem] = (),
) -> Facts:
    """Build the table of facts from the groups that hold something readable."""
    columns: dict[str, list[Any]] = {}
    paths: list[str] = []
    folders: list[int] = []
    merged = 0
    problems = [*_unreadable(found, records, sidecars), *doubts]
    bodies = {(r.camera, r.serial) for r in records if r.camera is not None and r.serial is not None}
    shared = frozenset(model for model, n in Counter(model for model, _ in bodies).items() if n > 1)
    for group in groups:
        lead = group.pictures[0]
        members = [records[i] for i in group.pictures if records[i].error is None]
        packets = [sidecars[i] for i in group.sidecars if sidecars[i].error is None]
        if not members and not packets:
            continue
        merged += max(len(members) - 1, 0)
        problems += [
            Problem(found.shown(found.pictures[i]), note, "")
            for i in group.pictures
            for note in records[i].notes
        ]
        for name, value in _row(found, group, members, packets, shared).items():
            columns.setdefault(name, []).append(value)
        paths.append(found.path(found.pictures[lead]))
        folders.append(found.pictures[lead][0])
    return Facts(
        fact_table(columns),
        paths,
        folders,
        problems,
        unreadable=sum(record.error is not None for record in records),
        merged=merged,
    )


def fact_table(columns: dict[str, Any]) -> pd.DataFrame:
    """Make a table of :data:`FACT_COLUMNS`; those not given are unknown, numbers follow from the names."""
    given = {**columns, **numbers_in_names(columns.get("file", []))}
    index = range(len(given["name_number"]))
    columns = {name: pd.Series(given.get(name), index, dtype) for name, dtype in FACT_COLUMNS.items()}
    return pd.DataFrame(columns, copy=False)  # so that no column keeps the others


def _row(
    found: Found, group: Group, members: list[FileRecord], packets: list[FileRecord], shared: frozenset[str]
) -> dict[str, Any]:
    embedded = [record.xmp for record in members if record.xmp is not None]
    say = [*members, *packets, *embedded]
    first = partial(first_known, say)
    shown = found.shown(found.pictures[group.pictures[0]])
    names = [shown, *(found.shown(found.pictures[i]) for i in group.pictures[1:])]
    names += [found.shown(found.sidecars[i]) for i in group.sidecars]
    model, serial = first("camera", None), first("serial", None)
    timed = next((item for item in say if item.captured_at is not None), None)
    by_exif = first_known(members, "focus_distance_m")
    by_xmp = first_known(packets + embedded, "focus_distance_m")
    width_px, height_px = next(filter(all, map(_upright_size, members)), (0, 0))
    return {
        "file": shown,
        "files": "|".join(names),
        "clock_time": None if timed is None else timed.captured_at,
        "has_subseconds": None if timed is None else timed.has_subseconds,
        "model": model,
        "body": f"{model} {serial}" if model in shared and serial else model,
        "recorded_lens": first("lens", None),
        "recorded_focal_length_mm": first("focal_length_mm"),
        "recorded_f_number": first("f_number"),
        "exposure_time_s": first("exposure_time_s"),
        "iso": first("iso"),
        "flash": first("flash", None),
        "recorded_distance_m": by_xmp if math.isnan(by_exif) else by_exif,
        "recorded_distance_by": "exif" if by_exif == by_exif else "xmp" if by_xmp == by_xmp else None,
        "crop_factor": _crop_factor(first("focal_length_mm"), first("focal_length_35mm")),
        **dict(zip(_PLANE, next(filter(None, map(_by_plane, members)), _NO_PLANE), strict=True)),
        "pixel_width": width_px or None,
        "pixel_height": height_px or None,
        "sidecar_rating": first_known(packets, "rating"),
        "embedded_rating": first_known(embedded, "rating"),
        "exif_rating": first_known(members, "rating"),
        "sidecar_label": first_known(packets, "label", None),
        "embedded_label": first_known(embedded, "label", None),
    }


def _upright_size(record: FileRecord) -> tuple[int, int]:
    """Width and height of the picture as seen; orientations 5 to 8 lie on their side (Exif 2.32)."""
    size = record.stored_width_px, record.stored_height_px
    return size if record.orientation < 5 else size[::-1]


def _unreadable(found: Found, records: Sequence[FileRecord], sidecars: Sequence[FileRecord]) -> list[Problem]:
    """List the files that could not be read, each with its reason."""
    pictures = [
        Problem(found.shown(item), record.error, "Its sidecar, if any, still counts.", unread=True)
        for item, record in zip(found.pictures, records, strict=True)
        if record.error is not None
    ]
    return pictures + [
        Problem(found.shown(item), f"The sidecar cannot be read: {record.error}.", unread=True)
        for item, record in zip(found.sidecars, sidecars, strict=True)
        if record.error is not None
    ]


@lru_cache(maxsize=4096)
def _crop_factor(focal_length_mm: float, focal_length_35mm: float) -> float:
    if not (focal_length_mm > 0 and focal_length_35mm > 0):
        return NAN
    crop = focal_length_35mm / focal_length_mm
    return crop if _plausible(math.hypot(*FULL_FRAME_MM) / crop) else NAN


def _by_plane(record: FileRecord) -> tuple[float, float, float] | None:
    """Sides by the focal plane [mm], and its pixels; only where the Exif size is the picture's own."""
    width_px, height_px = record.exif_width_px, record.exif_height_px
    if not record.focal_plane_px_per_mm > 0 or not width_px or not height_px:
        return None
    if {record.stored_width_px, record.stored_height_px} not in ({0}, {width_px, height_px}):
        return None
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    sides = long_px / record.focal_plane_px_per_mm, short_px / record.focal_plane_px_per_mm
    return (*sides, float(width_px * height_px)) if _plausible(math.hypot(*sides)) else None


def _plausible(diagonal_mm: float) -> bool:
    low, high = PLAUSIBLE_DIAGONAL_MM
    return low <= diagonal_mm <= high
