"""How fast one file becomes a record, beside the readers that a user might call instead.

    python tests/bench/bench_reading.py [--files 20000] [--rounds 5]

Builds JPEGs on the headers of the real camera files beside the checkout, each with its own capture time in
Exif and XMP; one in forty is padded to 6 MB. Every reader reads all of them in turn, several rounds, and the
medians are compared. Times are only printed; the ratios pass or fail (exit code 1).
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import os
import re
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import exifread
import pyexiv2
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.xmp import XmpError, read_sidecar

SAMPLES = Path(__file__).resolve().parents[3] / "shared" / "exif-samples"
SMALL_BYTES = 64 << 10
BIG_BYTES = 6 << 20
BIG_SHARE = 500 / 20_000
FACTORS = {"exifread, details=False": 2.5, "Pillow, getexif and Exif IFD": 1.5, "pyexiv2, Exif and XMP": 4.0}
TWO_PROCESSES = 1.7

_EXIF_TIME = re.compile(rb"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d\x00")
_XMP_TIME = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")


def dated(data: bytes, number: int) -> bytes:
    """Give the header a capture time of its own, wherever it holds one."""
    day, second = number // 80_000, number % 80_000
    clock = b"%02d:%02d:%02d" % (second // 3600, second // 60 % 60, second % 60)
    data = _EXIF_TIME.sub(b"2031:05:%02d %s\x00" % (day + 1, clock), data)
    return _XMP_TIME.sub(b"2031-05-%02dT%s" % (day + 1, clock), data)


def generate(folder: Path, count: int) -> list[str]:
    """Write the files; the same number gives the same files."""
    headers = [path.read_bytes() for path in sorted(SAMPLES.glob("*.jp*g"))]
    big = max(1, round(count * BIG_SHARE))
    step = count // big
    names = []
    for i in range(count):
        data = dated(headers[i % len(headers)], i)
        if i % step == 0:
            data += bytes(BIG_BYTES - len(data))
        path = folder / f"{i // 1000:03d}" / f"P{i:07d}.jpg"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
        names.append(str(path))
    return names


def ours(name: str) -> None:
    read_file(name)


def by_exifread(name: str) -> None:
    with open(name, "rb") as file:
        exifread.process_file(file, details=False)


def by_pillow(name: str) -> None:
    with Image.open(name) as picture:
        picture.getexif().get_ifd(0x8769)


def by_pyexiv2(name: str) -> None:
    picture = pyexiv2.Image(name)
    try:
        picture.read_exif()
        picture.read_xmp()
    finally:
        picture.close()


def floor(name: str) -> None:
    with open(name, "rb") as file:
        file.read(SMALL_BYTES)


def sidecar_lookup(name: str) -> None:
    """Look for a sidecar that is not there, in both spellings."""
    for suffix in (".xmp", os.path.splitext(name)[1] + ".xmp"):
        try:
            read_sidecar(os.path.splitext(name)[0] + suffix)
        except XmpError:
            continue


READERS: dict[str, Callable[[str], None]] = {
    "this reader": ours,
    "exifread, details=False": by_exifread,
    "Pillow, getexif and Exif IFD": by_pillow,
    "pyexiv2, Exif and XMP": by_pyexiv2,
    "open and read 64 KB": floor,
    "sidecar look-up": sidecar_lookup,
}


def timed(reader: Callable[[str], None], names: list[str]) -> float:
    """Return the seconds that a reader takes for all files; a file it cannot read counts as read."""
    begin = time.perf_counter()
    for name in names:
        try:
            reader(name)
        except Exception:  # other readers fail on some of the samples
            continue
    return time.perf_counter() - begin


def part(names: list[str]) -> int:
    for name in names:
        read_file(name)
    return len(names)


def timed_in_processes(names: list[str], pool: multiprocessing.pool.Pool) -> float:
    parts = [names[i : i + 250] for i in range(0, len(names), 250)]
    begin = time.perf_counter()
    assert sum(pool.imap_unordered(part, parts)) == len(names)
    return time.perf_counter() - begin


def spin(turns: int) -> int:
    return sum(i & 3 for i in range(turns))


def timed_spin(pool: multiprocessing.pool.Pool) -> float:
    """Return the seconds for a fixed amount of pure arithmetic: what the machine can give at this moment."""
    begin = time.perf_counter()
    pool.map(spin, [1_000_000] * 8, 1)
    return time.perf_counter() - begin


def main() -> int:
    """Run the comparison; return 1 where a ratio is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    if not SAMPLES.is_dir():
        print(f"The real camera files are not there: {SAMPLES}", file=sys.stderr)
        return 1
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    pyexiv2.set_log_level(4)
    seconds: dict[str, list[float]] = {name: [] for name in READERS}
    one: list[float] = []
    two: list[float] = []
    spins: list[float] = []
    with (
        tempfile.TemporaryDirectory() as folder,
        multiprocessing.Pool(1) as single,
        multiprocessing.Pool(2) as pair,
    ):
        names = generate(Path(folder), options.files)
        for reader in READERS.values():  # warm caches
            timed(reader, names[:: max(1, len(names) // 2000)])
        for done in range(options.rounds):
            for name, reader in READERS.items():
                seconds[name].append(timed(reader, names))
            one.append(timed_in_processes(names, single))
            two.append(timed_in_processes(names, pair))
            spins.append(timed_spin(single) / timed_spin(pair))
            print(f"round {done + 1} of {options.rounds}", file=sys.stderr)
    gains = [a / b for a, b in zip(one, two, strict=True)]
    return report(seconds, statistics.median(gains), statistics.median(spins), options.files)


def report(seconds: dict[str, list[float]], gain: float, spin_gain: float, files: int) -> int:
    """Print medians and ratios; return 1 where one is missed."""
    for name, values in seconds.items():
        median = statistics.median(values)
        print(f"{name:30s} {median:8.2f} s {files / median:9.0f} files/s")
    missed = 0
    own = seconds["this reader"]
    for name, wanted in FACTORS.items():
        ratio = statistics.median(b / a for a, b in zip(own, seconds[name], strict=True))
        missed += ratio < wanted
        print(f"{ratio:6.2f} x {name} (at least {wanted}) {'ok' if ratio >= wanted else 'MISSED'}")
    verdict = "ok" if gain >= TWO_PROCESSES else "MISSED"
    missed += verdict == "MISSED"
    print(f"{gain:6.2f} x one process with two (at least {TWO_PROCESSES}) {verdict}")
    print(f"{spin_gain:6.2f} x two processes that only count, what the machine could give (printed only)")
    down = statistics.median(a / b for a, b in zip(own, seconds["open and read 64 KB"], strict=True))
    print(f"{down:6.2f} x the time of opening and reading 64 KB (printed only)")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
