"""Walk the segments of JPEG (ITU-T T.81, annex B; Exif and XMP in APP1), and the chunks of PNG and WebP.

PNG is ISO/IEC 15948, WebP RFC 9649.
"""

import re
import zlib

from auditor.intake.photofile.contents import MAX_PACKET_BYTES, Contents
from auditor.intake.photofile.window import ByteRange, Window

JPEG_SIGNATURE = b"\xff\xd8\xff"
MAX_SEGMENTS = 5_000
MAX_GARBAGE_BYTES = 4_096  # searched for the next marker where one should have been
CUT_SHORT = "the picture is cut short: copy it anew if you can; what it says of itself still counts"
TAILS_BYTES, FEWEST_STUFFED = (2_048, 32_768), 3  # of the end, until it shows what it is

_XMP_NAME = b"http://ns.adobe.com/xap/1.0/\x00"
_APP1, _SOS, _EOI = 0xE1, 0xDA, 0xD9
_WITHOUT_LENGTH = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_STUFFED, _MARKER = re.compile(rb"\xff[\x00\xd0-\xd7]"), re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
MAX_CHUNKS = 15_000
MAX_TEXTS = 10  # text chunks that are looked at; each may inflate to megabytes

_XMP_KEYWORD = b"XML:com.adobe.xmp"


def walk_jpeg(window: Window, found: Contents, start: int = 0) -> None:
    """Collect Exif, XMP and the frame header's pixel size of the JPEG that begins at `start`."""
    at = start + 2
    for _ in range(MAX_SEGMENTS):
        head = window.read(at, 4)
        if len(head) < 2:
            found.notes.append(CUT_SHORT)
            break
        if head[0] != 0xFF:
            skipped = window.read(at, MAX_GARBAGE_BYTES).find(b"\xff")
            if skipped < 0:
                found.notes.append("the JPEG header is damaged")
                break
            at += skipped
            continue
        marker, length = head[1], int.from_bytes(head[2:], "big")
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker in _WITHOUT_LENGTH:
            at += 2
            continue
        if marker in (_SOS, _EOI) or len(head) < 4:
            if marker != _EOI and (len(head) < 4 or (not start and _ends_in_scan(window, at + 2 + length))):
                found.notes.append(CUT_SHORT)
            break
        if marker == _APP1:
            _take_app1(window, at + 4, length - 2, found)
        elif marker in _FRAME_HEADERS and not found.width:
            size = window.read(at + 5, 4)
            found.height, found.width = int.from_bytes(size[:2], "big"), int.from_bytes(size[2:], "big")
        at += 2 + max(length, 2)
    else:
        found.notes.append("the JPEG header has too many segments: reading stopped")


def _ends_in_scan(window: Window, scan: int) -> bool:
    """Whether a file ends within the picture data that begin at `scan`.

    There 0xFF is followed by zero or a restart marker (T.81, B.1.1.5); in whatever cameras write behind the
    end marker it is not, so the last bytes tell; where they are all there are, no marker is enough. Of zeros,
    or of too few bytes of many, nobody knows.
    """
    for reach in TAILS_BYTES:
        tail = window.read(max(scan, window.size - reach), reach)
        if tail.endswith(b"\xff\xd9") or _MARKER.search(tail):
            return False
        all_of_it = window.size - reach <= scan and tail.count(0) < max(len(tail), 1)
        if all_of_it or len(_STUFFED.findall(tail)) >= FEWEST_STUFFED:
            return True
    return False


def _take_app1(window: Window, at: int, length: int, found: Contents) -> None:
    name = window.read(at, min(length, len(_XMP_NAME)))
    if name.startswith(b"Exif\x00"):
        found.take_tiff(ByteRange(window, at, length))
    elif name == _XMP_NAME:
        found.take_packet(window.read(at + len(_XMP_NAME), length - len(_XMP_NAME)))


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
