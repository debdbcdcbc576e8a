"""Proposals for whoever measures a frame by hand: where a face begins and ends, and what distance that tells.

They are shown to be looked at, and a person's own word wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from auditor.intake.library.reading import Progress
from auditor.intake.people.filling import measure_frames, placed_faces
from auditor.intake.people.subject import choose_subjects
from auditor.intake.sources import Archive
from auditor.settings import Request

NOSE_CHIN: Final = "nose-chin"


@dataclass(frozen=True, slots=True)
class Proposal:
    """One measure that a picture suggests.

    Attributes
    ----------
    kind : str
        What runs between the ends: :data:`NOSE_CHIN`, from nose root to chin point.
    ends : tuple of (float, float)
        The nose root and the chin, x and y from the upper left corner; shares of the picture's height both.
    box : tuple of float
        Left, top, width and height of the face, in the same shares.
    distance_m, rel_sd : float
        What it tells, from the sensor plane, and its relative standard deviation; NaN where it tells none.
    """

    kind: str
    ends: tuple[tuple[float, float], tuple[float, float]]
    box: tuple[float, float, float, float]
    distance_m: float
    rel_sd: float


def propose_measures(
    archive: Archive, rows: Sequence[int], request: Request, progress: Progress | None = None
) -> list[Proposal | None]:
    """Propose one measure for each of some frames, on the face that is most likely the subject.

    Parameters
    ----------
    archive : Archive
        Left as it is.
    rows : sequence of int
    request : Request
        ``cache`` and ``workers``.
    progress : callable, optional

    Returns
    -------
    list of Proposal or None
        One for each row; None where no face was found.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    measured = measure_frames(archive, rows, request, progress)
    faces = placed_faces(archive.table, measured.pictures, np.asarray(rows, dtype="intp"))
    proposals: dict[int, Proposal] = {}
    for face in choose_subjects(faces).itertuples():
        height = face.picture_height
        proposals[face.frame] = Proposal(
            NOSE_CHIN,
            ((face.nose_x / height, face.nose_y / height), (face.chin_x / height, face.chin_y / height)),
            (face.left / height, face.top / height, face.width / height, face.height / height),
            face.distance_m,
            face.distance_rel_sd,
        )
    return [proposals.get(row) for row in rows]
