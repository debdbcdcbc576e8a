"""Verdicts on sharpness, counted and put back to all frames."""

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.bursts import count_frames
from auditor.evidence.presets import count_distances, count_presets
from auditor.evidence.sharpness import judged_frames, verdicts_reversed
from auditor.evidence.subjects import frames_met


def table_of(frame_table, kept, sharp, **columns):
    return frame_table(
        kept, sharp=sharp, preset="a", lens="28 mm", focal_length_mm=28.0, f_number=8.0, focus_distance_m=2.5,
        **columns,
    )  # fmt: skip


def test_the_share_is_put_back_by_hand(frame_table):
    """Two of 4 keepers and 2 of 16 others judged: 1 and 0 sharp. Hajek: 2 x 1 / (2 x 2 + 8 x 2) = 0.1."""
    kept = np.repeat([1, 0], [4, 16])
    sharp = np.full(20, None, dtype=object)
    sharp[[0, 1, 4, 5]] = ["yes", "no", "no", "no"]
    table = table_of(frame_table, kept, sharp)
    judged = judged_frames(frames_met(table))
    assert len(judged.frames) == 4
    assert judged.sampled.weight.tolist() == [2, 2, 8, 8]
    row = count_presets(count_frames(table), judged_frames(frames_met(table)), 0.95).iloc[0]
    assert (row["sharp"], row["sharp_judged"]) == (1, 4)
    assert row["sharp_rate"] == pytest.approx(0.1)
    assert row["sharp_low"] < 0.1 < row["sharp_high"]


def test_unsure_is_no_verdict_and_none_is_unknown(frame_table):
    kept = np.repeat([1, 0], [4, 16])
    table = table_of(frame_table, kept, ["unsure"] * 20)
    row = count_presets(count_frames(table), judged_frames(frames_met(table)), 0.95).iloc[0]
    assert (row["sharp"], row["sharp_judged"]) == (0, 0)
    assert np.isnan(row["sharp_rate"])


def test_verdicts_count_where_nobody_marked_anything(frame_table):
    table = table_of(frame_table, np.full(10, -1), ["yes"] * 3 + ["no"] * 2 + [None] * 5)
    row = count_presets(count_frames(table), judged_frames(frames_met(table)), 0.95).iloc[0]
    assert (row["sharp"], row["sharp_judged"]) == (3, 5)
    assert row["sharp_rate"] == pytest.approx(0.6)


def test_bands_hold_the_verdicts_of_their_distances(frame_table):
    distance = np.repeat([1.2, 4.0], [10, 10])
    sharp = np.repeat(["no", "yes"], [10, 10])
    table = table_of(frame_table, np.tile([1, 0], 10), sharp, subject_distance_m=distance, sample_weight=1.0)
    bands = count_distances(count_frames(table), judged_frames(frames_met(table)), 0.95)
    together = bands[bands["preset"].isna()].set_index("from_m")
    assert together["sharp"].to_dict() == {1.0: 0, 3.0: 10}
    assert together["sharp_rate"].tolist() == [0.0, 1.0]


def test_verdicts_that_go_against_the_blur_are_noticed_and_others_are_not():
    rng = np.random.default_rng(5)
    blur = rng.lognormal(np.log(0.03), 0.5, 80)
    frames = pd.DataFrame({"session": 1, "burst": range(80), "preset": "a", "blur_mm": blur})
    right = np.where(blur < 0.03, "yes", "no")
    assert not verdicts_reversed(frames.assign(sharp=right))
    assert verdicts_reversed(frames.assign(sharp=np.where(right == "yes", "no", "yes")))
    assert not verdicts_reversed(frames.assign(sharp=rng.permutation(right)))
    assert not verdicts_reversed(frames.assign(sharp="yes"))  # nothing to hold against each other
    one_burst = frames.assign(burst=1, sharp=np.where(right == "yes", "no", "yes"))
    assert not verdicts_reversed(one_burst), "frames of one burst say little more than one"
