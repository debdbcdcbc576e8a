"""Hostile files of people: session files, notes, samples and tables as nobody should write them.

    python tests/bench/fuzz_statements.py [--cases 300] [--seed 1] [--rows 1000000]

Each is put beside a few frames and the archive is read: it must come back within two seconds of processor
time with all of its frames, or as one error that names the file. With --rows a frame table of so many rows is
written and read at last; time and memory are told. Exit code 1 where a case fails.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
import time
import warnings
from datetime import datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from auditor.errors import AuditorError
from auditor.intake.assembling import read_archive
from auditor.intake.tables import read_table
from auditor.settings import Request
from tests.conftest import write_photo

MAX_SECONDS = 2.0
FRAMES = 6
SESSION = """[distances]
from = "sensor"
[[camera]]
name = "body A"
sensor = "36x24"
clock_offset = "-1h"
[[lens]]
name = "28 mm"
focal_length = "28mm"
f_stops = [2.8, 4, 5.6]
ring = ["0.7m", "1m", "inf"]
[[preset]]
name = "arcade"
lens = "28 mm"
f_number = 8
focus_distance = "2.5m"
[[stretch]]
preset = "arcade"
from = "P1010001"
to = "2031-04-05 14:05"
[light]
iso_max = 6400
wanted_shutter = "1/500"
[marks]
keepers = "selects"
min_rating = 1
unmarked = "auto"
culled_to = "P1010005"
[subject]
speed_m_s = 1.32
guess_sd = 0.15
"""
NOTES = (
    "file,keeper,subject_distance,subject_distance_sd,focus_distance,f_number,focal_length,lens,preset,reason\n"
    + "".join(f"P101{i:04d},yes,2.5m,0.1,6ft 6in,5.6,28mm,28 mm,arcade,late light\n" for i in range(FRAMES))
)
SAMPLE = "file,sample_weight\n" + "".join(f"P101{i:04d},2.5\n" for i in range(FRAMES))
TABLE = (
    "file,captured_at,camera,focal_length_mm,f_number,focus_distance_m,subject_distance_m,keeper,in_preset,pixel_width\n"
    + "".join(
        f"P101{i:04d}.jpg,2031-04-05T14:0{i}:00,body A,28,8,2.5,3,yes,true,6000\n" for i in range(FRAMES)
    )
)
VALUES = [
    "", "0", "-1", "1e999", "-inf", "nan", "inf", "9" * 400, "0x" + "f" * 400, "true", "[]", "{}", "[[[[",
    "]]]]", '"', "'''", '"""', "\0", "\u202e", "\x1b[2J", "=1+1", "a.b.c.d", "1979-05-27T07:32:00Z",
    "25:61", "..", "../..", "/dev/zero", "%s%n", "2,5m", "6’6”", "½", "١٢", "１２", "m", "ft", "∞",
    "1/0", "1/1e400", "∞m",
    "\ud800", "x" * 5000,
    "P1010001", "p1010001.JPG", "P101000?", "*", "[unclosed", "\t", ";", "|", "NaT", "NULL", "<NA>",
]  # fmt: skip
ENCODINGS = [
    "utf-8",
    "utf-8",
    "utf-8",
    "utf-8-sig",
    "utf-16",
    "utf-16-le",
    "utf-32",
    "latin-1",
    "cp1252",
    "cp437",
]


def spoil(text: str, chance: random.Random) -> bytes:
    """Spoil a file in one to five places, then save it as somebody might."""
    lines = text.split("\n")
    for _ in range(chance.randint(1, 5)):
        at, kind = chance.randrange(len(lines)), chance.randrange(9)
        line = lines[at]
        if kind <= 2:  # another value
            parts = line.split("=" if "=" in line else ",")
            parts[chance.randrange(len(parts))] = chance.choice(["{}", '"{}"']).format(chance.choice(VALUES))
            lines[at] = ("=" if "=" in line else ",").join(parts)
        elif kind == 3:
            lines.insert(at, chance.choice(lines))
        elif kind == 4:
            del lines[at]
            lines = lines or [""]
        elif kind == 5:
            place = chance.randrange(len(line) + 1)
            lines[at] = line[:place] + chance.choice(VALUES) + line[place:]
        elif kind == 6:
            lines[at] = line.replace(",", chance.choice([";", "\t", ",,", ", "]))
        elif kind == 7:
            lines[at] = line.upper()
        else:
            lines = lines[: at + 1] * chance.choice([1, 1, 40])
    ends = chance.choice(["\n", "\n", "\r\n", "\r"])
    data = ends.join(lines).encode(chance.choice(ENCODINGS), "replace")
    return data[: chance.choice([len(data), len(data), len(data), chance.randrange(len(data) + 1)])]


def fails(folder: Path, name: str, data: bytes) -> str:
    """Read the archive with one spoiled file; say what went wrong, if anything."""
    path = folder / name
    path.write_bytes(data)
    is_table = name.startswith("frames")
    begin = time.process_time()
    try:
        archive = read_archive(Request((path if is_table else folder,)))
        if not is_table and len(archive.table) != FRAMES:
            return f"{len(archive.table)} frames"
    except AuditorError as error:
        if not is_table or name not in error.what:
            return f"stopped: {error.what}"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    finally:
        path.unlink()
    spent = time.process_time() - begin
    return f"{spent:.1f} s" if spent > MAX_SECONDS else ""


def run_cases(cases: int, seed: int) -> list[str]:
    """Run spoiled files of each kind in turn; return what failed."""
    chance = random.Random(seed)
    kinds = {"session.toml": SESSION, "notes.csv": NOTES, "sample.csv": SAMPLE, "frames.csv": TABLE}
    failures = []
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(name)
        for i in range(FRAMES):
            write_photo(
                folder / f"P101{i:04d}.jpg", datetime(2031, 4, 5, 14) + timedelta(minutes=i), rating=i % 2
            )
        for number in range(cases):
            kind = list(kinds)[number % len(kinds)]
            data = spoil(kinds[kind], chance)
            if kind == "sample.csv":
                (folder / "notes.csv").write_text(NOTES)
            if why := fails(folder, kind, data):
                failures.append(f"{number}, {kind}: {why}\n    {data[:300]!r}")
    return failures


def read_long_table(rows: int) -> None:
    """Write a frame table of many rows, with cells over several lines among them, and read it."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "frames.csv"
        with path.open("w") as file:
            file.write("file,captured_at,focal_length_mm,f_number,focus_distance_m,keeper,reason\n")
            for i in range(rows):
                file.write(
                    f'd{i // 9999}/P{i:08d}.jpg,2031-04-05T14:00:00,28,8,2.5,yes,"two\nlines"\n'
                    if i % 100_000 == 7
                    else f"d{i // 9999}/P{i:08d}.jpg,2031-04-05T14:00:00,28,8,2.5,yes,\n"
                )
        begin = time.process_time()
        table, problems = read_table(path)
        spent = time.process_time() - begin
        assert (len(table), problems) == (rows, [])
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{rows} rows ({path.stat().st_size / 1e6:.0f} MB) read in {spent:.1f} s, {peak:.0f} MB at most"
        )


def main(words: list[str] | None = None) -> int:
    """Run the cases; return 1 where one failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", type=int, default=0)
    options = parser.parse_args(words)
    failures = run_cases(options.cases, options.seed)
    print(f"{options.cases} cases, {len(failures)} failed")
    print(*failures, sep="\n")
    if options.rows:
        read_long_table(options.rows)
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
