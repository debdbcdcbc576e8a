"""Measures that pictures suggest, as the sheet shows them: handles for a person to check."""

from __future__ import annotations

import math
from typing import Any

from auditor.intake.archive import Archive
from auditor.intake.library.reading import Progress
from auditor.intake.people.proposals import propose_measures
from auditor.settings import Request


def propose_faces(
    archive: Archive, rows: list[int], request: Request, progress: Progress | None = None
) -> dict[int, list[dict[str, Any]]]:
    """Propose the face that is most likely the subject, from nose root to chin, for each row that shows one.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    size = archive.table[["pixel_width", "pixel_height"]].astype(float)
    proposals = {}
    proposed = propose_measures(archive.table, archive.paths, rows, request, progress)
    for row, told in zip(rows, proposed, strict=True):
        if told is not None and not math.isnan(told.distance_m):
            width, height = size.iloc[row]
            # the measure counts both ways in heights, the sheet in shares of width and height
            ends = [[x * height / width, y] for x, y in told.ends]
            one = {"measure": "face", "ends": ends, "distance_m": told.distance_m, "rel_sd": told.rel_sd}
            proposals[row] = [one]
    return proposals
