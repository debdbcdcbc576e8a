"""Containers that are whole outside and wrong inside: lengths, offsets, types and nesting drawn at random.

Bytes changed at random rarely get past a container's first check; these are built by its rules and then lie
in one place.
"""

from __future__ import annotations

import io
import random
import struct
from functools import cache

from PIL import Image

from tests.intake.photofile import builders as b

NUMBERS = [0, 1, 2, 7, 8, 255, 65535, 65536, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF]
TAGS = [
    0x0100, 0x0101, 0x0110, 0x0111, 0x0112, 0x0117, 0x014A, 0x0201, 0x0202, 0x02BC, 0x4746, 0x829A, 0x829D,
    0x8769, 0x8825, 0x8827, 0x9003, 0x9206, 0x920A, 0xA002, 0xA003, 0xA20E, 0xA405, 0xA431, 0xA434,
]  # fmt: skip


@cache
def preview(width: int, height: int) -> bytes:
    """A real JPEG, as a camera puts one into its raw file."""
    out = io.BytesIO()
    Image.effect_noise((width, height), 40).convert("RGB").save(out, "JPEG", quality=70)
    return out.getvalue()


def drawn_container(chance: random.Random) -> tuple[str, bytes]:
    """Draw one file: its ending and its bytes."""
    kind = chance.choice(["raw", "raw", "jpeg", "png", "webp", "heic", "rawbox", "rawjpeg"])
    block, packet = tiff_block(chance), b.packet(f'xmp:Rating="{chance.choice(["3", "-1", "x", "1e999"])}"')
    if kind == "raw":
        return ".dng", raw_with_preview(chance)
    if kind == "jpeg":
        return ".jpg", with_wrong_length(b.jpeg(block, packet), chance)
    if kind == "png":
        chunks = [b.chunk(b"eXIf", block), b.chunk(b"iTXt", b"XML:com.adobe.xmp" + bytes(5) + packet)]
        return ".png", b.png(*chance.sample(chunks, len(chunks)), size=(drawn(chance), drawn(chance)))
    if kind == "webp":
        return ".webp", with_wrong_length(b.webp((b"EXIF", block), (b"XMP ", packet)), chance)
    if kind == "heic":
        version, inside = chance.choice([0, 1, 2]), chance.random() < 0.5
        return ".heic", with_wrong_length(
            b.heif(bytes(4) + block, packet, b"heic", (9, 9), version, inside), chance
        )
    if kind == "rawbox":
        return ".rawbox", with_wrong_length(b.raw_bmff(block, tiff_block(chance), packet), chance)
    return ".rawjpeg", with_wrong_length(b.raw_with_jpeg(b.jpeg(block, packet) + preview(64, 48)), chance)


def drawn(chance: random.Random) -> int:
    return chance.choice([*NUMBERS, chance.randrange(1 << 16)])


def directory(chance: random.Random, sign: str, size: int) -> bytes:
    """A directory of entries in order, whose types, counts and places need not be true."""
    tags = sorted(chance.sample(TAGS, chance.randrange(1, len(TAGS))))
    entries = b""
    for tag in tags:
        kind, count = (
            chance.choice([1, 2, 3, 4, 5, 7, 10, 12, 13, 99]),
            chance.choice([1, 1, 2, 4, 20, drawn(chance)]),
        )
        entries += struct.pack(
            sign + "HHII", tag, kind, count, chance.choice([8, drawn(chance), chance.randrange(size)])
        )
    return (
        struct.pack(sign + "H", len(tags))
        + entries
        + struct.pack(sign + "I", chance.choice([0, 8, drawn(chance)]))
    )


def tiff_block(chance: random.Random) -> bytes:
    sign = chance.choice("<>")
    head = (b"II" if sign == "<" else b"MM") + struct.pack(sign + "HI", 42, 8)
    body = b"".join(directory(chance, sign, 900) for _ in range(chance.randrange(1, 4)))
    return head + body + b"2031:04:05 12:00:00\0" + chance.randbytes(40)


def raw_with_preview(chance: random.Random) -> bytes:
    """A raw file with its preview: the places of the preview and of its strips are right, or lie."""
    picture = preview(*chance.choice([(64, 48), (400, 300), (48, 64)]))
    order = chance.choice("<>")
    at = chance.choice([600, 600, drawn(chance)])
    length = chance.choice([len(picture), len(picture), drawn(chance)])
    size = {
        0x0100: (b.LONG, chance.choice([400, drawn(chance)])),
        0x0101: (b.LONG, chance.choice([300, drawn(chance)])),
    }
    ifd0 = size | {b.MODEL: (b.ASCII, "body A"), 0x0111: (b.LONG, at), 0x0117: (b.LONG, length)}
    sub = {0x0201: (b.LONG, at), 0x0202: (b.LONG, length)}
    block = b.tiff(
        ifd0, {b.SERIAL: (b.ASCII, "7"), b.WIDTH: (b.LONG, drawn(chance))}, order, sub_ifds=[sub, size]
    )
    whole = bytearray(block.ljust(600, b"\0") + picture + chance.randbytes(50))
    for _ in range(chance.randrange(3)):
        whole[chance.randrange(len(whole))] = chance.randrange(256)
    return bytes(whole[: chance.choice([len(whole), len(whole), chance.randrange(1, len(whole))])])


def with_wrong_length(data: bytes, chance: random.Random) -> bytes:
    """Replace what looks like a length, at a place where a part begins."""
    changed = bytearray(data)
    for _ in range(chance.randrange(3)):
        at = chance.randrange(max(1, min(len(changed) - 4, 600)))
        changed[at : at + 4] = drawn(chance).to_bytes(4, chance.choice(["little", "big"]))
    return bytes(changed)
