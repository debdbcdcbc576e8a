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
        if told is None or math.isnan(told.distance_m):
            continue
        width, height = size.iloc[
            row
        ]  # the measure counts both ways in heights, the sheet in width and height
        (nose_x, nose_y), (chin_x, chin_y) = told.ends
        ends = ((nose_x * height / width, nose_y), (chin_x * height / width, chin_y))
        proposals[row] = [Proposal("face", ends, told.distance_m, told.rel_sd)]
    return proposals
