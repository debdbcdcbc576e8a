"""Measures that pictures suggest, as the sheet shows them: handles for a person to check."""

from __future__ import annotations

import math
from dataclasses import dataclass

from auditor.intake.archive import Archive
from auditor.intake.library.reading import Progress
from auditor.intake.people.proposals import propose_measures
from auditor.settings import Request


@dataclass(frozen=True, slots=True)
class Proposal:
    """A measure read from a picture by itself, shown as handles when the frame's turn comes."""

    measure: str  # a key of the measures, such as ``face``
    ends: tuple[tuple[float, float], tuple[float, float]]  # (x, y), shares from the top left
    distance_m: float
    rel_sd: float


def propose_faces(
    archive: Archive, rows: list[int], request: Request, progress: Progress | None = None
) -> dict[int, list[Proposal]]:
    """Propose the face that is most likely the subject, from nose root to chin, for each row that shows one.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    size = archive.table[["pixel_width", "pixel_height"]].astype(float)
    proposals: dict[int, list[Proposal]] = {}
    proposed = propose_measures(archive.table, archive.paths, rows, request, progress)
    for row, told in zip(rows, proposed, strict=True):
        if told is not None and not math.isnan(told.distance_m):
            width, height = size.iloc[row]
            # the measure counts both ways in heights, the sheet in width and height
            nose, chin = ((x * height / width, y) for x, y in told.ends)
            proposals[row] = [Proposal("face", (nose, chin), told.distance_m, told.rel_sd)]
    return proposals
