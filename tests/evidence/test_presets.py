"""Presets, bursts, distance bands: that the right frames are counted, once."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.bursts import count_frames
from auditor.evidence.presets import (
    count_distances,
    count_flash,
    count_presets,
    count_sessions,
    find_autofocused,
    name_presets,
    number_bursts,
    pool_small,
    snap_to_ring,
)
from auditor.evidence.proportions import wilson
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met
from auditor.frames import with_columns
from auditor.optics.rings import USUAL_RING_M
from auditor.show.words.fallout import flash

START = datetime(2031, 4, 5, 14, 0)


def table(seconds, **columns):
    n = len(seconds)
    base = {
        "file": [f"P{i:04d}.jpg" for i in range(n)],
        "captured_at": [START + timedelta(seconds=s) for s in seconds],
        "camera": "body A",
        "focal_length_mm": 28.0,
        "f_number": 8.0,
        "focus_distance_m": 2.5,
        "focus_distance_source": "session",
        "session": 1,
        "counted_as": "not kept",
        "near_limit_m": 1.4,
        "far_limit_m": 10.0,
    }
    return with_columns(pd.DataFrame(base | columns, index=range(n)))


def prepared(seconds, **columns):
    return number_bursts(name_presets(table(seconds, **columns), []))


def test_snapping_is_by_reciprocal_distance():
    # By hand: 1/2.2 = 0.455 is 0.045 from 1/2 and 0.055 from 1/2.5; 1/2.25 = 0.444 is 0.056 and 0.044.
    given = np.array([2.2, 2.25, 15.0, 25.0, np.inf, np.nan, 0.2])
    snapped = snap_to_ring(given, USUAL_RING_M)
    np.testing.assert_allclose(snapped, [2.0, 2.5, 10.0, np.inf, np.inf, np.nan, 0.5], rtol=0)


def test_undeclared_presets_are_grouped_and_named_by_the_nearest_engraving():
    named = name_presets(table([0, 1, 2], focus_distance_m=[2.4, 2.6, 3.1]), [])
    assert named["preset"].tolist() == ["28 mm, f/8 at 2.5 m", "28 mm, f/8 at 2.5 m", "28 mm, f/8 at 3 m"]
    assert named["preset_source"].tolist() == ["grouped"] * 3
    own = name_presets(table([0], focus_distance_m=[2.4]), [(np.array([True]), (1.0, 2.0, 4.0))])
    assert own["preset"].tolist() == ["28 mm, f/8 at 2 m"]


def test_declared_presets_keep_their_names_and_incomplete_frames_have_none():
    named = name_presets(table([0, 1], stated_preset=["arcade", "arcade"], f_number=[8.0, np.nan]), [])
    assert named["preset"].tolist()[0] == "arcade"
    assert named["preset"].isna().tolist() == [False, True]
    assert named["in_preset"].tolist() == [True, False]


def test_bursts_break_after_two_seconds_and_at_another_camera_or_preset():
    numbered = prepared(
        [0, 2.0, 4.01, 5, 5.5, 5.6],
        camera=["A", "A", "A", "A", "B", "A"],
        focus_distance_m=[2.5, 2.5, 2.5, 2.5, 2.5, 5.0],
    )
    assert numbered["burst"].tolist() == [1, 1, 2, 2, 3, 4]


def test_frames_without_a_time_are_bursts_of_one():
    timeless = table([0, 0, 0]).assign(captured_at=pd.NaT)
    assert number_bursts(name_presets(with_columns(timeless), []))["burst"].nunique() == 3


def test_a_burst_counts_once_and_as_hit_when_it_holds_a_keeper():
    counted = prepared(
        [0, 1, 2, 60, 61, 120, 180],
        counted_as=["keeper", "not kept", "keeper", "not kept", "not kept", "left out", "keeper"],
    )
    row = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95).iloc[0]
    assert (row.bursts, row.hits, row.frames, row.keepers, row.frames_taken) == (3, 2, 6, 3, 7)
    low, high = wilson(2, 3)
    assert (row.low, row.high) == (pytest.approx(low, rel=1e-12), pytest.approx(high, rel=1e-12))
    assert row.frame_rate == 0.5
    # By hand: one run of the preset, from 0 s to 180 s, holds 3 keepers: 60 an hour.
    assert row.keepers_per_hour == pytest.approx(60.0, rel=1e-9)


def test_keepers_per_hour_adds_up_runs_and_not_the_time_between_them():
    focus = [2.5, 2.5, 5.0, 5.0, 2.5, 2.5]
    counted = prepared([0, 600, 700, 800, 3600, 4200], counted_as="keeper", focus_distance_m=focus)
    rows = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95).set_index("preset")
    # By hand: two runs of 600 s hold 4 keepers: 12 an hour.
    assert rows.loc["28 mm, f/8 at 2.5 m", "keepers_per_hour"] == pytest.approx(12.0, rel=1e-9)


def test_bands_hold_their_lower_edge_and_only_counted_frames_with_a_distance():
    counted = prepared(
        np.arange(6) * 10.0,
        subject_distance_m=[0.9, 1.0, 1.49, 12.0, np.nan, 1.2],
        counted_as=["keeper", "keeper", "not kept", "not kept", "keeper", "left out"],
    )
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    everything = bands[bands["preset"].isna()]
    assert everything[["from_m", "to_m", "frames", "keepers"]].to_numpy().tolist() == [
        [0.0, 1.0, 1.0, 1.0],
        [1.0, 1.5, 2.0, 1.0],
        [10.0, np.inf, 1.0, 0.0],
    ]
    assert bands["preset"].notna().sum() == 3


def test_bands_in_feet():
    counted = prepared([0], subject_distance_m=[2.0])
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95, "ft")
    assert bands["from_m"].tolist() == pytest.approx([5 * 0.3048] * 2, rel=1e-12)


def test_an_autofocused_lens_is_told_from_a_ring_that_stays():
    seconds = np.arange(8) * 30.0
    moving = table(seconds, focus_distance_source="exif", focus_distance_m=[1, 4, 2, 9, 1.5, 3, 2, 5])
    still = table(seconds, focus_distance_source="exif", focus_distance_m=[2, 2, 2.05, 2, 3, 3, 3, 3])
    stretch = moving.assign(stated_preset="arcade")
    assert find_autofocused(moving).all()
    assert not find_autofocused(still).any()
    assert not find_autofocused(with_columns(stretch)).any()
    assert not find_autofocused(moving.head(3)).any()  # too few to tell


def test_a_tenth_is_of_the_distance_and_frames_without_one_do_not_count():
    seconds = np.arange(8) * 30.0
    far = table(seconds, focus_distance_source="exif", focus_distance_m=[10.0, 12.0] * 4)
    near = table(seconds, focus_distance_source="exif", focus_distance_m=[10.0, 10.8] * 4)
    assert find_autofocused(far).all()
    assert not find_autofocused(near).any()
    distances = [1, np.nan, 4, np.nan, 2, np.nan, 9, np.nan, 1.5, np.nan, 3]
    gaps = table(np.arange(11) * 30.0, focus_distance_source="exif", focus_distance_m=distances)
    assert find_autofocused(gaps)[::2].all()


def test_sharp_presses_an_hour_by_hand():
    """One run of three minutes with four presses, three of them sharp: 60 an hour."""
    counted = prepared(
        [0, 60, 120, 180], counted_as=["keeper", "not kept", "keeper", "not kept"],
        sharp=["yes", "no", "yes", "yes"],
    )  # fmt: skip
    row = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95).iloc[0]
    assert row.sharp_rate == pytest.approx(0.75)
    assert row.sharp_per_hour == pytest.approx(60.0)


def test_small_presets_are_pooled_as_other_for_reading():
    focus = [2.5] * 6 + [1.0, 1.0, 5.0]
    counted = prepared(np.arange(9) * 10.0, focus_distance_m=focus, counted_as=["keeper"] * 9)
    presets = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    pooled = pool_small(presets, count_frames(counted), 0.95)
    assert len(presets) == 3
    assert pooled["preset"].tolist() == ["28 mm, f/8 at 2.5 m", "other"]
    assert pooled["frames"].tolist() == [6, 3]


def test_one_small_preset_keeps_its_name():
    focus = [2.5] * 6 + [1.0, 1.0]
    counted = prepared(np.arange(8) * 10.0, focus_distance_m=focus, counted_as=["keeper"] * 8)
    presets = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    assert pool_small(presets, count_frames(counted), 0.95)["preset"].tolist() == presets["preset"].tolist()
    assert len(presets) == 2


def test_sessions_are_counted_in_order():
    counted = prepared([0, 60, 20000, 20060], session=[1, 1, 2, 2], counted_as=["keeper", "not kept"] * 2)
    sessions = count_sessions(count_frames(counted), 0.95)
    assert sessions["session"].tolist() == [1, 2]
    assert sessions["hits"].tolist() == [1, 1]


def test_presses_with_and_without_flash_are_counted_apart_where_both_occur():
    """Ten presses of one frame each: three with flash, one kept; four without, two kept; three unknown."""
    marks = ["keeper", "not kept", "not kept", "keeper", "keeper", "not kept", "not kept", "keeper"]
    fired = pd.array([True] * 3 + [False] * 4 + [None] * 3, dtype="boolean")
    seen = prepared(list(range(0, 1000, 100)), counted_as=[*marks, "keeper", "not kept"], flash=fired)
    rates = count_flash(count_frames(seen), 0.95).set_index("flash")
    assert rates.loc[True, ["hits", "bursts"]].tolist() == [1, 3]
    assert rates.loc[False, ["hits", "bursts"]].tolist() == [2, 4]
    assert rates.loc[True, "low"] == pytest.approx(float(wilson(1, 3)[0]), abs=1e-9)
    said = flash(rates.reset_index())
    assert said.startswith("With flash 1 of 3 presses held a keeper")
    assert "without 2 of 4" in said
    alone = seen.assign(flash=pd.array([True] * 10, dtype="boolean"))
    assert not len(count_flash(count_frames(alone), 0.95))
    assert flash(count_flash(count_frames(alone), 0.95)) == ""
