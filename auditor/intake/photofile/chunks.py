"""Walk the chunks of PNG (ISO/IEC 15948) and WebP (RFC 9649) files."""

from __future__ import annotations

import zlib

from auditor.intake.photofile.contents import MAX_PACKET_BYTES, Contents
from auditor.intake.photofile.window import ByteRange, Window

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
MAX_CHUNKS = 15_000
MAX_TEXTS = 10  # text chunks that are looked at; each may inflate to megabytes

_XMP_KEYWORD = b"XML:com.adobe.xmp"


def walk_png(window: Window, found: Contents) -> None:
    """Collect eXIf, the XMP text chunk and the size of a PNG."""
    at = len(PNG_SIGNATURE)
    texts = 0
    for _ in range(MAX_CHUNKS):
        head = window.read(at, 8)
        if len(head) < 8 or head[4:] == b"IEND":
            break
        length, kind = int.from_bytes(head[:4], "big"), head[4:]
        if kind == b"IHDR":
            size = window.read(at + 8, 8)
            found.width, found.height = int.from_bytes(size[:4], "big"), int.from_bytes(size[4:], "big")
        elif kind in (b"eXIf", b"iTXt"):
            texts += 1
            if length > MAX_PACKET_BYTES or texts > MAX_TEXTS:
                found.notes.append("text or Exif chunks that are too large or too many were not read")
            else:
                _take_png_chunk(kind, window.read(at + 8, length), found)
        at += 12 + length
    else:
        found.notes.append("the PNG has too many chunks: reading stopped")


def _take_png_chunk(kind: bytes, data: bytes, found: Contents) -> None:
    if kind == b"eXIf":
        found.take_tiff(ByteRange.of_bytes(data))
        return
    keyword, _, rest = data.partition(b"\x00")
    if keyword == _XMP_KEYWORD:
        is_compressed = rest[:1] == b"\x01"
        text = rest[2:].split(b"\x00", 2)[-1]  # after language tag and translated keyword
        found.take_packet(_inflate(text) if is_compressed else text)


def _inflate(data: bytes) -> bytes:
    """Inflate, but never beyond the largest packet that is read."""
    try:
        return zlib.decompressobj().decompress(data, MAX_PACKET_BYTES)
    except zlib.error:
        return b""


def walk_webp(window: Window, found: Contents) -> None:
    """Collect the EXIF and XMP chunks and the canvas or frame size of a WebP."""
    at = 12
    for _ in range(MAX_CHUNKS):
        head = window.read(at, 8)
        if len(head) < 8:
            break
        kind, length = head[:4], int.from_bytes(head[4:], "little")
        if kind in (b"VP8X", b"VP8 ", b"VP8L") and not found.width:
            found.width, found.height = _webp_size(kind, window.read(at + 8, 10))
        elif kind in (b"EXIF", b"XMP "):
            if length > MAX_PACKET_BYTES:
                found.notes.append("a metadata chunk is too large and was not read")
            elif kind == b"EXIF":
                found.take_tiff(ByteRange(window, at + 8, length))
            else:
                found.take_packet(window.read(at + 8, length))
        at += 8 + length + (length & 1)
    else:
        found.notes.append("the WebP has too many chunks: reading stopped")


def _webp_size(kind: bytes, data: bytes) -> tuple[int, int]:
    if len(data) < 10:
        return 0, 0
    if kind == b"VP8X":  # canvas, 24 bits each, less one
        return int.from_bytes(data[4:7], "little") + 1, int.from_bytes(data[7:10], "little") + 1
    if kind == b"VP8L":  # 14 bits each, less one, after the signature byte
        bits = int.from_bytes(data[1:5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    return int.from_bytes(data[6:8], "little") & 0x3FFF, int.from_bytes(data[8:10], "little") & 0x3FFF
