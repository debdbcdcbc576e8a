"""Are rates true after a sample of distances was drawn? Invented people who keep 1 to 8 frames of 100.

    python tests/bench/bench_rates.py                    seeds 1 to 60
    python tests/bench/bench_rates.py --seeds 400
    python tests/bench/bench_rates.py --troubles         each trouble alone as well

Each archive has 400 frames, of which 60 drawn ones have a distance. Shown rates are held against the mean
true chance of the archive's own counted frames in the same place, sessions as they were. Prints each row with
its limits, for people who press at anybody and for those who press in the zone; exit code 1 where one is
missed: a share of intervals fails when its exact 99 % binomial interval misses the range, a median when its
99 % bootstrap interval does.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from scipy.special import betaincinv

sys.path.insert(0, str(Path(__file__).parents[1]))

from worlds.people import World, draw_archive, measure_some

from auditor.evidence.bursts import count_frames, is_keeper
from auditor.evidence.presets import BANDS_M, count_distances
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met
from auditor.evidence.zone_check import rates_in_and_out

DISTANCES, EVERY = 60, 10_000
RATIO, HELD = (0.8, 1.25), (0.92, 0.98)
FEWEST = 5  # measured frames of a band that is looked at
TROUBLES = {
    "outings": {"session_sd": 0.0},
    "near": {"near": 0.0},
    "best": {"best_of_burst": False},
    "stricter": {"drift": 0.0},
    "error": {"distance_sd": 0.0, "distance_bias": 0.0},
}  # each with what leaves it out
WORLDS = {"all together": {}, "presses in the zone": {"presses_inside": True}}


def one_archive(seed: int, troubles: Iterable[str] = TROUBLES, *, presses_inside: bool = False):
    """Shown over true rate and whether the interval held, in the zone, outside, and in the bands."""
    calm = {key: value for name in TROUBLES.keys() - troubles for key, value in TROUBLES[name].items()}
    world = World(distances=EVERY, presses="zone" if presses_inside else "all", **calm)
    archive = draw_archive(13_000 + seed, world)
    table, chance = archive.table, archive.chance
    drawn = measure_some(table, DISTANCES, seed)
    inside = drawn["in_zone"].fillna(False).to_numpy(bool)
    known = drawn["in_zone"].notna().to_numpy()
    rates = rates_in_and_out(drawn[known].reset_index(drop=True), inside[known], 0.95)
    where = table["in_zone"].to_numpy(bool)
    truth = {"in": chance[where].mean(), "out": chance[~where].mean() if not where.all() else np.nan}
    found = {side: _held(rates, side, truth[side]) for side in ("in", "out")}
    times = truth["in"] / truth["out"]
    found["times"] = (rates["times"] / times, bool(rates["times_low"] <= times <= rates["times_high"]))
    raw = is_keeper(drawn[known & inside]).mean() if (known & inside).any() else np.nan
    found["unweighted"] = (raw / truth["in"], False)
    return found, _bands(drawn, table, chance)


def _held(rates, side, truth):
    return rates[f"{side}_rate"] / truth, bool(rates[f"{side}_low"] <= truth <= rates[f"{side}_high"])


def _bands(drawn, table, chance):
    bands = count_distances(count_frames(drawn), judged_frames(frames_met(drawn)), 0.95)
    place = np.searchsorted(BANDS_M, table["subject_distance_m"].to_numpy(), side="right") - 1
    held = []
    for band in bands[bands["preset"].isna() & (bands["frames"] >= FEWEST)].itertuples():
        truth = chance[place == BANDS_M.index(band.from_m)].mean()
        held.append((band.frame_rate / truth, bool(band.frame_low <= truth <= band.frame_high)))
    return held


def exact(hits: int, n: int, level: float = 0.99) -> tuple[float, float]:
    """Clopper and Pearson's interval (1934, Biometrika 26:404)."""
    tail = (1 - level) / 2
    low = float(betaincinv(hits, n - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, n - hits, 1 - tail)) if hits < n else 1.0
    return low, high


def bootstrap_median(values: np.ndarray, level: float = 0.99) -> tuple[float, float]:
    """Percentile interval of a median."""
    rng = np.random.default_rng(1)
    medians = np.median(rng.choice(values, (2000, values.size)), axis=1)
    low, high = np.quantile(medians, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def rows(seeds, **world):
    """Rows of one world: name, value, its 99 % interval, limits, passed (None: for information)."""
    archives = [one_archive(seed, **world) for seed in seeds]
    table = []
    for name, title in (("in", "inside the zone"), ("out", "outside"), ("bands", "distance bands")):
        pairs = (
            [b for _, bands in archives for b in bands] if name == "bands" else [f[name] for f, _ in archives]
        )
        pairs = [pair for pair in pairs if np.isfinite(pair[0])]
        ratio, held = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
        if name == "in":
            low, high = bootstrap_median(ratio)
            passed = high >= RATIO[0] and low <= RATIO[1]
            table.append(
                (f"shown over true rate {title}, median", np.median(ratio), (low, high), RATIO, passed)
            )
        low, high = exact(int(held.sum()), held.size)
        passed = high >= HELD[0] and low <= HELD[1]
        table.append((f"95 % intervals {title} hold", held.mean(), (low, high), HELD, passed))
    known = [f["times"][1] for f, _ in archives if np.isfinite(f["times"][0]) and f["times"][0] > 0]
    low, high = exact(sum(known), len(known))
    table.append(("95 % intervals of times as often hold", np.mean(known), (low, high), HELD, None))
    plain = np.array([f["unweighted"][0] for f, _ in archives])
    plain = plain[np.isfinite(plain)]
    table.append(
        ("unweighted over true rate inside, median", np.median(plain), bootstrap_median(plain), None, None)
    )
    return table


def report(title, table, out=sys.stdout):
    """Print the rows of a world; return whether all passed."""
    out.write(f"\n{title}\n")
    for name, value, (low, high), limits, passed in table:
        wanted = f"{limits[0]:g} to {limits[1]:g}" if limits else ""
        verdict = {True: "pass", False: "FAIL", None: ""}[passed]
        out.write(f"  {name:45} {value:6.3f} ({low:.3f} to {high:.3f})  {wanted:13} {verdict}\n")
    return all(passed is not False for *_, passed in table)


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=60, help="archives of each world, seeds 1 to N")
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--troubles", action="store_true", help="each trouble alone as well")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.seeds)
    passed = [report(name, rows(seeds, **world)) for name, world in WORLDS.items()]
    if args.troubles:
        passed += [report(f"{name} alone", rows(seeds, troubles=(name,))) for name in TROUBLES]
    sys.exit(0 if all(passed) else 1)


if __name__ == "__main__":
    main()
