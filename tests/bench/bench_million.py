"""What an audit of a million frames costs: processor time, and the memory that it holds at its peak.

    python tests/bench/bench_million.py [--frames 1000000] [--beside CHECKOUT]

The table is made by ``simulate --table``; each command runs in a process of its own. Its time is told in
units of ``pandas.read_csv`` of the same table, read here just before; the peak is the largest sum of what
its processes hold, what they share counted once. ``--beside`` runs the audit of another checkout on the same
table, each program twice and in turns. Exits with 1 where a limit is missed.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from time import process_time, sleep

import pandas as pd
import psutil

HERE = Path(__file__).parents[2]
LARGEST_BYTES = 2e9
MOST_BESIDE = 0.6  # of the other checkout's processor time
LOOK_S = 0.25


def run(checkout: Path, *words: str) -> tuple[float, float]:
    """Processor seconds of a command and the most bytes that its processes held."""
    before = os.times()
    command = [sys.executable, "-m", "auditor", *words]
    process = subprocess.Popen(
        command, cwd=checkout, env=os.environ | {"PYTHONPATH": str(checkout)}, stdout=subprocess.DEVNULL
    )
    most = 0.0
    while process.poll() is None:
        most = max(most, held_bytes(process.pid))
        sleep(LOOK_S)
    if process.returncode:
        raise SystemExit(f"auditor {' '.join(words)} failed in {checkout}.")
    after = os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return spent, most


def held_bytes(pid: int) -> float:
    """What a process and those that it started hold; proportional shares where the system tells them."""
    held = 0.0
    try:
        first = psutil.Process(pid)
        for one in (first, *first.children(recursive=True)):
            memory = one.memory_full_info()
            held += getattr(memory, "pss", memory.rss)
    except psutil.Error:  # it has just ended
        pass
    return held


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--beside", type=Path)
    given = parser.parse_args()
    others = [] if given.beside is None else [given.beside.resolve()]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        run(HERE, "simulate", "--table", "--frames", f"{given.frames}", "--seed", "7", "--out", place + "/in")
        table = folder / "in" / "frames.csv"
        start = process_time()
        pd.read_csv(table)
        unit = process_time() - start
        found: dict[Path, list[tuple[float, float]]] = {}
        for turn in range(2 if others else 1):
            for checkout in (HERE, *others):
                out = str(folder / f"out-{turn}-{checkout == HERE}")
                cost = run(checkout, "audit", str(table), "--out", out, "--cache", "off")
                found.setdefault(checkout, []).append(cost)
    seconds = {checkout: statistics.median(spent for spent, _ in costs) for checkout, costs in found.items()}
    most = {checkout: max(peak for _, peak in costs) for checkout, costs in found.items()}
    for checkout, spent in seconds.items():
        print(
            f"{'this' if checkout == HERE else 'beside'}: {spent:.0f} s of processor time, "
            f"{spent / unit:.1f} times reading the table; {most[checkout] / 1e9:.2f} GB"
        )
    missed = most[HERE] > LARGEST_BYTES
    print(f"memory: {most[HERE] / 1e9:.2f} GB ({LARGEST_BYTES / 1e9:g} allowed)")
    for checkout in others:
        ratio = seconds[HERE] / seconds[checkout]
        print(f"beside: {ratio:.2f} of its processor time ({MOST_BESIDE:g} allowed)")
        missed |= ratio > MOST_BESIDE
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
