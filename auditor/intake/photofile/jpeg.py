"""Walk the marker segments of a JPEG (ITU-T T.81, annex B; Exif and XMP in APP1)."""

from __future__ import annotations

from auditor.intake.photofile.contents import MAX_PACKET_BYTES, Contents, tiff_start
from auditor.intake.photofile.window import ByteRange, Window

SIGNATURE = b"\xff\xd8\xff"
MAX_SEGMENTS = 5_000
MAX_GARBAGE_BYTES = 4_096  # searched for the next marker where one should have been

_XMP = b"http://ns.adobe.com/xap/1.0/\x00"
_MORE_XMP = b"http://ns.adobe.com/xmp/extension/\x00"
_GUID_BYTES = 32
_APP1, _SOS, _EOI = 0xE1, 0xDA, 0xD9
_WITHOUT_LENGTH = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def walk_jpeg(window: Window, found: Contents, start: int = 0) -> None:
    """Collect Exif, XMP and the frame header's pixel size of the JPEG that begins at `start`."""
    pieces: dict[bytes, dict[int, bytes]] = {}
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
            _take_app1(window, at + 4, length - 2, found, pieces)
        elif marker in _FRAME_HEADERS and not found.width:
            size = window.read(at + 5, 4)
            found.height, found.width = int.from_bytes(size[:2], "big"), int.from_bytes(size[2:], "big")
        at += 2 + max(length, 2)
    else:
        found.notes.append("the JPEG header has too many segments: reading stopped")
    if pieces:
        _join_extended(pieces, found)


def _take_app1(
    window: Window, at: int, length: int, found: Contents, pieces: dict[bytes, dict[int, bytes]]
) -> None:
    name = window.read(at, min(length, 35))
    if name.startswith(b"Exif\x00"):
        header = tiff_start(window.read(at, min(length, 32)))
        if header is None:
            found.notes.append("the Exif block has no TIFF header and was not read")
        elif found.tiff is None:
            found.tiff = ByteRange(window, at + header, length - header)
        else:
            found.notes.append("Exif is present twice: the first block counts")
    elif name.startswith(_XMP):
        found.take_packet(window.read(at + len(_XMP), length - len(_XMP)))
    elif name == _MORE_XMP:
        data = window.read(at + len(_MORE_XMP), length - len(_MORE_XMP))
        guid, offset = data[:_GUID_BYTES], int.from_bytes(data[36:40], "big")
        pieces.setdefault(guid, {})[offset] = data[40:]


def _join_extended(pieces: dict[bytes, dict[int, bytes]], found: Contents) -> None:
    """Put the parts of an extended packet together, where the main packet names it (XMP part 3, 1.1.3.1)."""
    for guid, parts in pieces.items():
        if not (found.packets and guid in found.packets[0]):
            continue
        if sum(map(len, parts.values())) > MAX_PACKET_BYTES:
            found.notes.append("the extended XMP packet is too large and was not read")
        else:
            found.packets.append(b"".join(part for _, part in sorted(parts.items())))
