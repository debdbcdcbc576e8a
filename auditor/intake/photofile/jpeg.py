"""Walk the marker segments of a JPEG (ITU-T T.81, annex B; Exif and XMP in APP1)."""

from __future__ import annotations

from auditor.intake.photofile.contents import Contents
from auditor.intake.photofile.window import ByteRange, Window

SIGNATURE = b"\xff\xd8\xff"
MAX_SEGMENTS = 5_000
MAX_GARBAGE_BYTES = 4_096  # searched for the next marker where one should have been

_XMP = b"http://ns.adobe.com/xap/1.0/\x00"
_APP1, _SOS, _EOI = 0xE1, 0xDA, 0xD9
_WITHOUT_LENGTH = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def walk_jpeg(window: Window, found: Contents, start: int = 0) -> None:
    """Collect Exif, XMP and the frame header's pixel size of the JPEG that begins at `start`."""
    at = start + 2
    for _ in range(MAX_SEGMENTS):
        head = window.read(at, 4)
        if len(head) < 2:
            break
        if head[0] != 0xFF:
            skipped = window.read(at, MAX_GARBAGE_BYTES).find(b"\xff")
            if skipped < 0:
                found.notes.append("the JPEG header is damaged")
                break
            at += skipped
            continue
        marker = head[1]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker in _WITHOUT_LENGTH:
            at += 2
            continue
        if marker in (_SOS, _EOI) or len(head) < 4:
            break
        length = (head[2] << 8) | head[3]
        if marker == _APP1:
            _take_app1(window, at + 4, length - 2, found)
        elif marker in _FRAME_HEADERS and not found.width:
            size = window.read(at + 5, 4)
            found.height, found.width = int.from_bytes(size[:2], "big"), int.from_bytes(size[2:], "big")
        at += 2 + max(length, 2)
    else:
        found.notes.append("the JPEG header has too many segments: reading stopped")


def _take_app1(window: Window, at: int, length: int, found: Contents) -> None:
    name = window.read(at, min(length, len(_XMP)))
    if name.startswith(b"Exif\x00"):
        found.take_tiff(ByteRange(window, at, length))
    elif name == _XMP:
        found.take_packet(window.read(at + len(_XMP), length - len(_XMP)))
