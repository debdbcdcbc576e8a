"""What is said after every walk, against simulated diaries whose truth is known.

Promises hold (90 % intervals, as the next walk's), "more" and "less than 19 of 20 such walks" are false in at
most one of 20, drifts are said where there are some and hardly where there are none. A rate fails where its
exact 99 % binomial interval misses the range. Run ``python tests/bench/bench_diary.py [DIARIES]``; it exits
with 1 where a row fails. The suite runs short forms (``test_walks``, ``test_past``).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from scipy.stats import beta

sys.path.insert(0, str(Path(__file__).parents[1]))

from worlds.diaries import DiaryWorld, draw_diary

from auditor.advice.promise import counts_promised, promise_kept
from auditor.evidence.drift import find_drifts
from auditor.evidence.level import fit_level
from auditor.evidence.usual import usual_shares

DIARIES = 600
PEOPLE = {"keep 1 to 5 of 100": (0.01, 0.05), "keep 2 to 12 of 100": (0.02, 0.12)}
OFTEN = {"keep 30 to 60 of 100": (0.30, 0.60)}


def promise_holds(seed: int, world: DiaryWorld) -> bool:
    """Whether the last walk lies within what the walks before it promised."""
    diary = draw_diary(seed, world)
    promise = promise_kept(fit_level(diary["kept"][:-1], diary["kept_of"][:-1]))
    assert promise is not None
    low, high = counts_promised(promise.a, promise.b, int(diary["kept_of"].iloc[-1]))
    return bool(low <= diary["kept"].iloc[-1] <= high)


def place_is(place: str) -> Callable[[int, DiaryWorld], bool]:
    """Whether the last walk is said to lie there."""

    def told(seed: int, world: DiaryWorld) -> bool:
        diary = draw_diary(seed, world)
        return bool(usual_shares(diary["kept"], diary["kept_of"], 1).place.iloc[-1] == place)

    return told


def drift_is_said(what: str | None) -> Callable[[int, DiaryWorld], bool]:
    """Whether a drift is said; None: any."""

    def told(seed: int, world: DiaryWorld) -> bool:
        return any(one.shown and what in (None, one.what) for one in find_drifts(draw_diary(seed, world)))

    return told


def exact(hits: int, n: int, level: float = 0.99) -> tuple[float, float]:
    """Clopper and Pearson's interval (Biometrika 26:404, 1934)."""
    tail = (1 - level) / 2
    low = beta.ppf(tail, hits, n - hits + 1) if hits else 0.0
    return float(low), float(beta.ppf(1 - tail, hits + 1, n - hits) if hits < n else 1.0)


Row = tuple[str, Callable[[int, DiaryWorld], bool], DiaryWorld, float, float]


def rows() -> Iterator[Row]:
    """Each row: what, how it is told, the world, and the range that must be reached."""
    for people, keep in PEOPLE.items():
        for walks in (5, 9, 21):
            world = DiaryWorld(walks=walks, keep=keep)
            yield f"promise holds, {people}, after {walks - 1} walks", promise_holds, world, 0.86, 0.95
            yield f"said more, {people}, after {walks - 1} walks", place_is("more"), world, 0.0, 0.05
            yield f"said less, {people}, after {walks - 1} walks", place_is("less"), world, 0.0, 0.05
    for people, keep in OFTEN.items():  # beyond the people that the promise is made for: told, not required
        world = DiaryWorld(walks=9, keep=keep)
        yield f"promise holds, {people}, after 8 walks", promise_holds, world, 0.0, 1.0
        yield f"said more, {people}, after 8 walks", place_is("more"), world, 0.0, 0.05
    stricter = DiaryWorld(walks=21, stricter=-0.6)
    yield "promise holds, 0.6 logit stricter by the 21st walk", promise_holds, stricter, 0.86, 1.0
    yield (
        "said more, 2.5 logit better, after 8 walks",
        place_is("more"),
        DiaryWorld(walks=9, harder=2.5),
        0.6,
        1.0,
    )
    for walks in (6, 12, 40):
        yield f"a drift said, none, {walks} walks", drift_is_said(None), DiaryWorld(walks=walks), 0.0, 0.05
    yield "strictness said, -1.5 logit, 40 walks", drift_is_said("kept"), DiaryWorld(stricter=-1.5), 0.75, 1.0
    yield (
        "distance said, half again as far, 40 walks",
        drift_is_said("distance"),
        DiaryWorld(farther=0.41),
        0.75,
        1.0,
    )
    yield "stop said, a stop opened, 40 walks", drift_is_said("f_number"), DiaryWorld(opener=-0.55), 0.75, 1.0


def main(diaries: int = DIARIES) -> int:
    """Print each row with its rate, its interval and what was to be reached."""
    missed = 0
    for what, told, world, least, most in rows():
        hits = sum(told(seed, world) for seed in range(1, diaries + 1))
        low, high = exact(hits, diaries)
        fails = high < least or low > most
        missed += fails
        mark = "MISSED" if fails else ""
        print(
            f"{what:60} {hits / diaries:.3f} ({low:.3f} to {high:.3f}); {least:g} to {most:g} {mark}",
            flush=True,
        )
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
