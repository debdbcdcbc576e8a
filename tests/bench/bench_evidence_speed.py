"""How long the whole evidence takes, and how it grows: 1,000, 10,000 and 100,000 frames, one core.

    python tests/bench/bench_evidence_speed.py

Seconds are printed as processor time, because other work on the machine does not count. Exit code 1 where the
growth from 10,000 to 100,000 frames exceeds 12 times, or memory 1.5 GB.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import resource
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))

from simulated_archives import World, draw_archive

from auditor.evidence.causes import find_causes
from auditor.evidence.comparisons import compare_presets
from auditor.evidence.distances_met import distances_met
from auditor.evidence.over_time import rates_over_time
from auditor.evidence.rates import hit_rates
from auditor.evidence.telling_frames import telling_frames
from auditor.evidence.tolerance import fit_tolerance
from auditor.evidence.zone_check import check_zone
from auditor.settings import Settings

SIZES = (1_000, 10_000, 100_000)
GROWTH, MEMORY_GB, ROUNDS = 12.0, 1.5, 3


def frame_table(frames):
    """Bursts of 1 to 6 frames in sessions of 60 bursts."""
    table, _ = draw_archive(np.random.default_rng(1), World("speed", bursts="alike"), frames * 2 // 7 + 50)
    table = table.iloc[:frames]
    session = table["burst"] // 60
    seconds = table["burst"].astype("float64") * 120 + session.astype("float64") * 86_400
    start = pd.Timestamp("2024-05-04 10:00")
    return table.assign(session=session, captured_at=start + pd.to_timedelta(seconds, unit="s"))


def whole_evidence(table):
    settings = Settings(guess_sd=0.12)
    tolerance = fit_tolerance(table, settings)
    causes = find_causes(table, settings, tolerance)
    telling_frames(table, tolerance, causes)
    check_zone(table, tolerance)
    compare_presets(table, settings)
    distances_met(table)
    rates_over_time(table)
    for by in (["preset"], ["lens"], ["f_number"], ["session"], ["preset", "session"]):
        hit_rates(table, by)


def main():
    whole_evidence(frame_table(500))  # imports and first calls
    spent = {}
    for frames in SIZES:
        table = frame_table(frames)
        times = []
        for _ in range(ROUNDS):
            started = time.process_time()
            whole_evidence(table)
            times.append(time.process_time() - started)
        spent[frames] = float(np.median(times))
        print(f"{frames:>7} frames: {spent[frames]:.2f} s of one core", flush=True)
    growth = spent[SIZES[2]] / spent[SIZES[1]]
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"growth from {SIZES[1]} to {SIZES[2]}: {growth:.1f} times; peak memory {memory:.2f} GB")
    missed = growth > GROWTH or memory > MEMORY_GB
    print("missed" if missed else "every target met")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
