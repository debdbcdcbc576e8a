"""What the page shows of single frames: a line of words each, a link, and for some a thumbnail."""

import base64
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pandas as pd

from auditor.frames import KEEPER, NOT_KEPT
from auditor.journey import Audit
from auditor.show.decided import ring_units
from auditor.show.page.model import LensView
from auditor.show.words import walk
from auditor.show.words.figures import exposure
from auditor.text import printable
from auditor.units import format_distance, format_f_number

MOST_THUMBNAILS = 300
MOST_FRAMES = 4000  # whose words the page holds; of larger archives the bars open these


def rows_shown(views: Sequence[LensView], audit: Audit) -> list[int]:
    """Rows of the frames that the page speaks of, those most likely to be looked at first."""
    chips = sorted((chip for view in views for chip in view.chips), key=lambda chip: not chip.now)
    drawn = [row for chip in chips for mark in chip.marks for row in mark.rows]
    return list(dict.fromkeys(rows_of_walk(audit) + drawn))[:MOST_FRAMES]


def rows_of_walk(audit: Audit) -> list[int]:
    """Rows of the frames that are shown with the walk."""
    return [row for row, _ in walk.frames(audit.diary, audit.table["file"])] if audit.diary else []


def held_once(lines: Mapping[str, list[str]], audit: Audit) -> dict[str, list[str]]:
    """For the page's script: thumbnails that stand with the walk are named by their place there."""
    at = {str(row): f"#look-{row}" for row in rows_of_walk(audit)}
    return {row: [*line[:2], line[2] and at.get(row, line[2]), *line[3:]] for row, line in lines.items()}


def frame_lines(
    audit: Audit, rows: Iterable[int], folder: Path | None, pictures: Mapping[int, bytes]
) -> dict[str, list[str]]:
    """Write what the page's script shows of each frame, by row; thumbnails in base64, empty for none."""
    table, out, chosen, rings = audit.table, {}, list(rows), ring_units(audit)
    columns = [
        "file", "subject_distance_m", "f_number", "focus_distance_m", "exposure_time_s", "iso", "counted_as",
        "keeper", "reason", "sharp", "preset",
    ]  # fmt: skip
    for row, frame in zip(chosen, table.loc[chosen, columns].to_dict("records"), strict=True):
        set_to = f"{format_f_number(frame['f_number'])}, ring on "
        out[str(row)] = [
            printable(str(frame["file"])),
            link_to(audit, row, folder) or "",
            base64.b64encode(pictures[row]).decode() if row in pictures else "",
            *(format_distance(frame["subject_distance_m"], units) for units in ("m", "ft")),
            set_to
            + format_distance(frame["focus_distance_m"], rings.get(frame["preset"], audit.settings.units)),
            exposure(frame["exposure_time_s"], frame["iso"]),
            _verdict(frame),
        ]
    return out


def _verdict(frame: Mapping[str, Any]) -> str:
    stated = {"yes": "kept, not counted", "no": "not kept, not counted"}.get(frame["keeper"], "not marked")
    mark = {KEEPER: "kept", NOT_KEPT: "not kept"}.get(frame["counted_as"], stated)
    sharp = {"yes": "sharp", "no": "soft"}.get(frame["sharp"], "")
    reason = frame["reason"] if isinstance(frame["reason"], str) and not pd.isna(frame["reason"]) else ""
    return ", ".join(part for part in (mark, sharp, f"“{printable(reason)}”" if reason else "") if part)


def link_to(audit: Audit, row: int, folder: Path | None) -> str | None:
    """Write the address of a frame's file, relative to the page's folder; None where there is no such way."""
    path = os.path.abspath(audit.paths[row])
    return None if folder is None or not os.path.exists(path) else relative_link(folder, path)


def relative_link(folder: Path, path: str) -> str | None:
    """Write the address of a file relative to a folder, every odd sign encoded; None on another drive."""
    try:
        relative = os.path.relpath(os.path.abspath(path), os.path.abspath(folder))
    except ValueError:
        return None
    return quote(os.fsencode(relative.replace(os.sep, "/")))
