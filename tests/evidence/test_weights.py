"""For how many frames each measured frame stands."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from auditor.evidence.bursts import count_frames
from auditor.evidence.weights import add_weights, sampled_frames, unheard, weights_of
from auditor.evidence.zone_check import rates_in_and_out


def weighed(table, **columns):
    return add_weights(table.assign(**columns))["sample_weight"].to_numpy()


def test_counted_frames_over_frames_with_a_distance_within_preset_and_mark(frame_table):
    """Six keepers of a, two measured; four others, one measured; all three of b."""
    kept = np.r_[np.ones(6), np.zeros(4), [1, 0, 0], [2, 2]]
    distance = np.full(15, np.nan)
    distance[[0, 3, 7, 10, 11, 12, 13]] = 2.0
    table = frame_table(kept, preset=["a"] * 10 + ["b"] * 3 + ["a"] * 2, subject_distance_m=distance)
    weight = weighed(table)
    assert_allclose(weight[[0, 3, 7, 10, 11, 12]], [3, 3, 4, 1, 1, 1])
    assert np.isnan(np.delete(weight, [0, 3, 7, 10, 11, 12])).all()  # left out, or without a distance
    assert_allclose(np.nansum(weight), 13)
    autofocused = table.assign(in_preset=pd.array([False] * 10 + [True] * 5, dtype="boolean"))
    assert np.isnan(weighed(autofocused)[:10]).all()


def test_a_noted_frame_carries_its_burst_and_a_drawn_one_does_not(frame_table):
    """Bursts of four and of one, a distance noted for the first frame of each; the tenth frame has none."""
    table = frame_table(
        np.zeros(10), preset="a", burst=[0, 0, 0, 0, 1, 1, 1, 1, 2, 3],
        subject_distance_m=[2, np.nan, np.nan, np.nan, 3, np.nan, np.nan, np.nan, 4, np.nan],
    )  # fmt: skip
    assert_allclose(weighed(table)[[0, 4, 8]], np.array([4, 4, 1]) * 10 / 9)
    drawn = weighed(table, sample_weight=np.where(table["subject_distance_m"].notna(), 9.0, np.nan))
    assert_allclose(drawn[[0, 4, 8]], 10 / 3)


def test_stale_weights_give_way_and_drawn_frames_that_wait_keep_theirs(frame_table):
    table = frame_table(np.zeros(6), preset="a", subject_distance_m=[2, 3] + [np.nan] * 4,
                        sample_weight=[50, 50, 50, np.nan, np.nan, np.nan])  # fmt: skip
    found = add_weights(table)
    assert_allclose(found["sample_weight"], [3, 3, 50, np.nan, np.nan, np.nan])
    assert found["drawn"].tolist() == [True] * 3 + [False] * 3
    again = add_weights(found)
    assert_allclose(again["sample_weight"], found["sample_weight"])
    assert again["drawn"].tolist() == found["drawn"].tolist()


def test_a_mark_without_a_distance_is_named_and_stays_out(frame_table):
    kept = [1, 1, 0, 0, 0, 0, 1, 0]
    table = frame_table(kept, preset=["a"] * 6 + ["b"] * 2,
                        subject_distance_m=[np.nan, np.nan, 2, 2, np.nan, np.nan, 2, 2])  # fmt: skip
    found = add_weights(table)
    silent = unheard(count_frames(found))
    assert silent.to_dict("records") == [{"preset": "a", "counted_as": "keeper", "frames": 2}]
    assert_allclose(found["sample_weight"], [np.nan, np.nan, 2, 2, np.nan, np.nan, 1, 1])
    nothing = add_weights(table.assign(subject_distance_m=np.nan))
    assert unheard(count_frames(nothing)).empty


def test_a_preset_most_of_whose_frames_nobody_speaks_for_stays_out_whole(frame_table):
    """Distances of the keepers alone say nothing of how many were kept."""
    table = frame_table([1] * 3 + [0] * 7, preset="a", subject_distance_m=[2.0] * 3 + [np.nan] * 7,
                        in_zone=pd.array([True] * 3 + [None] * 7, dtype="boolean"))  # fmt: skip
    found = add_weights(table)
    assert not weights_of(found).any()
    known = found[found["in_zone"].notna()]
    assert np.isnan(rates_in_and_out(known, np.ones(3, dtype=bool), 0.95)["in_rate"])


def test_a_table_never_weighed_counts_each_frame_once(frame_table):
    table = frame_table([1, 0, 0], preset="a", subject_distance_m=[2.0, np.nan, 3.0])
    assert_allclose(weights_of(table), [1, 0, 1])
    chosen, sampled = sampled_frames(table)
    assert chosen["file"].tolist() == ["F00000.JPG", "F00002.JPG"]
    assert_allclose(sampled.weight, 1)


def test_marks_chosen_at_will_leave_the_shares_true(frame_table):
    """All keepers and a tenth of the others measured: the shares inside and outside come back."""
    rng = np.random.default_rng(4)
    n = 20_000
    inside = rng.random(n) < 0.5
    kept = rng.random(n) < np.where(inside, 0.08, 0.02)
    known = kept | (rng.random(n) < 0.1)
    table = frame_table(
        kept.astype(int), preset="a", in_zone=pd.array(inside, dtype="boolean").copy(),
        subject_distance_m=np.where(known, 2.0, np.nan), sample_weight=np.where(known, 1.0, np.nan),
    )  # fmt: skip
    measured = add_weights(table)[known].reset_index(drop=True)
    found = rates_in_and_out(measured, inside[known], 0.95)
    assert found["in_rate"] == pytest.approx(0.08, rel=0.1)
    assert found["out_rate"] == pytest.approx(0.02, rel=0.15)
    assert found["times"] == pytest.approx(found["in_rate"] / found["out_rate"], rel=1e-12)


def test_a_preset_just_half_of_whose_frames_nobody_speaks_for_stays_in(frame_table):
    table = frame_table([1] * 3 + [0] * 3, preset="a", subject_distance_m=[2.0] * 3 + [np.nan] * 3)
    assert_allclose(weighed(table)[:3], 1)
    assert np.isnan(weighed(table.assign(subject_distance_m=[2.0, 2, 0, np.nan, np.nan, np.nan]))[2])
    more = frame_table([1] * 3 + [0] * 4, preset="a", subject_distance_m=[2.0] * 3 + [np.nan] * 4)
    assert np.isnan(weighed(more)).all()


def test_a_weight_of_nought_or_below_stands_for_nothing(frame_table):
    table = frame_table([0] * 4, preset="a", subject_distance_m=[2.0, 2.0, 2.0, np.nan],
                        sample_weight=[2.0, 0.0, -1.0, 3.0])  # fmt: skip
    assert weights_of(table).tolist() == [2, 0, 0, 0]
    assert sampled_frames(table)[0]["file"].tolist() == ["F00000.JPG"]
    drawn = table.assign(sample_weight=np.nan, drawn=pd.array([True] * 4, dtype="boolean"))
    assert not weights_of(drawn).any(), "drawn, and whom they stand for is not known"


def test_noted_frames_of_a_burst_share_what_it_carries(frame_table):
    """Two of a burst of four and a lone frame speak for ten: 2, 2 and 1 of 5, twice over."""
    table = frame_table([0] * 10, preset="a", burst=[0, 0, 0, 0, 1, 2, 3, 4, 5, 6],
                        subject_distance_m=[2.0, 3.0, np.nan, np.nan, 4.0] + [np.nan] * 5)  # fmt: skip
    assert_allclose(weighed(table)[[0, 1, 4]], [4, 4, 2])
