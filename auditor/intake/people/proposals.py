"""Proposals for whoever measures a frame by hand: where a face begins and ends, and what distance that tells.

They are shown to be looked at, and a person's own word wins.
"""

from __future__ import annotations

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
    """One measure that a picture suggests."""

    # the nose root and the chin, x and y from the upper left corner, in shares of the picture's height
    ends: tuple[tuple[float, float], tuple[float, float]]
    distance_m: float  # what it tells, from the sensor plane; NaN where it tells none
    rel_sd: float  # its relative standard deviation


def propose_measures(
    table: pd.DataFrame,
    paths: Sequence[str],
    rows: Sequence[int],
    request: Request,
    progress: Progress | None = None,
) -> list[Proposal | None]:
    """Propose one measure for each of some frames, on the face that is most likely the subject.

    Raises SettingError if no detector is installed.
    """
    measured = measure_frames(table, paths, rows, request, progress)
    faces = placed_faces(table, measured.pictures, np.asarray(rows, dtype="intp"))
    proposals: dict[int, Proposal] = {}
    for face in choose_subjects(faces).itertuples():
        height = face.picture_height
        proposals[face.frame] = Proposal(
            ((face.nose_x / height, face.nose_y / height), (face.chin_x / height, face.chin_y / height)),
            face.distance_m,
            face.distance_rel_sd,
        )
    return [proposals.get(row) for row in rows]
