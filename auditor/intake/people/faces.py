"""A face in a picture: where it is and how long. Nothing else of a face leaves a detector."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

_OVERLAP = 0.3


@dataclass(frozen=True, slots=True)
class Box:
    """A place where a face may be; pixels of the picture as seen upright."""

    left: float
    top: float
    width: float
    height: float
    score: float  # how sure the detector is, 0 to 1


@dataclass(frozen=True, slots=True)
class Face(Box):
    """A face in a picture; lengths and places in pixels, as of its box."""

    face_px: float  # from chin point to nose root (menton to sellion)
    spread: float  # how far two readings of that length lie apart, relative: hats and turned heads show in it
    # nose_x, nose_y: the nose root, between the eyes
    nose_x: float
    nose_y: float
    # chin_x, chin_y: the chin point, `face_px` away from it
    chin_x: float
    chin_y: float


AnyBox = TypeVar("AnyBox", bound=Box)


def without_doubles(faces: list[AnyBox]) -> list[AnyBox]:
    """Keep the surest of boxes that overlap."""
    kept: list[AnyBox] = []
    for face in sorted(faces, key=lambda face: -face.score):
        if all(overlap(face, other) < _OVERLAP for other in kept):
            kept.append(face)
    return kept


def overlap(a: Box, b: Box) -> float:
    """Part of the smaller box that lies in the other one."""
    wide = min(a.left + a.width, b.left + b.width) - max(a.left, b.left)
    high = min(a.top + a.height, b.top + b.height) - max(a.top, b.top)
    if wide <= 0 or high <= 0:
        return 0.0
    return wide * high / min(a.width * a.height, b.width * b.height)
