"""Counting and hours."""

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from auditor.evidence.proportions import wilson
from auditor.evidence.rates import hit_rates


def test_counts_by_hand(frame_table):
    table = frame_table(
        [1, 0, 0, 1, 1, 0, 0], burst=[0, 0, 1, 2, 2, 3, 5], preset=["a", "a", "a", "b", "b", "b", None]
    )
    rates = hit_rates(table, "preset").set_index("preset")
    assert rates[["bursts", "hits", "frames", "keepers"]].to_numpy().tolist() == [[2, 1, 3, 1], [2, 1, 3, 2]]
    assert_allclose(rates["hit_rate"], [0.5, 0.5])
    assert_allclose(rates[["low", "high"]].to_numpy(), [wilson(1, 2)] * 2, rtol=1e-12)
    # a: 20 s from first to last frame, one keeper; b: 20 s, two keepers
    assert_allclose(rates["keepers_per_hour"], [180.0, 360.0])
    # Garwood (1936): one event has the exact limits 0.0253 and 5.572 (from memory)
    assert_allclose(rates.loc["a", ["per_hour_low", "per_hour_high"]], [180 * 0.0253, 180 * 5.572], rtol=2e-3)


def test_burst_without_number_stands_alone(frame_table):
    table = frame_table([1, 0, 1], burst=[pd.NA, pd.NA, 7], preset="a")
    rates = hit_rates(table, "preset")
    assert rates.loc[0, "bursts"] == 3
    assert rates.loc[0, "hits"] == 2


def test_runs_are_split_by_another_preset_and_by_sessions(frame_table):
    table = frame_table([1] * 6, preset=list("aabbaa"), session=[0, 0, 0, 0, 0, 1])
    rates = hit_rates(table, "preset").set_index("preset")
    assert_allclose(rates["keepers_per_hour"], [4 / (10 / 3600), 2 / (10 / 3600)])


def test_groups_and_nothing(frame_table):
    table = frame_table([1, 0, 1, 0], lens=["x", "x", "y", "y"])
    assert len(hit_rates(table, "lens")) == 2
    assert hit_rates(table.iloc[:0], "lens").empty
    single = frame_table([1], preset="a")
    assert np.isnan(hit_rates(single, "preset").loc[0, "keepers_per_hour"])
