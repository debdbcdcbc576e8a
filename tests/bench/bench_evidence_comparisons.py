"""Do comparisons and rates keep their word? Simulated archives in which every preset is truly equal.

    python tests/bench/bench_evidence_comparisons.py
    python tests/bench/bench_evidence_comparisons.py --archives 100

Prints how often "better" is claimed although nothing is better (beside what a plain comparison of all bursts
would claim), whether the stated number of bursts gives the stated power, and how often the intervals of hit
rates by frames hold the truth (beside a plain Wilson interval that takes frames for independent). Exit code 1
where a target is missed.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np
import pandas as pd

from auditor.evidence.bursts import count_frames
from auditor.evidence.comparisons import compare_presets
from auditor.evidence.mantel_haenszel import bursts_to_show, stratified_difference
from auditor.evidence.proportions import benjamini_hochberg, clustered_intervals, wilson
from auditor.frames import with_columns
from auditor.settings import Settings

SEED = 20240612
PRESETS, SESSIONS, BURSTS = 5, 8, 600
F_NUMBERS = np.array([4.0, 5.6, 8.0, 11.0, 16.0])
CLAIMED, CLAIMED_HIGH = 0.05, 0.08
COVERAGE = (0.93, 0.97)
TIES = ("equal", "bursts alike", "tied to outings", "tied to light")


def logistic(x):
    return 1 / (1 + np.exp(-x))


def draw_equal_archive(rng, tie):
    """Return a frame table in which the preset never matters."""
    session = np.sort(rng.integers(0, SESSIONS, BURSTS))
    within = rng.random(BURSTS)
    ev = 11 + rng.normal(0, 1.5, SESSIONS)[session] + rng.normal(0, 1.0, BURSTS)
    logit = np.full(BURSTS, rng.normal(-1.0, 0.4))
    stretch = np.floor(within * 4).astype(int)
    preset = rng.integers(0, PRESETS, (SESSIONS, 4))[session, stretch]
    if tie == "tied to outings":
        logit = logit + rng.normal(0, 0.8, SESSIONS)[session]
        mostly = rng.integers(0, PRESETS, SESSIONS)
        preset = np.where(rng.random(BURSTS) < 0.7, mostly[session], preset)
    if tie == "tied to light":
        logit = logit + 0.35 * (ev - 11)
        preset = np.clip(np.floor((ev + rng.normal(0, 1.0, BURSTS) - 8) / 1.3), 0, PRESETS - 1).astype(int)
    chance = logistic(logit)
    frames = rng.integers(1, 7, BURSTS) if tie == "bursts alike" else np.ones(BURSTS, dtype=int)
    burst = np.repeat(np.arange(BURSTS), frames)
    common = rng.random(BURSTS) < chance
    copies = rng.random(burst.size) < np.sqrt(0.5)
    kept = np.where(copies, common[burst], rng.random(burst.size) < chance[burst])
    f_number = F_NUMBERS[preset][burst]
    iso = rng.choice([200.0, 400.0, 800.0, 1600.0], BURSTS)[burst]
    table = pd.DataFrame(
        {
            "session": session[burst],
            "burst": burst,
            "lens": "one lens",
            "focal_length_mm": 28.0,
            "preset": np.array([f"preset {i}" for i in range(PRESETS)], dtype=object)[preset][burst],
            "f_number": f_number,
            "iso": iso,
            "exposure_time_s": f_number**2 / (2 ** ev[burst] * iso / 100),
            "in_preset": True,
            "counted_as": np.where(kept, "keeper", "not kept"),
        }
    )
    return with_columns(table)


def plain_claims(table):
    """What a comparison of all bursts, blind to outings and light, claims: any pair below 5 % after BH."""
    hits = (
        table.assign(kept=table["counted_as"] == "keeper")
        .groupby("burst")
        .agg(hit=("kept", "any"), preset=("preset", "first"))
    )
    counts = hits.groupby("preset")["hit"].agg(["sum", "size"]).to_numpy(float)
    p = [
        stratified_difference([a[0]], [a[1]], [b[0]], [b[1]]).p_value
        for i, a in enumerate(counts)
        for b in counts[:i]
    ]
    return bool((benjamini_hochberg(p) < 0.05).any())


def false_claims(tie, archives, seed):
    """Return in how many archives something was called better, by the package and by a plain comparison."""
    ours = plain = 0
    for number in range(archives):
        table = draw_equal_archive(np.random.default_rng([seed, TIES.index(tie), number]), tie)
        ours += bool(compare_presets(count_frames(table), Settings())["better"].notna().any())
        plain += plain_claims(table)
    return ours, plain


def power_reached(archives, seed, rate=0.3, points=5.0):
    """Return how often the stated number of bursts shows the difference it was stated for."""
    rng = np.random.default_rng([seed, 99])
    n = int(np.ceil(bursts_to_show(rate, points)))
    a = rng.binomial(n, rate + points / 200, archives)
    b = rng.binomial(n, rate - points / 200, archives)
    shown = [stratified_difference([x], [n], [y], [n]).p_value < 0.05 for x, y in zip(a, b, strict=True)]
    return int(np.sum(shown)), n


def rate_coverage(kind, archives, seed, bursts=120):
    """Return how many intervals of a frame rate hold the truth: allowing for bursts, and plain Wilson."""
    rng = np.random.default_rng([seed, 77, len(kind)])
    held = plain = 0
    for _ in range(archives):
        truth = rng.uniform(0.05, 0.5)
        frames = rng.integers(1, 7, bursts)
        common = rng.random(bursts) < truth
        if kind == "alike":
            copies = rng.binomial(frames, np.sqrt(0.5))
            keepers = common * copies + rng.binomial(frames - copies, truth)
            rate = truth
        else:  # one frame of a kept burst
            keepers, rate = common.astype(int), truth / 3.5
        low, high = clustered_intervals(keepers, frames, np.zeros(bursts, dtype=int), 1)
        held += bool(low[0] <= rate <= high[0])
        low, high = wilson(keepers.sum(), frames.sum())
        plain += bool(low <= rate <= high)
    return held, plain


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--archives", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=SEED)
    wanted = parser.parse_args()
    n, failed = wanted.archives, []
    for tie in TIES:
        ours, plain = false_claims(tie, n, wanted.seed)
        low, high = wilson(ours, n)
        print(
            f"{tie:>16}: a preset called better in {ours / n:.3f} of {n} archives [{low:.3f}, {high:.3f}]; "
            f"a plain comparison of all bursts: {plain / n:.3f}",
            flush=True,
        )
        if ours / n > CLAIMED or high > CLAIMED_HIGH:
            failed.append(f"claims when {tie}")
    shown, bursts = power_reached(10 * n, wanted.seed)
    low, high = wilson(shown, 10 * n)
    print(
        f"{bursts} bursts of each show 5 points in {shown / (10 * n):.3f} [{low:.3f}, {high:.3f}], 0.80 said"
    )
    if not 0.77 <= shown / (10 * n) <= 0.83:
        failed.append("power")
    for kind in ("alike", "one kept"):
        held, plain = rate_coverage(kind, n, wanted.seed)
        low, high = wilson(held, n)
        print(
            f"frame rates, bursts of 1 to 6, {kind}: intervals hold in {held / n:.3f} "
            f"[{low:.3f}, {high:.3f}], plain Wilson on frames in {plain / n:.3f}"
        )
        if high < COVERAGE[0] or low > COVERAGE[1]:
            failed.append(f"frame rates {kind}")
    print("missed: " + "; ".join(failed) if failed else "every target met")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
