"""Counting, shrinking, hours."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import betabinom

from auditor.evidence.proportions import wilson
from auditor.evidence.rates import hit_rates
from auditor.evidence.shrinkage import fit_beta_binomial, shrunken_rates


def test_counts_by_hand(frame_table):
    table = frame_table(
        [1, 0, 0, 1, 1, 0, -1, 0],
        burst=[0, 0, 1, 2, 2, 3, 4, 5],
        preset=["a", "a", "a", "b", "b", "b", "b", None],
    )
    rates = hit_rates(table, ["preset"]).set_index("preset")
    assert rates[["bursts", "hits", "frames", "keepers"]].to_numpy().tolist() == [[2, 1, 3, 1], [2, 1, 3, 2]]
    assert_allclose(rates["hit_rate"], [0.5, 0.5])
    assert_allclose(rates[["low", "high"]].to_numpy(), [wilson(1, 2)] * 2, rtol=1e-12)
    # a: 20 s from first to last frame, one keeper; b: 20 s, two keepers
    assert_allclose(rates["keepers_per_hour"], [180.0, 360.0])
    # Garwood (1936): one event has the exact limits 0.0253 and 5.572 (from memory)
    assert_allclose(rates.loc["a", ["per_hour_low", "per_hour_high"]], [180 * 0.0253, 180 * 5.572], rtol=2e-3)


def test_burst_without_number_stands_alone(frame_table):
    table = frame_table([1, 0, 1], burst=[pd.NA, pd.NA, 7], preset="a")
    rates = hit_rates(table, ["preset"])
    assert rates.loc[0, "bursts"] == 3
    assert rates.loc[0, "hits"] == 2


def test_runs_are_split_by_another_preset_and_by_sessions(frame_table):
    table = frame_table([1] * 6, preset=list("aabbaa"), session=[0, 0, 0, 0, 0, 1])
    rates = hit_rates(table, ["preset"]).set_index("preset")
    assert_allclose(rates["keepers_per_hour"], [4 / (10 / 3600), 2 / (10 / 3600)])


def test_combinations_and_nothing(frame_table):
    table = frame_table([1, 0, 1, 0], lens=["x", "x", "y", "y"], f_number=[8.0, 5.6, 8.0, 8.0])
    assert len(hit_rates(table, ["lens", "f_number"])) == 3
    assert hit_rates(table.iloc[:0], ["lens"]).empty
    single = frame_table([1], preset="a")
    assert np.isnan(hit_rates(single, ["preset"]).loc[0, "keepers_per_hour"])


def test_beta_binomial_against_grid_search():
    """The maximum of scipy.stats' own likelihood over a fine grid."""
    rng = np.random.default_rng(3)
    n = rng.integers(5, 80, 40)
    hits = rng.binomial(n, rng.beta(3, 9, 40))
    a, b = fit_beta_binomial(hits, n)
    means, precisions = np.meshgrid(np.linspace(0.15, 0.4, 151), np.geomspace(3, 60, 150))
    grid = betabinom.logpmf(
        hits[:, None, None], n[:, None, None], means * precisions, (1 - means) * precisions
    )
    best = np.unravel_index(grid.sum(axis=0).argmax(), means.shape)
    assert_allclose(a / (a + b), means[best], atol=0.002)
    assert_allclose(np.log(a + b), np.log(precisions[best]), atol=0.03)
    assert betabinom.logpmf(hits, n, a, b).sum() >= grid.sum(axis=0).max() - 1e-6


def test_equal_groups_are_pulled_together_and_unequal_ones_are_not():
    assert np.ptp(shrunken_rates([10, 11, 9, 10], [50, 50, 50, 50])) < 0.01
    assert np.ptp(shrunken_rates([5, 250, 450], [500, 500, 500])) > 0.8


@pytest.mark.parametrize("hits", [[0, 0], [4, 9]])
def test_all_or_none(hits):
    rates = shrunken_rates(hits, [4, 9])
    assert np.isfinite(rates).all()
    assert np.isnan(shrunken_rates([], [])).all()
