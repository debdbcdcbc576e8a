"""Read image file directories (IFD) of a TIFF block: entries, the picture's size, the XMP packet.

Layout from TIFF 6.0; type 129 is the UTF-8 text of Exif 3.0; tag 0x02BC holds XMP (XMP specification part 3).
"""

from __future__ import annotations

import struct
from typing import Literal

from auditor.intake.photofile.contents import MAX_PACKET_BYTES
from auditor.intake.photofile.window import ByteRange

Order = Literal["little", "big"]
Entry = tuple[int, int, int, bytes]  # tag, field type, count, and the value or, beyond 4 bytes, its offset

MAX_ENTRIES = 2_000
HEADER_BYTES = 8
MAX_SUB_IFDS = 8
TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 129: 1}

_SUBFILE_TYPE, _WIDTH, _HEIGHT, _COMPRESSION, _SUB_IFDS = 0x00FE, 0x0100, 0x0101, 0x0103, 0x014A
_REDUCED = 1  # bit of the subfile type: a reduced-resolution picture
_OLD_JPEG = 6  # a compression that raw types use for previews only
ENTRY: dict[Order, struct.Struct] = {"little": struct.Struct("<HHI4s"), "big": struct.Struct(">HHI4s")}


class DamagedBlockError(Exception):
    """There is no IFD where the block says it is."""


def header(block: ByteRange) -> tuple[Order, int]:
    """Return the byte order of a TIFF block and the offset of its IFD0.

    Raises DamagedBlockError if it does not begin like a TIFF block.
    """
    head = block.read(0, HEADER_BYTES)
    if len(head) < HEADER_BYTES or head[:2] not in (b"II", b"MM"):
        raise DamagedBlockError
    order: Order = "little" if head[:2] == b"II" else "big"
    return order, int.from_bytes(head[4:], order)


def read_ifd(block: ByteRange, order: Order, at: int) -> list[Entry]:
    """Read the entries of the IFD at offset `at`; one that is cut short gives the entries that are whole.

    Raises DamagedBlockError if there can be no IFD.
    """
    head = block.read(at, 2)
    count = int.from_bytes(head, order)
    if at < HEADER_BYTES or len(head) < 2 or not 0 < count <= MAX_ENTRIES:
        raise DamagedBlockError
    raw = block.read(at + 2, 12 * count)
    return list(ENTRY[order].iter_unpack(raw[: len(raw) // 12 * 12]))


def looks_like_ifd(entries: list[Entry]) -> bool:
    """Tell whether most entries have a field type that exists."""
    return 2 * sum([entry[1] in TYPE_BYTES for entry in entries]) > len(entries)


def picture_size(block: ByteRange, order: Order, entries: list[Entry]) -> tuple[int, int]:
    """Return width and height of the largest full-resolution picture in IFD0 and its sub-IFDs; 0 unknown."""
    directories = [entries]
    for at in _numbers(block, order, entries, _SUB_IFDS):
        try:
            directories.append(read_ifd(block, order, at))
        except DamagedBlockError:
            continue
    sizes = [(0, 0)]
    for directory in directories:
        subfile, compression, width, height = (
            next(iter(_numbers(block, order, directory, tag)), None)
            for tag in (_SUBFILE_TYPE, _COMPRESSION, _WIDTH, _HEIGHT)
        )
        is_preview = subfile is None and compression == _OLD_JPEG
        if not (subfile or 0) & _REDUCED and not is_preview:
            sizes.append((width or 0, height or 0))
    return max(sizes, key=lambda size: size[0] * size[1])


def _numbers(block: ByteRange, order: Order, entries: list[Entry], tag: int) -> list[int]:
    """Return the values of a SHORT, LONG or IFD entry; none where it is absent or of another type."""
    for found, kind, count, pointer in entries:
        if found == tag and kind in (3, 4, 13) and count <= MAX_SUB_IFDS:
            one = TYPE_BYTES[kind]
            size = one * count
            data = pointer[:size] if size <= 4 else block.read(int.from_bytes(pointer, order), size)
            return [int.from_bytes(data[i : i + one], order) for i in range(0, len(data) // one * one, one)]
    return []


def xmp_packet(block: ByteRange, order: Order, entry: Entry, notes: list[str]) -> bytes:
    """Return the XMP packet that an entry of tag 0x02BC points to; empty where it is too large."""
    _tag, _kind, count, pointer = entry
    if count > MAX_PACKET_BYTES:
        notes.append("the XMP packet is too large and was not read")
        return b""
    return block.read(int.from_bytes(pointer, order), count) if count > 4 else b""
