"""A short form of the bench of rates: people who keep 1 to 8 of 100, a sample of 60 distances."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from worlds.people import World, draw_archive

BENCH = Path(__file__).parent / "bench" / "bench_rates.py"


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_rates", BENCH)
    sys.modules["bench_rates"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules["bench_rates"])
    return sys.modules["bench_rates"]


@pytest.mark.slow
@pytest.mark.parametrize("world", [{}, {"presses_inside": True}], ids=["anybody", "in the zone"])
def test_rates_are_true_after_a_sample_was_drawn(bench, world):
    table = bench.rows(range(1, 25), **world)
    assert all(passed is not False for *_, passed in table)
    plain = next(value for name, value, *_ in table if name.startswith("unweighted"))
    assert plain > 3, "without weights the sample flatters"


@pytest.mark.slow
def test_people_are_as_the_bench_says():
    kept, frames, near = [], [], []
    for seed in range(30):
        archive = draw_archive(seed, World(distances=1000))
        table, chance = archive.table, archive.chance
        kept.append((table["counted_as"] == "keeper").mean())
        frames.append(len(table))
        assert np.all((chance >= 0) & (chance < 1))
        assert table.groupby("burst")["keeper"].apply(lambda marks: (marks == "yes").sum()).max() <= 1
        near.append(np.corrcoef(np.log(table["subject_distance_m"]), chance)[0, 1])
    assert 0.02 < np.mean(kept) < 0.06
    assert min(kept) < 0.02
    assert min(frames) > 390
    assert np.mean(near) < 0


def test_limits_of_a_share_against_the_binomial_itself(bench):
    """The chance of so few, or so many, hits at each limit is half of what is left over."""
    from scipy.stats import binom

    low, high = bench.exact(57, 60)
    assert binom.sf(56, 60, low) == pytest.approx(0.005, rel=1e-6)
    assert binom.cdf(57, 60, high) == pytest.approx(0.005, rel=1e-6)
