"""Worst cases made by hand, and one sound file of each kind for random damage."""

from __future__ import annotations

import zlib

from tests.intake.photofile import builders as b

NO = 0xFFFFFFFF


def entry(tag: int, kind: int, count: int, value: int) -> bytes:
    return b"".join(n.to_bytes(size, "little") for n, size in ((tag, 2), (kind, 2), (count, 4), (value, 4)))


def block_of(entries: list[bytes], rest: bytes = b"") -> bytes:
    return b"II*\0\x08\0\0\0" + len(entries).to_bytes(2, "little") + b"".join(entries) + bytes(4) + rest


WANTED = [0x829A, 0x829D, 0x8827, 0x9003, 0x9011, 0x9206, 0x920A, 0x9291, 0xA20E, 0xA404, 0xA434, 0x0110]
WORST_PICTURES = {
    "makers note of 4 GB": b.jpeg(
        block_of([entry(0x8769, 4, 1, 26)]) + block_of([entry(0x927C, 7, NO, 60)])[8:]
    ),
    "5,400 entries of 999 rationals": b.jpeg(block_of([entry(0xA20E, 5, 999, 8)] * 5400)),
    "65,535 entries of 999 rationals": block_of([entry(0xA20E, 5, 999, 8)] * 65535, bytes(8000)),
    "1,900 entries of 999 rationals": block_of([entry(0xA20E, 5, 999, 8)] * 1900, bytes(8000)),
    "texts of 4 GB": b.jpeg(block_of([entry(0xA434, 2, NO, 8)] * 1900)),
    "8 MB behind texts of 4 GB": b.jpeg(
        block_of([entry(t, 2, NO, 8) for t in WANTED] * 100), after=bytes(8 << 20)
    ),
    "wanted tags of 999 values": b.jpeg(block_of([entry(t, 5, 999, 8) for t in WANTED], bytes(9000))),
    "directory that leads to itself": b.jpeg(block_of([entry(0x8769, 4, 1, 8)])),
    "sub-directories that lead to themselves": block_of([entry(0x014A, 4, 1, 8), entry(0x0100, 3, 1, 9)]),
    "100,000 directories in a chain": b"II*\0\x08\0\0\0" + b"".join(
        b"\1\0" + entry(0x0110, 2, 2, 65) + (8 + 18 * (i + 1)).to_bytes(4, "little") for i in range(100_000)
    ),
    "a million empty boxes": b.box(b"ftyp", b"heic", bytes(4), b"mif1") + b.box(b"free") * 1_000_000,
    "a million empty chunks": b.png(b.chunk(b"teXt", b"") * 500_000),
    "boxes that end before they begin": b.box(b"ftyp", b"heic", bytes(4), b"mif1") + b"\0\0\0\3meta" * 1000,
    "an index of 65,535 items": b.box(b"ftyp", b"heic", bytes(4), b"mif1")
    + b.box(
        b"meta",
        bytes(4),
        b.box(b"iinf", bytes(4), b"\xff\xff", b.box(b"infe", b"\2\0\0\0\0\1\0\0Exif\0")),
        b.box(b"iloc", b"\0\0\0\0\0\0\xff\xff", bytes(400_000)),
    ),
    "an index of 65,535 extents without bytes": b.box(b"ftyp", b"heic", bytes(4), b"mif1")
    + b.box(
        b"meta",
        bytes(4),
        b.box(b"iinf", bytes(4), b"\0\1", b.box(b"infe", b"\2\0\0\0\0\1\0\0Exif\0")),
        b.box(b"iloc", b"\0\0\0\0\0\0\xff\xff", b"\0\1\0\0\xff\xff" * 65_535),
    ),
    "500,000 boxes in an index": b.box(b"ftyp", b"heic", bytes(4), b"mif1")
    + b.box(b"meta", bytes(4), b.box(b"free") * 500_000),
    "texts that inflate, a thousand times": b.png(
        b.chunk(b"iTXt", b"XML:com.adobe.xmp\0\1\0\0\0" + zlib.compress(bytes(4 << 20))) * 1000
    ),
    "XMP a thousand times": b.jpeg(
        after=1000
        * b.segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + b.packet("", "<xmp:Label/>" * 4000)[:65_000])
    ),
    "an item of 4 GB": b.heif(bytes(200)).replace((200).to_bytes(4, "big"), b"\xff\xff\xff\xff"),
}  # fmt: skip


BOMB = b"<!DOCTYPE x [" + b"".join(
    b'<!ENTITY a%d "%s">' % (i, b"&a%d;" % (i - 1) * 10 if i else b"ha" * 50) for i in range(12)
) + b"]>"  # fmt: skip
HOSTILE_PACKETS = {
    "entities that multiply": BOMB + b"<x>&a11;</x>",
    "external entity": b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
    + b.packet("", "&e;", wrap=False),
    "external document type": b'<!DOCTYPE x SYSTEM "http://example.org/x.dtd"><x/>',
    "UTF-16 with mark": b.packet('xmp:Rating="3"', wrap=False).decode().encode("utf-16"),
    "UTF-16 without": b.packet('xmp:Rating="3"', wrap=False).decode().encode("utf-16-le"),
    "NULs within": b.packet('xmp:Rating="3"').replace(b"Rating", b"Rat\0ing"),
    "unknown encoding": b'<?xml version="1.0" encoding="klingon"?><x/>',
    "nested deeply": b"<a>" * 20_000 + b"</a>" * 20_000,
    "nested without end": b"<a>" * 1_300_000,
    "100 MB of nesting": b"<a>" * 33_000_000,
    "too many elements": b"<x>" + b"<a/>" * 200_000 + b"</x>",
    "cut short": b.packet('xmp:Rating="3"')[:300],
    "undeclared prefix of nothing": b"<a:b",
    "nothing": b"",
    "blanks": b"   \n",
    "no XML at all": b"keeper",
    "a picture": b.jpeg(b.tiff()),
}


_EXIF = {
    b.DISTANCE: (b.RATIONAL, (5, 2)),
    b.LENS: (b.ASCII, "28 mm f/2.8"),
    b.TIME: (b.ASCII, "2031:04:05 14:06:07"),
}
_IFD0 = {b.MODEL: (b.ASCII, "body A"), b.RATING: (b.SHORT, 3), 0x0100: (b.SHORT, 60), 0x0101: (b.SHORT, 40)}
_BLOCK, _OTHER_ORDER = b.tiff(_IFD0, _EXIF), b.tiff(_IFD0, _EXIF, ">")
_PACKET = b.packet('xmp:Rating="4"', "<xmp:Label>Red</xmp:Label>")
MADE = {
    "made.jpg": b.jpeg(_OTHER_ORDER, _PACKET),
    "made.tif": b.tiff(_IFD0 | {0x02BC: (b.BYTE, _PACKET)}, _EXIF, ">", sub_ifds=[_IFD0]),
    "made.png": b.png(b.chunk(b"eXIf", _BLOCK), b.chunk(b"iTXt", b"XML:com.adobe.xmp" + bytes(5) + _PACKET)),
    "made.webp": b.webp((b"EXIF", _BLOCK), (b"XMP ", _PACKET)),
    "made.heic": b.heif(bytes(4) + _BLOCK, _PACKET),
    "made.avif": b.heif(bytes(4) + _BLOCK, _PACKET, b"avif", inside_idat=True),
    "made.rawbox": b.raw_bmff(b.tiff(_IFD0), b.tiff(_EXIF), _PACKET),
    "made.rawjpeg": b.raw_with_jpeg(b.jpeg(_BLOCK, _PACKET)),
    "made.xmp": _PACKET,
}
