"""What is kept of a measured picture: boxes and lengths, no piece of the picture itself."""

from __future__ import annotations

import json
import zlib
from dataclasses import astuple, dataclass, fields
from typing import Any

from auditor.intake.people.blurwidth import BlurWidth
from auditor.intake.people.faces import Face, detector_version

# Raise this whenever the same picture would come to give other values.
MEASURE_NUMBER = 2


@dataclass(frozen=True, slots=True)
class MeasuredPicture:
    """One picture, measured.

    Attributes
    ----------
    error : str or None
        Why it could not be opened.
    width, height : int
        Of the picture as measured, upright [px]; 0 where it could not be opened.
    preview, resized : bool
        See :class:`auditor.intake.people.wholepicture.WholePicture`.
    faces : tuple of Face
    blurs : tuple of BlurWidth
        One for each face.
    """

    error: str | None = None
    width: int = 0
    height: int = 0
    preview: bool = False
    resized: bool = False
    faces: tuple[Face, ...] = ()
    blurs: tuple[BlurWidth, ...] = ()


def measure_version(detector: str) -> int:
    """Number that changes with the detector, its version, what is kept, and :data:`MEASURE_NUMBER`."""
    kinds = (MeasuredPicture, Face, BlurWidth)
    kept = [(field.name, str(field.type)) for kind in kinds for field in fields(kind)]
    return zlib.crc32(repr([MEASURE_NUMBER, detector, detector_version(detector), kept]).encode())


def pack(measured: MeasuredPicture) -> bytes:
    """Return a measured picture as bytes, with a check sum."""
    body = json.dumps(astuple(measured), separators=(",", ":")).encode()
    return zlib.crc32(body).to_bytes(4, "little") + body


def unpack(data: Any) -> MeasuredPicture:
    """Return the picture that was packed.

    Raises
    ------
    ValueError
        If the bytes are damaged.
    """
    if not isinstance(data, bytes) or zlib.crc32(data[4:]).to_bytes(4, "little") != data[:4]:
        raise ValueError("the check sum does not fit")
    try:
        error, width, height, preview, resized, faces, blurs = json.loads(data[4:])
        return MeasuredPicture(
            error,
            width,
            height,
            preview,
            resized,
            tuple(Face(*face) for face in faces),
            tuple(BlurWidth(*blur) for blur in blurs),
        )
    except TypeError as error:
        raise ValueError("not a measured picture") from error
