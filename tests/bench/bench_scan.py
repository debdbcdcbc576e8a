"""How fast and how lean a whole ``scan`` is: first run, second run, two processes, memory.

    python tests/bench/bench_scan.py [--files 20000] [--rounds 5]

The first run reads the files of bench_reading.py. The second run finds five times as many small files, of
which none has changed: the whole command, less its start-up, is compared with a plain walk, and so is the
way from the folder to the files' records, which every run takes that finds a single file changed.
Memory is that of a first run over ten times as many files, as the proportional set size of all processes
together. Times are only printed; the ratios, and the memory, pass or fail (exit code 1).
"""

from __future__ import annotations

import argparse
import gc
import logging
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from bench_reading import ROOT, SAMPLES, by_exifread, dated, generate, timed

from auditor.intake.library.folders import Found, find_files
from auditor.intake.library.reading import read_found

FIRST_RUN = 3.5  # times as fast as a loop over exifread, start-up apart, two processes
TWO_PROCESSES = 1.7
SECOND_RUN = 4.0  # times as long as a plain walk of scandir and stat
PEAK_MB = 700.0
SMALL_BYTES = 12_000
SAMPLE_S = 0.02


def generate_small(folder: Path, count: int) -> None:
    """Write small files with a capture time of their own, in folders of a thousand."""
    headers = [
        data for path in sorted(SAMPLES.glob("*.jp*g")) if len(data := path.read_bytes()) < SMALL_BYTES
    ]
    for i in range(count):
        path = folder / f"{i // 1000:04d}" / f"P{i % 10_000:07d}_{i // 10_000:02d}.jpg"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(dated(headers[i % len(headers)], i))


def scan_command(source: Path, out: Path, *options: str) -> list[str]:
    return [
        sys.executable,
        "-m",
        "auditor",
        "scan",
        str(source),
        "--out",
        str(out),
        "--workers",
        "2",
        *options,
    ]


def run_scan(source: Path, out: Path, *options: str) -> float:
    """Return the seconds of the whole command."""
    begin = time.perf_counter()
    subprocess.run(scan_command(source, out, *options), check=True, capture_output=True, cwd=ROOT)
    return time.perf_counter() - begin


def plain_walk(top: Path) -> float:
    """Return the seconds of scandir and stat over a tree, the least that a second run has to do."""
    begin = time.perf_counter()
    waiting = [str(top)]
    while waiting:
        with os.scandir(waiting.pop()) as listing:
            for entry in listing:
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(entry.path)
                else:
                    entry.stat()
    return time.perf_counter() - begin


def walk_and_read(top: Path, cache: Path) -> float:
    """Return the seconds from the folder to all file records, every one of them from the cache."""
    gc.collect()
    begin = time.perf_counter()
    read_found(find_files([top]), cache, workers=2)
    return time.perf_counter() - begin


def read_only(found: Found, workers: int) -> float:
    gc.collect()
    begin = time.perf_counter()
    read_found(found, None, workers=workers)
    return time.perf_counter() - begin


def family(pid: int) -> list[int]:
    """A process and all that it has started."""
    members = [pid]
    for member in members:
        for listing in Path(f"/proc/{member}/task").glob("*/children"):
            try:
                members += [int(child) for child in listing.read_text().split()]
            except OSError:
                continue
    return members


def pss_mb(pid: int) -> float:
    """Proportional set size of one process, 0 where it has ended."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def peak_mb(command: list[str]) -> float:
    """Run a command and return the largest sum over all its processes at one time [MB]."""
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=ROOT)
    told = threading.Thread(target=run.communicate)
    told.start()
    peak = 0.0
    while told.is_alive():
        peak = max(peak, sum(map(pss_mb, family(run.pid))))
        time.sleep(SAMPLE_S)
    if run.returncode:
        raise SystemExit(f"the scan ended with {run.returncode}")
    return peak


def medians(steps: dict[str, Callable[[], float]], rounds: int) -> dict[str, list[float]]:
    """Take the steps in turn, several rounds."""
    seconds: dict[str, list[float]] = {name: [] for name in steps}
    for done in range(rounds):
        for name, step in steps.items():
            seconds[name].append(step())
        print(f"round {done + 1} of {rounds}", file=sys.stderr)
    for name, values in seconds.items():
        print(f"{name:44s} {statistics.median(values):8.2f} s")
    return seconds


def judged(what: str, values: list[float], limit: float, *, least: bool) -> bool:
    """Print a ratio or a figure beside its limit; True where it is missed."""
    value = statistics.median(values)
    missed = value < limit if least else value > limit
    bound = "at least" if least else "at most"
    print(f"{value:8.2f} {what} ({bound} {limit:g}) {'MISSED' if missed else 'ok'}")
    return missed


def first_run(folder: Path, files: int, rounds: int) -> int:
    source, one = folder / "first", folder / "one"
    source.mkdir()
    one.mkdir()
    names = generate(source, files)
    generate(one, 1)
    found = find_files([source])
    off = ("--cache", "off")
    steps = {
        "exifread loop": lambda: timed(by_exifread, names),
        "start-up (scan of one file)": lambda: run_scan(one, folder / "one.csv", *off),
        "scan, two processes, no cache": lambda: run_scan(source, folder / "first.csv", *off),
        "reading alone, one process": lambda: read_only(found, 1),
        "reading alone, two processes": lambda: read_only(found, 2),
    }
    loop, start, scan, single, pair = medians(steps, rounds).values()
    faster = [a / (c - b) for a, b, c in zip(loop, start, scan, strict=True)]
    twice = [a / b for a, b in zip(single, pair, strict=True)]
    return judged("x the exifread loop: scan less start-up", faster, FIRST_RUN, least=True) + judged(
        "x one process with two", twice, TWO_PROCESSES, least=True
    )


def second_run(folder: Path, files: int, rounds: int) -> int:
    source, cache, one = folder / "second", folder / "cache.sqlite", folder / "one"
    generate_small(source, files)
    kept = ("--cache", str(cache))
    run_scan(source, folder / "second.csv", *kept)
    run_scan(one, folder / "one.csv", *kept)
    steps = {
        "plain walk": lambda: plain_walk(source),
        "walk and records from the cache": lambda: walk_and_read(source, cache),
        "start-up (scan of one file)": lambda: run_scan(one, folder / "one.csv", *kept),
        "scan, nothing changed": lambda: run_scan(source, folder / "second.csv", *kept),
    }
    walk, records, start, scan = medians(steps, rounds).values()
    reading = [b / a for a, b in zip(walk, records, strict=True)]
    whole = [(c - b) / a for a, b, c in zip(walk, start, scan, strict=True)]
    return judged("x a plain walk: unchanged files to records", reading, SECOND_RUN, least=False) + judged(
        "x a plain walk: second scan less start-up", whole, SECOND_RUN, least=False
    )


def memory(folder: Path, files: int) -> int:
    if not Path("/proc/self/smaps_rollup").is_file():
        print("memory: not measured, this system does not tell it")
        return 0
    source = folder / "memory"
    generate_small(source, files)
    peak = peak_mb(scan_command(source, folder / "memory.csv", "--cache", str(folder / "memory.sqlite")))
    return judged(f"MB at the peak, {files} files, all processes", [peak], PEAK_MB, least=False)


def main() -> int:
    """Run the comparison; return 1 where a limit is missed."""
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
    missed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        missed += first_run(folder, options.files, options.rounds)
        missed += second_run(folder, 5 * options.files, options.rounds)
        missed += memory(folder, 10 * options.files)
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
