"""Tell by its content what kind of picture a file is, and collect Exif, XMP and pixel size in one pass."""

from __future__ import annotations

import hashlib

from auditor.intake.photofile import bmff, chunks, jpeg
from auditor.intake.photofile.contents import Contents
from auditor.intake.photofile.window import ByteRange, ReadLimitError, Window

# A raw type that carries its Exif in a whole JPEG: known by its first 15 bytes, big-endian JPEG offset at 84.
_RAW_WITH_JPEG = bytes.fromhex("cd8cb19a5dc12d1807280a8cbc980172")
_JPEG_OFFSET_AT = 84
DAMAGED = "the file is damaged: its header tells nothing of a picture"
_BIG_TIFF = (b"II\x2b\x00", b"MM\x00\x2b")


class UnreadableError(Exception):
    """The file gives nothing; the message says why, to a person."""


def collect_contents(window: Window) -> Contents:
    """Collect what the readers need from an open file.

    Raises UnreadableError if the content is no known picture, or so damaged that nothing was found.
    """
    found = _recognise(window.read(0, 16))
    try:
        _walk_into(window, found)
    except ReadLimitError:
        found.notes.append("the file asks for too much reading: reading stopped")
    if found.tiff is None and not found.packet and not found.width:
        raise UnreadableError(DAMAGED)
    if found.container == "raw-jpeg":
        found.width = found.height = 0  # the frame header is that of a preview
    return found


def _recognise(head: bytes) -> Contents:
    if head.startswith(jpeg.SIGNATURE):
        return Contents("jpeg")
    if head.startswith(chunks.PNG_SIGNATURE):
        return Contents("png")
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return Contents("webp")
    if head[4:8] == b"ftyp":
        return Contents("bmff")
    if head[:4] in _BIG_TIFF:
        raise UnreadableError("a TIFF with 64-bit offsets, which this reader does not open")
    if head[:2] in (b"II", b"MM"):  # raw types of this family have other numbers in bytes 2 and 3
        return Contents("tiff")
    if hashlib.blake2s(head[:15], digest_size=16).digest() == _RAW_WITH_JPEG:
        return Contents("raw-jpeg")
    raise UnreadableError("not a picture this reader knows" if head else "the file is empty")


def _walk_into(window: Window, found: Contents) -> None:
    if found.container == "jpeg":
        jpeg.walk_jpeg(window, found)
    elif found.container == "png":
        chunks.walk_png(window, found)
    elif found.container == "webp":
        chunks.walk_webp(window, found)
    elif found.container == "bmff":
        if not bmff.walk_bmff(window, found):
            raise UnreadableError("not a picture this reader knows")
    elif found.container == "tiff":
        found.tiff, found.tiff_is_picture = ByteRange(window, 0, window.size), True
    else:
        start = int.from_bytes(window.read(_JPEG_OFFSET_AT, 4), "big")
        if window.read(start, 3) == jpeg.SIGNATURE:
            jpeg.walk_jpeg(window, found, start)
