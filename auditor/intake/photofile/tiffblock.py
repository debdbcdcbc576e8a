"""Reduce a TIFF block to the wanted tags of IFD0 and the Exif IFD, and write them as a block of one IFD.

Only the wanted entries are ever looked at, so GPS positions and maker's notes stay unread, and no count or
offset in a damaged or hostile file can cost time. Values outside the block are absent by the standard, and
are dropped here. A rational is passed on as its two numbers, because the decoder would reduce the fraction:
0xFFFFFFFF/0xFFFFFFFF, infinity, would come out as one metre.

Layout from TIFF 6.0; type 129 is the UTF-8 text of Exif 3.0; tag 0x02BC holds XMP. Tag numbers from Exif
2.32, TIFF/EP and DNG; 0x4746 is in common use, not standard.
"""

import codecs
import struct
from typing import Literal

from auditor.intake.photofile.contents import MAX_PACKET_BYTES, Contents
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
MAX_TEXT_BYTES = 256

_ASCII = 2
_AS_PAIR = {5: 4, 10: 9}  # rational and signed rational: two LONG, two SLONG
_TEXT_TYPES = frozenset({1, 2, 7, 129})
_NUMBER_TYPES = frozenset({1, 3, 4, 5, 6, 8, 9, 10, 11, 12})
_EXIF_POINTER = 0x8769
_XMP = 0x02BC
_HEADERS: dict[Order, bytes] = {"little": b"II*\x00\x08\x00\x00\x00", "big": b"MM\x00*\x00\x00\x00\x08"}
_NO_NEXT_IFD = bytes(4)

# Wanted of the Exif IFD; TIFF/EP files keep them in IFD0. True marks texts.
EXIF_TAGS = {
    0x829A: False,  # ExposureTime
    0x829D: False,  # FNumber
    0x8827: False,  # PhotographicSensitivity
    0x8831: False,  # StandardOutputSensitivity
    0x8832: False,  # RecommendedExposureIndex
    0x8833: False,  # ISOSpeed
    0x9003: True,  # DateTimeOriginal
    0x9202: False,  # ApertureValue
    0x9206: False,  # SubjectDistance
    0x9209: False,  # Flash
    0x920A: False,  # FocalLength
    0x920E: False,  # FocalPlaneXResolution in TIFF/EP
    0x9210: False,  # its unit
    0x9291: True,  # SubSecTimeOriginal
    0xA002: False,  # PixelXDimension
    0xA003: False,  # PixelYDimension
    0xA20B: False,  # FlashEnergy
    0xA20E: False,  # FocalPlaneXResolution
    0xA210: False,  # its unit
    0xA404: False,  # DigitalZoomRatio
    0xA405: False,  # FocalLengthIn35mmFilm
    0xA431: True,  # BodySerialNumber
    0xA434: True,  # LensModel
    0xFDE9: True,  # body number as some raw converters write it
    0xFDEA: True,  # lens name, likewise
}
_POINTERS = frozenset({_EXIF_POINTER, _XMP})
IFD0_TAGS = EXIF_TAGS | {
    _EXIF_POINTER: False,
    _XMP: False,
    0x0110: True,  # Model
    0x0112: False,  # Orientation
    0x4746: False,  # Rating
    0xC62F: True,  # CameraSerialNumber (DNG)
}

Value = tuple[int, int, bytes]  # type, count, bytes


class DamagedBlockError(Exception):
    """There is no IFD where the block says it is."""


def take_tags(found: Contents, block: ByteRange) -> tuple[Order, dict[int, Value]]:
    """Pick the wanted tags out of a TIFF block, and note what else it tells; or DamagedBlockError."""
    order, at = _header(block)
    entries = _read_ifd(block, order, at)
    sound = sum([entry[1] in TYPE_BYTES for entry in entries])
    if 2 * sound <= len(entries) and (entries or found.tiff_is_picture):
        raise DamagedBlockError  # most have a field type that does not exist
    notes: list[str] = []
    values, pointers = _keep(block, order, entries, IFD0_TAGS, notes)
    try:
        if found.exif_ifd is not None:
            inner_order, at = _header(found.exif_ifd)
            if inner_order != order:
                raise DamagedBlockError
            values |= _keep(found.exif_ifd, order, _read_ifd(found.exif_ifd, order, at), EXIF_TAGS, notes)[0]
        elif _EXIF_POINTER in pointers:
            at = int.from_bytes(pointers[_EXIF_POINTER][3], order)
            values |= _keep(block, order, _read_ifd(block, order, at), EXIF_TAGS, notes)[0]
    except DamagedBlockError:
        notes.append("the Exif IFD is damaged and was not read")
    size = _picture_size(block, order, entries) if found.tiff_is_picture else (0, 0)
    packet = b""
    if _XMP in pointers:
        _tag, _kind, count, pointer = pointers[_XMP]
        if count > MAX_PACKET_BYTES:
            notes.append("the XMP packet is too large and was not read")
        elif count > 4:
            packet = block.read(int.from_bytes(pointer, order), count)
    found.packet = found.packet or packet
    found.width, found.height = found.width or size[0], found.height or size[1]
    found.notes += notes
    return order, values


def _keep(
    block: ByteRange, order: Order, entries: list[Entry], wanted: dict[int, bool], notes: list[str]
) -> tuple[dict[int, Value], dict[int, Entry]]:
    """Return the wanted values, and the entries that lead elsewhere. Of several numbers the first counts."""
    kept: dict[int, Value] = {}
    pointers: dict[int, Entry] = {}
    for entry in [entry for entry in entries if entry[0] in wanted]:
        tag, kind, count, pointer = entry
        is_text = wanted[tag]
        if tag in kept:
            notes.append(f"tag 0x{tag:04X} is repeated: the first one counts")
        elif tag in _POINTERS:
            pointers.setdefault(tag, entry)
        elif kind not in (_TEXT_TYPES if is_text else _NUMBER_TYPES):
            notes.append(f"tag 0x{tag:04X} has field type {kind}, which it cannot have: absent")
        elif count:
            size = TYPE_BYTES[kind] * count
            needed = min(size, MAX_TEXT_BYTES) if is_text else TYPE_BYTES[kind]
            if size <= 4:
                value = pointer[:needed]
            else:
                at = int.from_bytes(pointer, order)
                inside = HEADER_BYTES <= at <= block.length - size
                value = block.read(at, needed) if inside else b""
            if len(value) < needed:
                notes.append(f"tag 0x{tag:04X} points past the end of its block: absent")
            elif is_text:
                value = _as_utf8(value)
                kept[tag] = _ASCII, len(value), value
            elif kind in _AS_PAIR:
                kept[tag] = _AS_PAIR[kind], 2, value
            else:
                kept[tag] = kind, 1, value
    return kept, pointers


def _as_utf8(text: bytes) -> bytes:
    """Cut at the first NUL and make sure that the rest is UTF-8; other bytes are taken as Latin-1."""
    text = text.partition(b"\x00")[0]
    if text.isascii():
        return text
    try:  # not final: the length limit may have cut within a character
        return codecs.getincrementaldecoder("utf-8")().decode(text).encode()
    except UnicodeDecodeError:
        return text.decode("latin-1").encode()


def _header(block: ByteRange) -> tuple[Order, int]:
    """Return the byte order of a TIFF block and the offset of its IFD0, else DamagedBlockError."""
    head = block.read(0, HEADER_BYTES)
    if len(head) < HEADER_BYTES or head[:2] not in (b"II", b"MM"):
        raise DamagedBlockError
    order: Order = "little" if head[:2] == b"II" else "big"
    return order, int.from_bytes(head[4:], order)


def _read_ifd(block: ByteRange, order: Order, at: int) -> list[Entry]:
    """Read the whole entries of the IFD at an offset, none where it is empty; or DamagedBlockError."""
    head = block.read(at, 2)
    count = int.from_bytes(head, order)
    if at < HEADER_BYTES or len(head) < 2 or count > MAX_ENTRIES:
        raise DamagedBlockError
    raw = block.read(at + 2, 12 * count)
    return list(ENTRY[order].iter_unpack(raw[: len(raw) // 12 * 12]))


def _picture_size(block: ByteRange, order: Order, entries: list[Entry]) -> tuple[int, int]:
    """Return width and height of the largest full-resolution picture in IFD0 and its sub-IFDs; 0 unknown."""
    directories = [entries]
    for at in _numbers(block, order, entries, _SUB_IFDS):
        try:
            directories.append(_read_ifd(block, order, at))
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


def build_block(order: Order, values: dict[int, Value]) -> bytes:
    """Write a TIFF block of one IFD with these values."""
    pack = ENTRY[order].pack
    place = HEADER_BYTES + 2 + ENTRY[order].size * len(values) + 4
    out = [_HEADERS[order], len(values).to_bytes(2, order)]
    outside = [_NO_NEXT_IFD]
    for tag, (kind, count, value) in values.items():
        if len(value) > 4:
            out.append(pack(tag, kind, count, place.to_bytes(4, order)))
            outside.append(value)
            place += len(value)
        else:
            out.append(pack(tag, kind, count, value))
    return b"".join(out + outside)
