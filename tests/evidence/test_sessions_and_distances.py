"""The distances met."""

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from scipy.stats import kruskal

from auditor.evidence.bursts import count_frames
from auditor.evidence.distances_met import distances_met
from auditor.evidence.proportions import wilson


def test_distances_against_plain_quantiles(frame_table):
    rng = np.random.default_rng(5)
    distance = np.exp(rng.normal(1, 0.4, 200))
    preset = np.array(["a", "b"], dtype=object)[np.arange(200) % 2]
    table = frame_table(np.zeros(200), subject_distance_m=distance, preset=preset, in_zone=distance < 3)
    result = distances_met(count_frames(table))
    everything = result.presets.iloc[0]
    assert_allclose(everything["median_m"], np.quantile(distance, 0.5, method="inverted_cdf"), rtol=1e-12)
    assert_allclose(everything["in_zone"], np.mean(distance < 3), rtol=1e-12)
    assert_allclose(result.p_value, kruskal(distance[::2], distance[1::2]).pvalue, rtol=1e-12)
    assert result.presets["preset"].isna().tolist() == [True, False, False]


def test_a_burst_counts_once_however_many_of_its_frames_were_measured(frame_table):
    """Three bursts of four frames at 2 m, every frame measured, and four lone frames at 5 m: most are far."""
    near = frame_table(np.zeros(16), burst=[0] * 4 + [1] * 4 + [2] * 4 + [3, 4, 5, 6], preset="a",
                       subject_distance_m=[2.0] * 12 + [5.0] * 4)  # fmt: skip
    assert distances_met(count_frames(near)).presets.loc[0, "median_m"] == 5.0


def test_the_share_in_the_zone_has_its_n_and_an_interval_that_allows_for_bursts(frame_table):
    inside = np.tile([True, True, True, False, False, False], 20)
    settings = {"preset": "a", "subject_distance_m": np.where(inside, 2.0, 9.0), "in_zone": inside}
    alone = distances_met(count_frames(frame_table(np.zeros(120), **settings))).presets.iloc[1]
    assert_allclose([alone["zone_low"], alone["zone_high"]], wilson(60, 120), atol=0.006)
    bursts = frame_table(np.zeros(120), burst=np.arange(120) // 3, **settings)
    alike = distances_met(count_frames(bursts)).presets.iloc[1]
    assert alike["zone_frames"] == 120
    assert_allclose(alike["in_zone"], 0.5)
    assert_allclose([alike["zone_low"], alike["zone_high"]], wilson(20, 40), atol=0.02)
    unknown = bursts.assign(in_zone=pd.array([pd.NA] * 120, dtype="boolean"))
    row = distances_met(count_frames(unknown)).presets.iloc[1]
    assert row["zone_frames"] == 0
    assert np.isnan([row["in_zone"], row["zone_low"], row["zone_high"]]).all()


def test_distances_that_differ(frame_table):
    distance = np.r_[np.linspace(1, 2, 30), np.linspace(3, 5, 30)]
    table = frame_table(np.ones(60), subject_distance_m=distance, preset=["a"] * 30 + ["b"] * 30)
    assert distances_met(count_frames(table)).differ
    weighted = table.assign(sample_weight=np.r_[np.full(30, 1.0), np.full(30, 100.0)])
    assert distances_met(count_frames(weighted)).presets.loc[0, "median_m"] > 3


def test_no_distances(frame_table):
    result = distances_met(count_frames(frame_table([1, 0], preset="a")))
    assert result.presets.empty
    assert np.isnan(result.p_value)
