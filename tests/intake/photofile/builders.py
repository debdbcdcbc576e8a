"""Build picture files byte by byte, for tests of the readers.

Written from the format specifications (TIFF 6.0, Exif 2.32, T.81, PNG, RFC 9649, ISO/IEC 14496-12, XMP), and
independent of the readers: nothing here imports them.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Mapping
from typing import Any

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SLONG, SRATIONAL, UTF8 = 1, 2, 3, 4, 5, 7, 9, 10, 129
Tags = Mapping[int, tuple[int, Any]] | Iterable[tuple[int, tuple[int, Any]]]

MODEL, ORIENTATION, RATING = 0x0110, 0x0112, 0x4746
EXPOSURE_TIME, F_NUMBER, ISO, TIME, OFFSET, SUBSECONDS = 0x829A, 0x829D, 0x8827, 0x9003, 0x9011, 0x9291
APERTURE_VALUE, DISTANCE, FOCAL_LENGTH, WIDTH, HEIGHT = 0x9202, 0x9206, 0x920A, 0xA002, 0xA003
PLANE_RESOLUTION, PLANE_UNIT, ZOOM, FOCAL_35, SERIAL, LENS = 0xA20E, 0xA210, 0xA404, 0xA405, 0xA431, 0xA434

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XMP = "http://ns.adobe.com/xap/1.0/"
EXIF = "http://ns.adobe.com/exif/1.0/"
EXIF_EX = "http://cipa.jp/exif/1.0/"
AUX = "http://ns.adobe.com/exif/1.0/aux/"
TIFF = "http://ns.adobe.com/tiff/1.0/"


def _encode(sign: str, kind: int, value: Any) -> tuple[int, bytes]:
    if isinstance(value, bytes):
        return len(value), value
    if isinstance(value, str):
        data = value.encode() + b"\0"
        return len(data), data
    values = value if isinstance(value, list) else [value]
    code = {BYTE: "B", SHORT: "H", LONG: "I", SLONG: "i", RATIONAL: "2I", SRATIONAL: "2i"}[kind]
    pack = [struct.pack(sign + code, *(v if isinstance(v, tuple) else (v,))) for v in values]
    return len(values), b"".join(pack)


def tiff(
    ifd0: Tags = (),
    exif: Tags = (),
    order: str = "<",
    magic: int = 42,
    sub_ifds: Iterable[Tags] = (),
    gap: int = 0,
) -> bytes:
    """Write a TIFF block; values are numbers, pairs, lists of them, texts, or raw bytes.

    `gap` zero bytes stand between the header and the directories.
    """
    directories = [list(_items(ifd0)), list(_items(exif)), *(list(_items(sub)) for sub in sub_ifds)]
    subs = len(directories) - 2
    if directories[1]:
        directories[0].append((0x8769, (LONG, 0)))
    if subs:
        directories[0].append((0x014A, (LONG, [0] * subs)))
    sizes = [2 + 12 * len(directory) + 4 if directory else 0 for directory in directories]
    starts = [8 + gap + sum(sizes[:i]) for i in range(len(sizes))]
    place = 8 + gap + sum(sizes)
    out = struct.pack(order + "2sHI", b"II" if order == "<" else b"MM", magic, 8 + gap) + bytes(gap)
    values = b""
    for directory in filter(None, directories):
        out += struct.pack(order + "H", len(directory))
        for tag, (kind, value) in directory:
            if tag == 0x8769 and value == 0:
                value = starts[1]
            if tag == 0x014A and directory is directories[0] and subs:
                value = starts[2:]
            count, data = _encode(order, kind, value)
            if len(data) > 4:
                out += struct.pack(order + "HHII", tag, kind, count, place + len(values))
                values += data
            else:
                out += struct.pack(order + "HHI4s", tag, kind, count, data)
        out += bytes(4)
    return out + values


def _items(tags: Tags) -> Iterable[tuple[int, tuple[int, Any]]]:
    return tags.items() if isinstance(tags, Mapping) else tags


def segment(marker: int, payload: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(payload) + 2).to_bytes(2, "big") + payload


def jpeg(
    exif: bytes | None = None,
    xmp: bytes | None = None,
    before: bytes = b"",
    after: bytes = b"",
    size: tuple[int, int] | None = (640, 480),
) -> bytes:
    """Write the header of a JPEG, with a start of scan and no picture data."""
    out = b"\xff\xd8" + before
    if exif is not None:
        out += segment(0xE1, b"Exif\0\0" + exif)
    if xmp is not None:
        out += segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp)
    out += after
    if size:
        out += segment(0xC0, struct.pack(">BHHB", 8, size[1], size[0], 1) + b"\x01\x11\x00")
    return out + segment(0xDA, b"\x01\x01\x00\x00\x3f\x00") + b"\x00\xff\xd9"


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(*chunks: bytes, size: tuple[int, int] = (640, 480)) -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", *size, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunks) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


def webp(*chunks: tuple[bytes, bytes], size: tuple[int, int] = (640, 480)) -> bytes:
    canvas = bytes(4) + (size[0] - 1).to_bytes(3, "little") + (size[1] - 1).to_bytes(3, "little")
    body = b"WEBP"
    for kind, data in ((b"VP8X", canvas), *chunks):
        body += kind + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def box(kind: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return struct.pack(">I", 8 + len(body)) + kind + body


def heif(
    exif_item: bytes | None = None,
    xmp: bytes | None = None,
    brand: bytes = b"heic",
    size: tuple[int, int] = (640, 480),
    iloc_version: int = 1,
    inside_idat: bool = False,
) -> bytes:
    """Write an ISO-BMFF picture with an Exif item and an XMP item, their data in mdat or in idat."""
    items = [(1, b"Exif", b"", exif_item), (2, b"mime", b"\0application/rdf+xml\0", xmp)]
    items = [item for item in items if item[3] is not None]
    infe = [
        box(b"infe", b"\2\0\0\0", struct.pack(">HH", n, 0), kind, extra or b"\0")
        for n, kind, extra, _ in items
    ]
    ftyp = box(b"ftyp", brand, bytes(4), b"mif1", brand)
    data = b"".join(item[3] for item in items)

    def meta(data_at: int) -> bytes:
        locations, at = b"", data_at
        for number, _, _, payload in items:
            locations += struct.pack(">H", number)
            if iloc_version:
                locations += struct.pack(">H", int(inside_idat))
            locations += struct.pack(">HHII", 0, 1, at, len(payload))
            at += len(payload)
        fields = bytes([iloc_version, 0, 0, 0, 0x44, 0x00])
        iloc = box(b"iloc", fields, struct.pack(">H", len(items)), locations)
        ispe = box(b"ispe", bytes(4), struct.pack(">II", *size))
        small = box(b"ispe", bytes(4), struct.pack(">II", 160, 120))
        parts = [
            box(b"hdlr", bytes(8), b"pict", bytes(13)),
            box(b"pitm", bytes(4), b"\0\1"),
            box(b"iinf", bytes(4), struct.pack(">H", len(items)), *infe),
            iloc,
            box(b"iprp", box(b"ipco", small, ispe)),
        ]
        if inside_idat:
            parts.append(box(b"idat", data))
        return box(b"meta", bytes(4), *parts)

    if inside_idat:
        return ftyp + meta(0)
    at = len(ftyp) + len(meta(0)) + 8
    return ftyp + meta(at) + box(b"mdat", data)


def raw_bmff(ifd0: bytes, exif_ifd: bytes, xmp: bytes | None = None) -> bytes:
    """Write a raw file of the ISO-BMFF kind: two TIFF blocks in a uuid box inside moov."""
    blocks = box(b"uuid", bytes(range(16)), box(b"CMT1", ifd0), box(b"CMT2", exif_ifd))
    out = box(b"ftyp", b"crx ", bytes(4), b"crx ", b"isom") + box(b"moov", blocks)
    if xmp is not None:
        out += box(b"uuid", bytes.fromhex("be7acfcb97a942e89c71999491e3afac"), xmp)
    return out + box(b"mdat", bytes(64))


def raw_with_jpeg(picture: bytes) -> bytes:
    """Write a raw file that carries a whole JPEG, whose place stands at byte 84, big-endian."""
    head = bytes.fromhex("46554a4946494c4d4343442d52415720") + b"0201" + bytes(64)
    return head + struct.pack(">II", 148, len(picture)) + bytes(148 - 92) + picture + bytes(1000)


def packet(attributes: str = "", elements: str = "", namespaces: str = "", wrap: bool = True) -> bytes:
    """Write an XMP packet with one description."""
    prefixes = {"xmp": XMP, "exif": EXIF, "exifEX": EXIF_EX, "aux": AUX, "tiff": TIFF}
    names = " ".join(f'xmlns:{prefix}="{uri}"' for prefix, uri in prefixes.items())
    xml = (
        f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="{RDF}">'
        f'<rdf:Description rdf:about="" {names} {namespaces} {attributes}>{elements}</rdf:Description>'
        "</rdf:RDF></x:xmpmeta>"
    )
    if wrap:
        xml = (
            f'<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>{xml}\n{" " * 200}\n<?xpacket end="w"?>'
        )
    return xml.encode()
