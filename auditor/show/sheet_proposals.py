"""Measures read from the drawn pictures by themselves, for the sheet to show as handles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from auditor.intake.library.reading import Progress
from auditor.intake.people.filling import measure_archive
from auditor.intake.sources import Archive
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
    archive: Archive, rows: Sequence[int], request: Request, progress: Progress | None = None
) -> dict[int, list[Proposal]]:
    """Find faces in some frames' pictures, the likely subject first, as handles from nose root to chin.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    part = replace(
        archive,
        table=archive.table.iloc[list(rows)].reset_index(drop=True),
        paths=[archive.paths[row] for row in rows],
    )
    faces = measure_archive(part, request, progress).faces
    faces = faces[faces["distance_m"].notna()].sort_values("is_subject", ascending=False, kind="stable")
    proposals: dict[int, list[Proposal]] = {}
    for face in faces.itertuples():
        x = (face.left + face.width / 2) / face.picture_width
        chin, root = face.top + face.height, face.top + face.height - face.face_px
        ends = (x, root / face.picture_height), (x, chin / face.picture_height)
        told = Proposal("face", ends, float(face.distance_m), float(face.distance_rel_sd))
        proposals.setdefault(rows[face.frame], []).append(told)
    return proposals
