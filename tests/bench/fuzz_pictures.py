"""Hostile pictures: damaged, disguised, endless, or far too large; what the page and the sheet make of them.

    python tests/bench/fuzz_pictures.py [--cases 2000] [--seed 1]

Of each a thumbnail and a small picture are asked for: a small JPEG or nothing must come within three seconds
of processor time, only fixed formats may be opened, and no program may be started. Exit code 1 where a case
fails.
"""

from __future__ import annotations

import argparse
import io
import random
import struct
import sys
import tempfile
import time
import zlib
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from auditor.intake.photofile.previews import BOX_PX, OPENED, THUMBNAIL_PX, small_picture, thumbnail

MAX_SECONDS = 3.0
MAX_BYTES = {THUMBNAIL_PX: 40_000, BOX_PX: 200_000}
STARTS = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.fork", "os.startfile", "socket.")
SUFFIXES = (*sorted(OPENED), ".dng")

started: list[str] = []
sys.addaudithook(lambda event, _args: started.append(event) if event.startswith(STARTS) else None)


def written(picture: Image.Image, kind: str, **options: object) -> bytes:
    """Write a picture as bytes of a format."""
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def segment(marker: int, body: bytes) -> bytes:
    """One marker segment of a JPEG (ITU-T T.81, B.1.1.4)."""
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def endless_scans(side: int, scans: int) -> bytes:
    """A progressive JPEG of one tone (ITU-T T.81, annex G) with scans that add nothing."""

    def code(kind: int, symbol: int) -> bytes:
        return segment(0xC4, bytes([kind, 1, *[0] * 15, symbol]))

    def bits(text: str) -> bytes:
        text += "1" * (-len(text) % 8)
        return bytes(int(text[i : i + 8], 2) for i in range(0, len(text), 8)).replace(b"\xff", b"\xff\0")

    blocks = (-(-side // 8)) ** 2
    head = b"\xff\xd8" + segment(0xDB, bytes([0, *[1] * 64]))
    head += segment(0xC2, b"\x08" + struct.pack(">HH", side, side) + b"\x01\x01\x11\x00")
    head += code(0x00, 0) + code(0x10, 0xE0) + segment(0xDA, b"\x01\x01\x00\0\0\0") + bits("0" * blocks)
    scan = segment(0xDA, b"\x01\x01\x00\x01\x3f\0") + bits(("0" + "1" * 14) * -(-blocks // 32767))
    return head + scan * scans + b"\xff\xd9"


def huge_png(side: int) -> bytes:
    """A PNG that says it is huge (W3C PNG, 11.2.2)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(1 << 20)))
        + chunk(b"IEND", b"")
    )


def sound_pictures() -> list[bytes]:
    """Pictures of each format that is opened, as cameras and editors write them."""
    noise = Image.fromarray(np.random.default_rng(5).integers(0, 255, (300, 450, 3), dtype="uint8"))
    exif = Image.Exif()
    exif[0x0112] = 6
    own = written(noise.resize((160, 107)), "JPEG")
    with_own = written(noise, "JPEG", exif=exif)
    with_own = with_own[:2] + segment(0xE2, b"preview\0" + own) + with_own[2:]
    kinds = [kind for kind in ("PNG", "WEBP", "AVIF", "MPO") if kind in Image.SAVE]
    pictures = [with_own, *(written(noise, kind) for kind in kinds), written(noise, "JPEG", progressive=True)]
    packed = ("raw", "tiff_lzw", "tiff_deflate", "jpeg")
    pictures += [written(noise, "TIFF", compression=compression) for compression in packed]
    pictures += [written(noise.convert(mode), "TIFF") for mode in ("1", "L", "CMYK", "I;16", "F", "LAB")]
    pictures += [written(noise.convert(mode), "PNG") for mode in ("1", "P", "LA", "RGBA", "I;16")]
    return pictures


def disguised() -> list[bytes]:
    """Formats that are never opened, whatever their name says; some start a program, or fetch."""
    noise = Image.new("RGB", (64, 64), "red")
    others = [kind for kind in ("EPS", "ICO", "GIF", "BMP", "PPM", "PCX", "SGI", "TGA") if kind in Image.SAVE]
    return [
        *(written(noise, kind) for kind in others),
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 64 64\n(%pipe%touch x) (w) file\nshowpage\n",
        b'<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/><script>1</script></svg>',
        b"push graphic-context\nimage over 0,0 0,0 'https://example.org/|touch x'\n",
        b"PK\x03\x04" + bytes(200),
        b"\xd7\xcd\xc6\x9a" + bytes(60),  # a placeable metafile
        b"",
        b"\xff\xd8\xff",
    ]  # fmt: skip


def endless() -> list[bytes]:
    """What costs far more than its bytes."""
    frame = segment(0xC0, b"\x08\xff\xff\xff\xff\x03\x01\x22\x00\x02\x11\x01\x03\x11\x01")
    return [
        endless_scans(8000, 15_000),
        b"\xff\xd8\xff\xe0" + bytes(64 << 20),  # a marker is looked for to the end
        (b"\xff\xd8\xff\xe0" + bytes(1 << 20)) * 64,
        b"\xff\xd8" + frame + segment(0xDA, b"\x03\x01\x00\x02\x11\x03\x11\x00\x3f\x00") + bytes(1000),
        huge_png(13_000),
        huge_png(8_000),
        b"\x89PNG\r\n\x1a\n" + b"\0\0\0\0tEXt\xff\xff\xff\xff" * 2_000_000,
        b"RIFF" + struct.pack("<I", 1 << 31) + b"WEBPVP8X" + bytes(1 << 20),
    ]


def spoiled(data: bytes, chance: random.Random) -> bytes:
    """Spoil a picture in one to eight places, mostly in its head."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        if len(changed) < 16:
            break
        at = chance.randrange(min(len(changed), chance.choice([64, 700, len(changed)])))
        kind = chance.randrange(5)
        if kind == 0:
            changed[at] ^= 1 << chance.randrange(8)
        elif kind == 1:
            changed[at : at + 4] = chance.choice([b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff"])
        elif kind == 2 and chance.random() < 0.4:
            del changed[at:]
        elif kind == 3:
            del changed[at : at + chance.randrange(1, 40)]
        else:
            changed[at:at] = changed[at : at + chance.randrange(1, 200)]
    return bytes(changed)


def fails(path: Path, data: bytes, *, nothing: bool) -> str:
    """Ask for both pictures of a file; say what went wrong, if anything."""
    path.write_bytes(data)
    for make, box in ((thumbnail, THUMBNAIL_PX), (small_picture, BOX_PX)):
        started.clear()
        begin = time.process_time()
        try:
            small = make(path)
        except Exception as error:
            return f"{make.__name__}: {type(error).__name__}: {error}"
        spent = time.process_time() - begin
        if spent > MAX_SECONDS:
            return f"{make.__name__}: {spent:.1f} s"
        if started:
            return f"{make.__name__}: {started[0]}"
        if small is None:
            continue
        if nothing:
            return f"{make.__name__}: opened"
        if max(small.width, small.height) > box or len(small.jpeg) > MAX_BYTES[box]:
            return f"{make.__name__}: {small.width} × {small.height}, {len(small.jpeg)} bytes"
        with Image.open(io.BytesIO(small.jpeg), formats=["JPEG"]) as shown:
            shown.load()
    return ""


def run_cases(cases: int, seed: int) -> tuple[list[str], int]:
    """Run what is endless and disguised, then spoiled pictures; return what failed, and how many were run."""
    chance = random.Random(seed)
    sound, never = sound_pictures(), disguised()
    tried = [(data, ".jpg", True) for data in endless()]
    tried += [(data, suffix, True) for data in never for suffix in SUFFIXES]
    failures = []
    with tempfile.TemporaryDirectory() as folder:
        for number, data in enumerate(sound):
            path = Path(folder, "sound.jpg")
            path.write_bytes(data)
            assert thumbnail(path) is not None, number
        for number in range(max(cases, len(tried))):
            if number < len(tried):
                data, suffix, nothing = tried[number]
            else:
                data, nothing = spoiled(chance.choice(sound), chance), False
                suffix = chance.choice(SUFFIXES)
            if why := fails(Path(folder, f"P101{number:04d}{suffix}"), data, nothing=nothing):
                failures.append(f"{number}, {suffix}, {len(data)} bytes: {why}\n    {data[:60]!r}")
            Path(folder, f"P101{number:04d}{suffix}").unlink()
    return failures, max(cases, len(tried))


def main(words: list[str] | None = None) -> int:
    """Run the cases; return 1 where one failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(words)
    failures, run = run_cases(options.cases, options.seed)
    print(f"{run} pictures, {len(failures)} failed")
    print(*failures, sep="\n")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
