"""How good the advice is, for invented photographers whose truth is known.

    python tests/bench/bench_advice.py [--photographers 1000] [--seed 7] [--workers 1]

Four questions, each with its target; exit code 1 if one is missed. With fewer than 100 photographers
the upper limit of the third cannot be met, since so few archives prove nothing.

1. Regret: of what the best setting of the same grid would truly bring, how much does the advised one give
   away? Beside it three naive rules: the preset with the best count so far, the handbook zone that covers
   most frames, the hyperfocal setting at f/8.
2. Does the interval of the expected hit rate hold the true one?
3. How often is a change advised where the setting in use is already within 1 % of the best? Also for
   photographers who press only when the subject looks inside the zone, and for presets tied to light.
4. From a cold start of one preset and 100 frames, what is the regret after two rounds of 300 frames of the
   proposed experiment?
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
import pandas as pd
from auditor.advice.experiment import propose_experiment
from auditor.advice.lens_use import choices_of, use_of_lens
from auditor.advice.recommend import advise
from photographers import (
    COC_MM,
    draw_photographer,
    draw_presets,
    near_best_settings,
    true_rates,
    walk,
)

from auditor.evidence.presets import number_bursts
from auditor.evidence.proportions import wilson
from auditor.evidence.tolerance import fit_tolerance
from auditor.optics.lens import hyperfocal_m, sharp_zone
from auditor.settings import Settings

SETTINGS = Settings(f_number_min=2.8, f_number_max=16)
FRAMES = 600
NAIVE = ("best count so far", "widest handbook cover", "hyperfocal at f/8")
KINDS = {
    "plain": {},
    "pressing only inside the zone": {"presses_inside": True},
    "presets tied to light": {"tied_to_light": True},
}


def advice_on(table, settings=SETTINGS):
    return advise(table, (), settings, fit_tolerance(table, settings, refits=False))


def truth_of_grid(person, table, advice):
    """Settings that may be advised, and their true rates."""
    use = use_of_lens(table, (), SETTINGS)
    choices = choices_of(use, SETTINGS, advice.experience_from_m, advice.experience_to_m)
    allowed = choices.within_experience
    number, focus = choices.f_number[allowed], choices.focus_distance_m[allowed]
    return number, focus, true_rates(person, number, focus, table["true_ev"]), allowed


def of_setting(person, table, setting):
    return true_rates(person, [setting.f_number], [setting.focus_distance_m], table["true_ev"])[0]


def one_archive(seed, kind):
    """Regret, naive regrets, and whether intervals hold the truth, for one photographer."""
    rng = np.random.default_rng(seed)
    person = draw_photographer(rng, **KINDS[kind])
    table = walk(person, draw_presets(person, rng), FRAMES, rng)
    if len(table) < FRAMES // 2:
        return None
    advice = advice_on(table)
    number, focus, rates, allowed = truth_of_grid(person, table, advice)
    best, first = rates.max(), advice.settings[0]
    advised = of_setting(person, table, first)
    low, high = (advice.grid[name].to_numpy()[allowed] for name in ("low", "high"))
    rows = naive_settings(person, table, advice, number, focus)
    naive = true_rates(person, rows[:, 0], rows[:, 1], table["true_ev"])
    now = of_setting(person, table, advice.current[0])
    return {
        "regret": 1 - advised / best,
        **{name: 1 - rate / best for name, rate in zip(NAIVE, naive, strict=True)},
        "holds": first.low <= advised <= first.high,
        "all_hold": float(np.mean((low <= rates) & (rates <= high))),
        "width": first.high - first.low,
        "change": advice.change_advised,
        "worse": advice.change_advised and advised < now,
        "staying": 1 - (advised if advice.change_advised else now) / best,
        "flagged": "not_enough" in advice.flags,
    }


def naive_settings(person, table, advice, number, focus):
    """The settings of the three naive rules, as rows of f-number and focus distance."""
    counted = max(advice.current, key=lambda setting: setting.observed_hit_rate)
    zone = sharp_zone(person.focal_mm, number[:, None], focus[:, None], COC_MM)
    met = table["subject_distance_m"].to_numpy()
    covered = ((zone.near_limit_m <= met) & (met <= zone.far_limit_m)).sum(axis=1).argmax()
    hyperfocal = float(hyperfocal_m(person.focal_mm, 8, COC_MM))
    return np.array(
        [
            [counted.f_number, counted.focus_distance_m],
            [number[covered], focus[covered]],
            [8.0, hyperfocal],
        ]
    )


def one_good_setting(seed, kind):
    """Whether a change is advised to somebody whose most used preset is already within 1 % of the best."""
    rng = np.random.default_rng(seed)
    person = draw_photographer(rng, **KINDS[kind])
    good = near_best_settings(person, rng)
    presets = draw_presets(person, rng, count=4)
    if not good or any(good[0] == preset for preset in presets):
        return None
    share = np.array([0.4, *[0.15] * 4])
    order = np.argsort([stop for stop, _ in [good[0], *presets]], kind="stable")
    table = walk(person, [[good[0], *presets][i] for i in order], FRAMES, rng, share=share[order])
    if len(table) < FRAMES // 2:
        return None
    advice = advice_on(table)
    now = advice.current[0]
    rates = truth_of_grid(person, table, advice)[2]
    in_use = of_setting(person, table, now)
    if in_use < 0.99 * rates.max():
        return None
    return {"change": advice.change_advised, "gain": advice.gain}


def one_cold_start(seed, kind):
    """Regret after one preset and 100 frames, and after each of two rounds of the proposed experiment."""
    rng = np.random.default_rng(seed)
    person = draw_photographer(rng, **KINDS[kind])
    table = walk(person, draw_presets(person, rng, count=1), 100, rng, sessions=1)
    if len(table) < 50:
        return None
    result = {}
    for step in range(3):
        advice = advice_on(table)
        best = truth_of_grid(person, table, advice)[2].max()
        result[f"regret_{step}"] = 1 - of_setting(person, table, advice.settings[0]) / best
        if step < 2:
            tolerance = fit_tolerance(table, SETTINGS, refits=False)
            tried = propose_experiment(table, (), SETTINGS, tolerance, bursts=300).settings
            presets = sorted((one.f_number, one.focus_distance_m) for one in tried)
            further = walk(person, presets, 300, rng, sessions=2, first_session=10 * (step + 1))
            table = number_bursts(pd.concat([table, further], ignore_index=True))
    return result


def run(question: Callable, kind: str, count: int, seed: int, workers: int = 1) -> pd.DataFrame:
    """Answers of so many photographers; those with whom the question does not arise are drawn anew."""
    tries = [(question, s, kind) for s in np.random.SeedSequence(seed).spawn(6 * count)]
    rows: list[dict] = []
    if workers == 1:
        for answer in map(_answer, tries):
            rows += [answer] if answer else []
            if len(rows) == count:
                break
    else:
        with get_context("spawn").Pool(workers) as pool:
            for answer in pool.imap(_answer, tries, chunksize=4):
                rows += [answer] if answer else []
                if len(rows) == count:
                    pool.terminate()
                    break
    return pd.DataFrame(rows)


def _answer(job):
    question, seed, kind = job
    return question(seed, kind)


def judge_archives(rows: pd.DataFrame) -> dict[str, bool]:
    """Targets of regret and coverage."""
    naive = min(rows[name].mean() for name in NAIVE)
    return {
        "mean regret at most 0.015": rows["regret"].mean() <= 0.015,
        "90th percentile at most 0.04": rows["regret"].quantile(0.9) <= 0.04,
        "at most half the best naive rule": rows["regret"].mean() <= naive / 2,
        "interval holds the truth in 90 to 98 %": 0.90 <= rows["holds"].mean() <= 0.98,
    }


def print_archives(kind: str, rows: pd.DataFrame) -> None:
    low, high = wilson(rows["holds"].sum(), len(rows))
    print(f"\n{kind}: {len(rows)} archives of {FRAMES} frames, five presets")
    names = {"regret": "advised setting", **{name: name for name in NAIVE}}
    for column, name in (names | {"staying": "after acting on change or no change"}).items():
        print(f"  regret {name:<36} mean {rows[column].mean():.4f}  90 % {rows[column].quantile(0.9):.4f}")
    held, width = rows["holds"].mean(), rows["width"].mean()
    print(f"  interval of the advised setting holds the truth: {held:.3f} ({low:.3f}-{high:.3f})")
    print(f"  intervals of all that may be advised: {rows['all_hold'].mean():.3f}; mean width {width:.3f}")
    print(
        f"  change advised: {rows['change'].mean():.3f}, to a truly worse setting: {rows['worse'].mean():.4f}"
    )
    print(f"  flagged 'not enough': {rows['flagged'].mean():.3f}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--photographers", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    n, seed, workers = options.photographers, options.seed, options.workers
    started, verdicts = time.perf_counter(), {}

    plain = run(one_archive, "plain", n, seed, workers)
    print_archives("plain", plain)
    verdicts |= judge_archives(plain)
    for kind in list(KINDS)[1:]:
        print_archives(kind, run(one_archive, kind, max(n // 5, 1), seed + 1, workers))

    print("\nchange advised where the setting in use is already within 1 % of the best")
    for kind in KINDS:
        rows = run(one_good_setting, kind, max(n // 2, 1), seed + 2, workers)
        _, high = wilson(rows["change"].sum(), len(rows))
        print(f"  {kind:<32} {rows['change'].sum()} of {len(rows)}, upper limit {high:.3f}")
        verdicts[f"change at most 5 % (upper 8 %), {kind}"] = rows["change"].mean() <= 0.05 and high <= 0.08

    cold = run(one_cold_start, "plain", max(n // 5, 1), seed + 3, workers)
    means = ", ".join(f"{cold[f'regret_{step}'].mean():.4f}" for step in range(3))
    print(f"\ncold start, {len(cold)} photographers: mean regret after 100, 400, 700 frames: {means}")
    verdicts["mean regret after two rounds at most 0.05"] = cold["regret_2"].mean() <= 0.05

    print(f"\n{time.perf_counter() - started:.0f} s")
    for target, met in verdicts.items():
        print(f"{'met   ' if met else 'MISSED'} {target}")
    return 0 if all(verdicts.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
