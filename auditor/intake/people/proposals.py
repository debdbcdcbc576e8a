"""Proposals for whoever measures a frame by hand: where a face begins and ends, and what distance that tells.

They are shown to be looked at, and a person's own word wins.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.intake.library.reading import Progress
from auditor.intake.people.filling import measure_frames, placed_faces
from auditor.intake.people.subject import choose_subjects
from auditor.settings import Request


@dataclass(frozen=True, slots=True)
class Proposal:
    """A measure read from a picture by itself, shown as handles when the frame's turn comes."""

    measure: str  # a key of the measures, such as ``face``
    ends: tuple[tuple[float, float], tuple[float, float]]  # (x, y), shares from the top left
    distance_m: float  # from the sensor plane
    rel_sd: float


def propose_faces(
    table: pd.DataFrame,
    paths: Sequence[str],
    rows: Sequence[int],
    request: Request,
    progress: Progress | None = None,
) -> dict[int, list[Proposal]]:
    """Propose the face that is most likely the subject, from nose root to chin, where a row shows one."""
    pictures, _ = measure_frames(table, paths, rows, request, progress)
    faces = placed_faces(table, pictures, np.asarray(rows, dtype="intp"))
    proposals: dict[int, list[Proposal]] = {}
    for face in choose_subjects(faces).itertuples():
        if not math.isnan(face.distance_m):
            across, down = face.picture_width, face.picture_height
            ends = (face.nose_x / across, face.nose_y / down), (face.chin_x / across, face.chin_y / down)
            proposals[face.frame] = [Proposal("face", ends, face.distance_m, face.distance_rel_sd)]
    return proposals
