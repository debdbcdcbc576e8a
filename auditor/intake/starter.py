"""A starter session file and starter notes: what was found, laid out for a person to fill in."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.frames import captured_s
from auditor.intake.tables import neutralised

BLOCK_GAP_S = 10 * 60.0  # a pause long enough to have changed the ring
NOTES_COLUMNS = ("file", "keeper", "subject_distance", "reason")


@dataclass(frozen=True, slots=True)
class Block:
    """A run of frames of one camera without a pause of ten minutes.

    Attributes
    ----------
    camera : str or None
    starts_at, ends_at : pandas.Timestamp
    first : str
        Name of its first frame, unique in the archive: the stem, or the path where stems repeat.
    frames : int
    complete : bool
        Whether most of its frames say focal length, f-number and focus distance themselves.
    """

    camera: str | None
    starts_at: pd.Timestamp
    ends_at: pd.Timestamp
    first: str
    frames: int
    complete: bool


def find_blocks(table: pd.DataFrame) -> list[Block]:
    """Find the blocks of time in each camera's frames, in order of time."""
    times = captured_s(table)
    names = frame_labels(table)
    known = table[["focal_length_mm", "f_number", "focus_distance_m"]].notna().all(axis=1)
    blocks: list[Block] = []
    timed = np.flatnonzero(~np.isnan(times))
    for camera, rows in pd.Series(timed).groupby(table["camera"].fillna("").to_numpy()[timed], sort=False):
        order = rows.to_numpy()[np.lexsort((names.to_numpy(str)[rows], times[rows]))]
        starts = np.flatnonzero(np.diff(times[order], prepend=-np.inf) > BLOCK_GAP_S)
        blocks += [
            Block(
                camera=str(camera) or None,
                starts_at=table["captured_at"].iloc[part[0]],
                ends_at=table["captured_at"].iloc[part[-1]],
                first=str(names.iloc[part[0]]),
                frames=len(part),
                complete=bool(known.iloc[part].mean() > 0.5),
            )
            for part in np.split(order, starts[1:])
        ]
    return sorted(blocks, key=lambda block: (block.starts_at, block.camera or ""))


def frame_labels(table: pd.DataFrame) -> pd.Series:
    """Name for each frame that finds it alone: its stem, else its path from the source."""
    stems = table["file"].str.rsplit("/", n=1).str[-1].str.rsplit(".", n=1).str[0]
    repeated = stems.str.casefold().duplicated(keep=False)
    paths = table["file"].where(table["file"].str.contains("/", regex=False), "./" + table["file"])
    return stems.where(~repeated, paths)


def starter_session(blocks: list[Block]) -> str:
    """Write a session file with the blocks as stretches to fill in; it can be read back as it is."""
    silent = [block for block in blocks if not block.complete]
    lines = [
        "# Distances count from the sensor plane, as engraved on rings. Times are camera time.",
        "# 1. Say what was on the lens: one [[preset]] for each setting you used.",
        "# 2. Give each [[stretch]] below its preset. Where the ring was moved in between, add one that",
        "#    begins with the first frame of the new setting.",
        "",
        "# [[lens]]",
        '# name = "my 28"',
        '# focal_length = "28mm"',
        "# f_stops = [2.8, 4, 5.6, 8, 11, 16]",
        '# ring = ["0.7m", "1m", "1.2m", "1.5m", "2m", "3m", "5m", "inf"]',
        "",
    ]
    for camera in dict.fromkeys(block.camera for block in blocks if block.camera):
        lines += [
            "[[camera]]",
            f"name = {_quoted(camera)}",
            '# sensor = "36x24"         # mm, or "1.5x"',
            '# clock_offset = "-1h"     # added to this camera\'s clock',
            "",
        ]
    if silent:
        lines += [
            "[[preset]]",
            'name = "first setting"',
            '# focal_length = "28mm"    # or lens = "my 28"',
            "# f_number = 8",
            '# focus_distance = "2.5m"',
            "",
        ]
    for block in blocks:
        span = f"{block.starts_at:%Y-%m-%d %H:%M} to {block.ends_at:%H:%M}, {block.frames} frames"
        if block.complete:
            lines += [f"# {span}, from {_comment(block.first)}: these files name their own settings.", ""]
            continue
        lines += [
            f"[[stretch]]    # {span}",
            'preset = "first setting"',
            f"from = {_quoted(block.first)}",
        ]
        if block.camera:
            lines.append(f"camera = {_quoted(block.camera)}")
        lines.append("")
    lines += [
        "[marks]",
        '# keepers = "selects"        # a folder of selects, relative to this file',
        "# min_rating = 1             # xmp:Rating at or above is a keeper",
        '# culled_to = "..."          # the last frame you looked at while choosing',
        "",
    ]
    return "\n".join(lines)


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are all valid there."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def starter_notes(table: pd.DataFrame) -> str:
    """Write notes with one empty row for each frame."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(NOTES_COLUMNS)
    writer.writerows([neutralised(file), *[""] * (len(NOTES_COLUMNS) - 1)] for file in frame_labels(table))
    return out.getvalue()
