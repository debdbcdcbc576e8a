"""What is kept of a measured picture: boxes and lengths, no piece of the picture itself."""

import json
import zlib
from dataclasses import astuple, dataclass, fields, replace
from typing import Any

from auditor.intake.people.facemodel import DETECTOR, detector_version
from auditor.intake.photofile.packing import seal, unsealed

# Raise this whenever the same picture would come to give other values.
MEASURE_NUMBER = 4


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


@dataclass(frozen=True, slots=True)
class MeasuredPicture:
    """One picture, measured."""

    error: str | None = None  # why it could not be opened
    # width, height: of the picture as measured, upright [px]; 0 where it could not be opened
    width: int = 0
    height: int = 0
    # preview, resized, cut_short: see WholePicture
    preview: bool = False
    resized: bool = False
    cut_short: bool = False
    faces: tuple[Face, ...] = ()
    blurs_px: tuple[float, ...] = ()  # blur of each face [px]; NaN unknown


def measure_version() -> int:
    """Number that changes with the detector, what runs it, what is kept, and :data:`MEASURE_NUMBER`."""
    kinds = (MeasuredPicture, Face)
    kept = [(field.name, str(field.type)) for kind in kinds for field in fields(kind)]
    return zlib.crc32(repr([MEASURE_NUMBER, DETECTOR, detector_version(), kept]).encode())


def pack_picture(measured: MeasuredPicture) -> bytes:
    """Return a measured picture as bytes, with a check sum."""
    return seal(astuple(measured))


def unpack_picture(data: Any) -> MeasuredPicture:
    """Return the picture that was packed; raises ValueError if the bytes are damaged."""
    (packed,) = unsealed(data)
    try:
        values: Any = json.loads(packed)
        measured = MeasuredPicture(*values)
        return replace(measured, faces=tuple(Face(*face) for face in values[-2]), blurs_px=tuple(values[-1]))
    except (TypeError, IndexError) as error:
        raise ValueError("not a measured picture") from error
