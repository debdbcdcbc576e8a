"""Tell by its content what kind of picture a file is, and collect Exif, XMP and pixel size in one pass."""

import hashlib
from collections.abc import Callable

from auditor.intake.photofile import chunks
from auditor.intake.photofile.bmff import walk_bmff
from auditor.intake.photofile.contents import Contents
from auditor.intake.photofile.window import ByteRange, ReadLimitError, Window

# A raw type that carries its Exif in a whole JPEG: known by its first 15 bytes, big-endian JPEG offset at 84.
_RAW_WITH_JPEG = bytes.fromhex("cd8cb19a5dc12d1807280a8cbc980172")
_JPEG_OFFSET_AT = 84
DAMAGED = "the file is damaged: its header tells nothing of a picture"
UNKNOWN = "not a picture this reader knows"
_BIG_TIFF = (b"II\x2b\x00", b"MM\x00\x2b")
Walk = Callable[[Window, Contents], bool | None]


class UnreadableError(Exception):
    """The file gives nothing; the message says why, to a person."""


def collect_contents(window: Window) -> Contents:
    """Collect what the readers need; UnreadableError if it is no known picture, or nothing was found."""
    container, walk = _recognise(window.read(0, 16))
    found = Contents(container)
    try:
        if walk(window, found) is False:
            raise UnreadableError(UNKNOWN)
    except ReadLimitError:
        found.notes.append("the file asks for too much reading: reading stopped")
    if found.tiff is None and not found.packet and not found.width:
        raise UnreadableError(DAMAGED)
    if found.container == "raw-jpeg":
        found.width = found.height = 0  # the frame header is that of a preview
    return found


def _recognise(head: bytes) -> tuple[str, Walk]:
    if head.startswith(chunks.JPEG_SIGNATURE):
        return "jpeg", chunks.walk_jpeg
    if head.startswith(chunks.PNG_SIGNATURE):
        return "png", chunks.walk_png
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp", chunks.walk_webp
    if head[4:8] == b"ftyp":
        return "bmff", walk_bmff
    if head[:4] in _BIG_TIFF:
        raise UnreadableError("a TIFF with 64-bit offsets, which this reader does not open")
    if head[:2] in (b"II", b"MM"):  # raw types of this family have other numbers in bytes 2 and 3
        return "tiff", _take_whole
    if hashlib.blake2s(head[:15], digest_size=16).digest() == _RAW_WITH_JPEG:
        return "raw-jpeg", _walk_inner_jpeg
    raise UnreadableError(UNKNOWN if head else "the file is empty")


def _take_whole(window: Window, found: Contents) -> None:
    found.tiff, found.tiff_is_picture = ByteRange(window, 0, window.size), True


def _walk_inner_jpeg(window: Window, found: Contents) -> None:
    start = int.from_bytes(window.read(_JPEG_OFFSET_AT, 4), "big")
    if window.read(start, 3) == chunks.JPEG_SIGNATURE:
        chunks.walk_jpeg(window, found, start)
