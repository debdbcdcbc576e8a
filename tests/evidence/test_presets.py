"""Presets, bursts, distance bands: that the right frames are counted, once."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.bursts import count_frames
from auditor.evidence.presets import (
    count_all,
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


def test_a_ring_left_at_infinity_was_not_moved_and_one_moved_there_was():
    seconds = np.arange(6) * 30.0
    far = table(seconds, focus_distance_source="exif", focus_distance_m=np.inf)
    assert not find_autofocused(far).any()
    assert find_autofocused(far.assign(focus_distance_m=[np.inf, 5.0] * 3)).all()


def test_a_lens_is_autofocused_where_more_than_half_of_at_least_four_steps_are_changes():
    def moved(distances, seconds=30.0, **columns):
        at = np.arange(len(distances)) * seconds
        return find_autofocused(table(at, focus_distance_source="xmp", focus_distance_m=distances, **columns))

    assert moved([1.0, 2.0, 4.0, 8.0, 1.0]).all()
    assert not moved([1.0, 2.0, 4.0, 8.0]).any()
    assert not moved([1.0, 2.0, 4.0, 4.0, 4.0]).any()
    assert moved([1.0, 2.0, 4.0, 8.0, 8.0]).all()
    # frames two seconds apart are of one burst, and only its first one tells
    assert not moved([1.0, 2.0, 4.0, 8.0, 1.0], seconds=2.0).any()
    assert moved([1.0, 2.0, 4.0, 8.0, 1.0], seconds=2.01).all()
    # between two lenses, cameras or sessions nothing is compared
    for column, values in (("lens", ["x", "y"]), ("camera", ["A", "B"]), ("session", [1, 2])):
        steady = moved([2.0] * 3 + [4.0] * 3, **{column: np.repeat(values, 3)})
        assert not steady.any()
        turns = moved([2.0, 4.0, 8.0, 2.0, 4.0, 3.0, 3.0, 3.0], **{column: np.repeat(values, [5, 3])})
        assert turns.tolist() == [True] * 5 + [False] * 3


def test_what_is_recorded_without_a_time_or_a_distance_or_was_stated_is_passed_over():
    moving = table(np.arange(12) * 30.0, focus_distance_source="exif", focus_distance_m=[1.0, 3.0] * 6)
    assert find_autofocused(moving).all()
    for column, gap in (("captured_at", pd.NaT), ("focus_distance_m", np.nan), ("stated_preset", "p")):
        some = with_columns(
            moving.assign(**{column: moving[column].astype(object).mask(moving.index > 8, gap)})
        )
        assert find_autofocused(some).tolist() == [True] * 9 + [False] * 3
    typed = moving.assign(focus_distance_source=["exif"] * 9 + ["session"] * 3)
    assert find_autofocused(typed).tolist() == [True] * 9 + [False] * 3


def test_a_group_is_named_by_its_lens_and_by_the_focal_length_where_the_name_lacks_it():
    lens = ["wide 28", "zoom", None, "wide 28"]
    named = name_presets(table([0, 1, 2, 3], lens=lens, focus_distance_source=["session"] * 4), [])
    assert named["preset"].tolist() == [
        "wide 28, f/8 at 2.5 m", "zoom 28 mm, f/8 at 2.5 m", "28 mm, f/8 at 2.5 m", "wide 28, f/8 at 2.5 m",
    ]  # fmt: skip


def test_a_declared_preset_of_several_settings_is_split_by_what_differs():
    def names(**columns):
        n = len(next(iter(columns.values())))
        return name_presets(table(list(range(n)), stated_preset="p", **columns), [])["preset"].tolist()

    assert names(f_number=[8.0, 8.1, 8.0]) == ["p"] * 3, "values within 3 % are one"
    assert names(f_number=[8.0, 5.6]) == ["p (f/8)", "p (f/5.6)"]
    assert names(focus_distance_m=[2.5, 3.0]) == ["p (at 2.5 m)", "p (at 3 m)"]
    assert names(focus_distance_m=[np.inf, 3.0]) == ["p (at ∞)", "p (at 3 m)"]
    assert names(focal_length_mm=[28.0, 35.0]) == ["p (28 mm)", "p (35 mm)"]
    assert names(lens=["x", "y"], f_number=[8.0, 4.0]) == ["p (x, f/8)", "p (y, f/4)"]
    assert names(lens=["old 28", "35er"], focal_length_mm=[28.0, 35.0]) == ["p (old 28)", "p (35er)"]
    assert names(lens=["zoom", "35er"], focal_length_mm=[28.0, 35.0]) == ["p (zoom, 28 mm)", "p (35er)"]
    assert names(lens=[None, "35er"]) == ["p (28 mm)", "p (35er)"], "of the unnamed one its focal length"


def test_a_preset_of_five_frames_keeps_its_name_beside_pooled_ones():
    focus = [2.5] * 6 + [4.0] * 5 + [1.0] * 4 + [10.0] * 2
    counted = prepared(np.arange(17) * 10.0, focus_distance_m=focus, counted_as=["keeper"] * 17)
    presets = count_presets(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    pooled = pool_small(presets, count_frames(counted), 0.95)
    assert pooled["frames"].tolist() == [6, 5, 6]
    assert pooled["frames_taken"].tolist() == [6, 5, 6]
    assert pooled["preset"].tolist()[2] == "other"


def test_how_often_a_band_is_kept_is_held_against_all_distances():
    """Three of four kept at 1.2 m, one of four at 4 m: one and a half times, and half, of four in eight."""
    marks = ["keeper"] * 3 + ["not kept"] + ["keeper"] + ["not kept"] * 3
    counted = prepared(np.arange(8) * 10.0, subject_distance_m=[1.2] * 4 + [4.0] * 4, counted_as=marks)
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    every = bands[bands["preset"].isna()]
    assert every["times_overall"].tolist() == pytest.approx([1.5, 0.5])
    assert every["frame_rate"].tolist() == pytest.approx([0.75, 0.25])
    none = counted.assign(counted_as="not kept")
    lost = count_distances(count_frames(none), judged_frames(frames_met(none)), 0.95)
    assert lost["times_overall"].isna().all()


def test_each_preset_has_the_bands_of_its_own_frames_and_verdicts():
    focus, distance = np.repeat([2.5, 5.0], 4), [1.2, 1.2, 4.0, 4.0, 4.0, 4.0, 0.0, 12.0]
    counted = prepared(
        np.arange(8) * 10.0, focus_distance_m=focus, subject_distance_m=distance,
        sharp=["yes", "no", "yes", None, "no", "yes", "yes", None],
    )  # fmt: skip
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    near = bands[bands["preset"] == "28 mm, f/8 at 2.5 m"]
    assert near[["from_m", "frames", "sharp", "sharp_judged"]].to_numpy().tolist() == [
        [1.0, 2, 1, 2], [3.0, 2, 1, 1],
    ]  # fmt: skip
    far = bands[bands["preset"] == "28 mm, f/8 at 5 m"]
    assert far[["from_m", "frames", "sharp", "sharp_judged"]].to_numpy().tolist() == [
        [3.0, 2, 1, 2], [10.0, 1, 0, 0],
    ]  # fmt: skip


def test_a_frame_that_lacks_a_value_does_not_split_a_declared_preset():
    named = name_presets(
        table([0, 1, 2], stated_preset="p", f_number=[8.0, 8.0, np.nan], focus_distance_m=[2.5, 2.5, 5.0]), []
    )
    assert named["preset"].fillna("none").tolist() == ["p", "p", "none"]
    mixed = name_presets(table([0, 1], stated_preset=["p", None], focus_distance_m=[2.5, 5.0]), [])
    assert mixed["preset"].tolist() == ["p", "28 mm, f/8 at 5 m"]


def test_a_distance_of_nought_is_in_no_band():
    counted = prepared([0, 10, 20], subject_distance_m=[0.0, 0.5, np.nan], sharp=["yes", "no", "yes"])
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    everything = bands[bands["preset"].isna()]
    assert everything[["to_m", "frames", "sharp", "sharp_judged"]].to_numpy().tolist() == [[1.0, 1, 0, 1]]


def test_a_subject_at_infinity_is_in_the_last_band():
    counted = prepared([0, 10, 20], subject_distance_m=[np.inf, 1e9, 9.99])
    bands = count_distances(count_frames(counted), judged_frames(frames_met(counted)), 0.95)
    everything = bands[bands["preset"].isna()]
    assert everything[["from_m", "to_m", "frames"]].to_numpy().tolist() == [[5, 10, 1], [10, np.inf, 2]]


def test_of_everything_together_the_rates_are_those_of_all_presets_and_unknown_where_nothing_counts():
    counted = prepared([0, 1, 60, 120], counted_as=["keeper", "not kept", "not kept", "keeper"],
                       focus_distance_m=[2.5, 2.5, 2.5, 5.0])  # fmt: skip
    found = count_all(count_frames(counted), 0.95)
    assert [found[name] for name in ("bursts", "hits", "frames", "keepers")] == [3, 2, 4, 2]
    assert found["hit_rate"] == pytest.approx(2 / 3)
    nothing = count_all(count_frames(counted.assign(counted_as="left out")), 0.95)
    assert [nothing[name] for name in ("bursts", "hits", "frames", "keepers")] == [0, 0, 0, 0]
    assert np.isnan([nothing["hit_rate"], nothing["low"], nothing["keepers_per_hour"]]).all()
