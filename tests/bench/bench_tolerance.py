"""Does the keeper tolerance come out right, and do its intervals hold? Simulated archives with known truth.

    python tests/bench/bench_tolerance.py                       all cases, 1,000 archives of 400 and of 2,000
    python tests/bench/bench_tolerance.py --archives 100 --bursts 400 --case first

Prints for each case: the median signed error and the root-mean-square error of the log tolerance, the share
of intervals that hold the truth with the 95 % limits of that share, how often "not enough" and other flags
were raised, and the error of always guessing the middle of the range. Exit code 1 where a target is missed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from auditor.evidence.tolerance_checks import NOT_ENOUGH
from simulated_archives import SPEED_M_S, World, draw_archive

from auditor.evidence.proportions import wilson
from auditor.evidence.tolerance import fit_tolerance
from auditor.settings import Settings

SEED = 20240611
CASES = {
    "first": World("tolerance 0.02 to 0.09 mm"),
    "true distances": World("the same, given the true distances", guess_sd=0.0),
    "second": World("tolerance 0.01 to 0.2 mm", tolerance_mm=(0.01, 0.2)),
    "alike": World("bursts of 1 to 6, correlation 0.5", bursts="alike"),
    "one kept": World("one frame of a burst stands for it", bursts="one kept"),
    "best kept": World("at most one deserving frame of a burst is kept", bursts="best kept"),
    "inside": World("presses only inside the zone", presses="inside"),
    "gaussian": World("a keeper curve of another shape", curve="gaussian"),
    "heavy": World("heavier tails of the guesses", guess="heavy"),
    "far": World("all distances 10 % too far", guess="far"),
}
# Cases with targets: largest median signed error, RMS error at 400 and at 2,000 bursts; None: coverage only.
TARGETS = {"first": (0.08, {400: 0.30, 2000: 0.20}), "second": None, "alike": None, "one kept": None,
           "best kept": None}  # fmt: skip
COVERAGE = (0.93, 0.97)


def one_archive(number, *, case, bursts, seed, refits):
    world = CASES[case]
    rng = np.random.default_rng(
        [seed, list(CASES).index(case) if case != "true distances" else 0, bursts, number]
    )
    table, truth = draw_archive(rng, world, bursts)
    settings = Settings(guess_sd=world.guess_sd, speed_m_s=SPEED_M_S)
    fit = fit_tolerance(table, settings, refits=refits)
    return np.log(truth.tolerance_mm), np.log([fit.blur_mm, fit.low, fit.high]), fit.flags, truth.steepness


def run(case, bursts, archives, seed, workers, *, refits=False):
    """Return a dictionary of the figures of one case at one size."""
    job = partial(one_archive, case=case, bursts=bursts, seed=seed, refits=refits)
    started = time.perf_counter()
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            results = list(pool.map(job, range(archives), chunksize=10))
    else:
        results = [job(number) for number in range(archives)]
    truth = np.array([r[0] for r in results])
    found = np.array([r[1] for r in results])
    flags = [r[2] for r in results]
    steepness = np.array([r[3] for r in results])
    fitted = np.isfinite(found[:, 0])
    counts = np.array([NOT_ENOUGH not in f for f in flags]) & fitted
    error = found[:, 0] - truth
    held = (found[:, 1] <= truth) & (truth <= found[:, 2])
    used = counts if case == "second" else fitted
    low, high = wilson(held[used].sum(), used.sum())
    middle = np.mean(np.log(CASES[case].tolerance_mm))
    thirds = [held[used & part].mean() for part in _thirds(steepness)]
    return {
        "case": case, "bursts": bursts, "archives": archives, "signed": float(np.median(error[fitted])),
        "rms": float(np.sqrt(np.mean(error[fitted] ** 2))),
        "rms_enough": float(np.sqrt(np.mean(error[counts] ** 2))) if counts.any() else np.nan,
        "middle": float(np.sqrt(np.mean((truth - middle) ** 2))), "coverage": float(held[used].mean()),
        "coverage_low": low, "coverage_high": high, "below": float((truth < found[:, 1])[used].mean()),
        "above": float((truth > found[:, 2])[used].mean()),
        "width": float(np.median(np.exp(found[fitted, 2] - found[fitted, 1]))), "thirds": thirds,
        "not_enough": float(1 - counts.mean()), "flags": Counter(f for fs in flags for f in fs),
        "seconds": (time.perf_counter() - started) / archives,
    }  # fmt: skip


def _thirds(values):
    edges = np.quantile(values, [1 / 3, 2 / 3])
    number = np.searchsorted(edges, values)
    return [number == i for i in range(3)]


def misses(figures):
    """Return what a case missed of its targets, as words."""
    case = figures["case"]
    if case not in TARGETS:
        return []
    missed = []
    if figures["coverage_high"] < COVERAGE[0] or figures["coverage_low"] > COVERAGE[1]:
        missed.append(f"coverage {figures['coverage']:.3f}")
    if TARGETS[case] is not None:
        signed, rms = TARGETS[case]
        if abs(figures["signed"]) > signed:
            missed.append(f"signed error {figures['signed']:+.3f}")
        if figures["rms"] > rms.get(figures["bursts"], np.inf):
            missed.append(f"rms {figures['rms']:.3f}")
    return missed


def show(figures):
    flags = ", ".join(f"{name} {count}" for name, count in figures["flags"].most_common())
    print(
        f"{figures['case']:>15} {figures['bursts']:>5} bursts x {figures['archives']}: "
        f"signed {figures['signed']:+.3f}, rms {figures['rms']:.3f} (enough: {figures['rms_enough']:.3f}, "
        f"guessing the middle: {figures['middle']:.3f}), "
        f"covers {figures['coverage']:.3f} [{figures['coverage_low']:.3f}, {figures['coverage_high']:.3f}] "
        f"(truth below {figures['below']:.3f}, above {figures['above']:.3f}; soft, middling, hard curves "
        f"{', '.join(f'{share:.3f}' for share in figures['thirds'])}), high/low {figures['width']:.2f}, "
        f"not enough {figures['not_enough']:.3f}, {figures['seconds']:.2f} s each; flags: {flags or 'none'}",
        flush=True,
    )


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--archives", type=int, default=1000)
    parser.add_argument("--bursts", type=int, nargs="*", default=[400, 2000])
    parser.add_argument("--case", nargs="*", choices=list(CASES), default=list(CASES))
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--refits", action="store_true", help="also the flags that need refits")
    wanted = parser.parse_args()
    failed = []
    rms = {}
    for bursts in wanted.bursts:
        for case in wanted.case:
            figures = run(case, bursts, wanted.archives, wanted.seed, wanted.workers, refits=wanted.refits)
            show(figures)
            rms[case, bursts] = figures["rms"]
            failed += [f"{case}, {bursts} bursts: {miss}" for miss in misses(figures)]
        if ("true distances", bursts) in rms and ("first", bursts) in rms:
            ratio = rms["first", bursts] / rms["true distances", bursts]
            print(f"error with guessed distances over error with true ones: {ratio:.3f}")
            if ratio > 1.2:
                failed.append(f"{bursts} bursts: {ratio:.2f} times the error with true distances")
    print("missed: " + "; ".join(failed) if failed else "every target met")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
