"""What many session files and notes cost: one of each in every folder, against all statements in one.

    python tests/bench/bench_statements.py [--folders 250] [--frames 200] [--rounds 5]

A ``scan`` of unchanged photographs, its facts from the cache. Both ways must give the same table. Processor
times are only printed; their ratio passes or fails (exit code 1).
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from auditor.journey import run_scan
from auditor.settings import Request

MOST = 1.5  # times the processor time of the same statements in one file
TIME = b"2031:01:01 10:00:00"
SETTINGS = (("counter", "5.6", "1.5m"), ("crossing", "8", "2.5m"), ("line", "11", "4m"))
HEAD = '[[camera]]\nsensor = "36x24"\n[[lens]]\nname = "old 28"\nfocal_length = "28mm"\n' + "".join(
    f'[[preset]]\nname = "{name}"\nlens = "old 28"\nf_number = {stop}\nfocus_distance = "{focus}"\n'
    for name, stop, focus in SETTINGS
)
NOTES = "file,keeper,standing_share,subject_distance\n"


def write_photographs(top: Path, folders: int, frames: int) -> None:
    """One small picture again and again, each with a time of its own; a folder is a day."""
    exif = Image.Exif()
    exif[0x0110] = "body A"
    ifd = exif.get_ifd(0x8769)
    ifd[0x9003], ifd[0x829A], ifd[0x8827] = TIME.decode(), IFDRational(1, 250), 400
    first = top / "d000" / "P1010000.jpg"
    first.parent.mkdir(parents=True)
    Image.new("RGB", (36, 24), (120, 110, 100)).save(first, quality=60, exif=exif)
    data = first.read_bytes()
    for folder in range(folders):
        begin = datetime(2031, 1, 1, 10) + timedelta(days=folder)
        (top / f"d{folder:03d}").mkdir(exist_ok=True)
        for i in range(frames):
            at = f"{begin + timedelta(seconds=20 * i):%Y:%m:%d %H:%M:%S}"
            path = top / f"d{folder:03d}" / f"P101{i:04d}.jpg"
            path.write_bytes(data.replace(TIME, at.encode()))


def statements(folder: int, frames: int, prefix: str) -> tuple[str, str]:
    """Stretches and notes of one folder."""
    stretches = "".join(
        f'[[stretch]]\npreset = "{SETTINGS[i % 3][0]}"\nfrom = "{prefix}P101{i * frames // 6:04d}"\n'
        for i in range(6)
    )
    rows = "".join(
        f"{prefix}P101{i:04d},{'yes' if i % 9 == 0 else 'no'},{',3m' if i % 2 else '40%,'}\n"
        for i in range(frames)
    )
    return stretches, rows


def write_apart(top: Path, folders: int, frames: int) -> list[Path]:
    """A session file and notes in every folder."""
    written = []
    for folder in range(folders):
        stretches, rows = statements(folder, frames, "")
        for name, text in (("session.toml", HEAD + stretches), ("notes.csv", NOTES + rows)):
            written.append(top / f"d{folder:03d}" / name)
            written[-1].write_text(text)
    return written


def write_together(top: Path, folders: int, frames: int) -> list[Path]:
    """The same statements in one session file and one notes file."""
    parts = [statements(folder, frames, f"d{folder:03d}/") for folder in range(folders)]
    (top / "session.toml").write_text(HEAD + "".join(stretches for stretches, _ in parts))
    (top / "notes.csv").write_text(NOTES + "".join(rows for _, rows in parts))
    return [top / "session.toml", top / "notes.csv"]


def scanned(top: Path, cache: Path) -> tuple[float, pd.DataFrame]:
    """Processor seconds of a scan, and its table."""
    begin = time.process_time()
    table = run_scan(Request((top,), cache=cache, workers=1)).archive.table
    return time.process_time() - begin, table


def compare(folders: int, frames: int, rounds: int) -> float:
    """How many times as long many files take as one."""
    with tempfile.TemporaryDirectory() as name:
        top, cache = Path(name, "archive"), Path(name, "cache", "read.sqlite")
        write_photographs(top, folders, frames)
        time.sleep(2.1)  # a file that may still be changing is not kept
        scanned(top, cache)
        tables, ratios = [], []
        for _ in range(rounds):
            seconds = []
            for write in (write_together, write_apart):
                written = write(top, folders, frames)
                spent, table = scanned(top, cache)
                seconds.append(spent)
                tables.append(table)
                for path in written:
                    path.unlink()
            print(f"together {seconds[0]:6.2f} s, apart {seconds[1]:6.2f} s", file=sys.stderr)
            ratios.append(seconds[1] / seconds[0])
        for table in tables[1:]:
            pd.testing.assert_frame_equal(table, tables[0])
        assert tables[0]["subject_distance_m"].notna().all()
        assert tables[0]["preset"].notna().all()
        return statistics.median(ratios)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folders", type=int, default=250)
    parser.add_argument("--frames", type=int, default=200, help="in each folder")
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    ratio = compare(given.folders, given.frames, given.rounds)
    print(f"{ratio:.2f} times (at most {MOST:g}) {'MISSED' if ratio > MOST else 'ok'}")
    return int(ratio > MOST)


if __name__ == "__main__":
    sys.exit(main())
