"""The distances met of each preset, counted once a burst, and when they are called different."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import kruskal

from auditor.evidence.bursts import count_frames
from auditor.evidence.distances_met import QUANTILES, distances_met
from auditor.evidence.proportions import weighted_quantile_interval


def met(table, confidence=0.95):
    return distances_met(count_frames(table), confidence)


def test_presets_that_meet_like_distances_are_not_called_different(frame_table):
    distance = np.linspace(1, 3, 24)
    table = frame_table(np.zeros(24), subject_distance_m=distance, preset=["a", "b"] * 12)
    found = met(table)
    assert found.p_value == pytest.approx(kruskal(distance[::2], distance[1::2]).pvalue)
    assert (found.p_value > 0.5, found.differ) == (True, False)
    apart = table.assign(subject_distance_m=distance + np.tile([0, 0.6], 12))
    p = met(apart).p_value
    assert [met(apart, level).differ for level in (1 - p - 0.01, 1 - p + 0.01)] == [True, False]


def test_presets_of_at_least_five_bursts_are_held_against_each_other(frame_table):
    distance = np.array([1.0, 2, 3, 4, 5, 4, 5, 6, 7, 8, 9, 10, 11, 12])
    preset = np.repeat(["a", "b", "c"], [5, 5, 4])
    table = frame_table(np.zeros(14), subject_distance_m=distance, preset=preset)
    assert met(table).p_value == pytest.approx(kruskal(distance[:5], distance[5:10]).pvalue)
    assert np.isnan(met(table.head(9)).p_value)
    assert np.isnan(met(table.assign(subject_distance_m=2.0)).p_value), "there is nothing to order"
    two = np.where(distance < 4, 2.0, 5.0)
    assert met(table.assign(subject_distance_m=two)).p_value == pytest.approx(
        kruskal(two[:5], two[5:10]).pvalue
    )


def test_a_burst_stands_for_its_frames_that_stand_for_others_over_its_size(frame_table):
    """Three presses: two frames that stand for three each, one for one, and one of two frames unmeasured."""
    inside = pd.array([True, False, None, True, None], dtype="boolean")
    table = frame_table(
        np.zeros(5), burst=[1, 1, 2, 3, 3], preset="a", subject_distance_m=[1.0, 3.0, 4.0, 6.0, np.nan],
        sample_weight=[3.0, 3.0, 1.0, 5.0, np.nan], in_zone=inside,
    )  # fmt: skip
    one = met(table).presets.iloc[1]
    distance, weight = np.array([2.0, 4.0, 6.0]), np.array([3.0, 1.0, 2.5])
    wanted = np.quantile(distance, list(QUANTILES.values()), weights=weight, method="inverted_cdf")
    assert one[list(QUANTILES)].tolist() == wanted.tolist()
    interval = weighted_quantile_interval(distance, weight, 0.5, 0.95)
    assert (one["median_low_m"], one["median_high_m"]) == interval
    assert (one["bursts"], one["frames"], one["zone_frames"]) == (3, 4, 3)
    assert one["in_zone"] == pytest.approx((3 + 5) / (3 + 3 + 5))


def test_each_preset_is_described_in_the_order_of_names_after_all_together(frame_table):
    table = frame_table(np.zeros(6), subject_distance_m=[2.0, 2, 2, 8, 8, 8], preset=list("bbbaaa"),
                        in_zone=[True, False, False, True, True, False])  # fmt: skip
    rows = met(table).presets
    assert rows["preset"].fillna("all").tolist() == ["all", "a", "b"]
    assert rows["median_m"].tolist() == [2, 8, 2]
    assert rows["in_zone"].tolist() == pytest.approx([1 / 2, 2 / 3, 1 / 3])
    assert rows["frames"].tolist() == rows["zone_frames"].tolist() == [6, 3, 3]
