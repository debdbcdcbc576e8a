"""What is kept of a measured picture: boxes and lengths, no piece of the picture itself."""

from __future__ import annotations

import json
import zlib
from dataclasses import astuple, dataclass, fields, replace
from typing import Any

from auditor.intake.people.faces import Face
from auditor.intake.people.installed import DETECTOR, detector_version

# Raise this whenever the same picture would come to give other values.
MEASURE_NUMBER = 3


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


def pack(measured: MeasuredPicture) -> bytes:
    """Return a measured picture as bytes, with a check sum."""
    body = json.dumps(astuple(measured), separators=(",", ":")).encode()
    return zlib.crc32(body).to_bytes(4, "little") + body


def unpack(data: Any) -> MeasuredPicture:
    """Return the picture that was packed.

    Raises ValueError if the bytes are damaged.
    """
    if not isinstance(data, bytes) or zlib.crc32(data[4:]).to_bytes(4, "little") != data[:4]:
        raise ValueError("the check sum does not fit")
    try:
        told: list[Any] = json.loads(data[4:])
        *of_picture, faces, blurs_px = told
        measured = MeasuredPicture(*of_picture)
        return replace(measured, faces=tuple(Face(*face) for face in faces), blurs_px=tuple(blurs_px))
    except TypeError as error:
        raise ValueError("not a measured picture") from error
