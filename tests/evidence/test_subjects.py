"""The measured subjects, gathered from small tables whose answers are worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.subjects import (
    frames_met,
    gather_subjects,
    lens_codes,
    sessions_at_random,
    weigh_by_mark,
)
from auditor.evidence.true_distance import likely_log_distance
from auditor.settings import Settings

SETTINGS = Settings(guess_sd=0.2)


@pytest.fixture
def made(frame_table):
    """Make frames of one 35 mm lens at one preset, one frame a press unless bursts are given."""

    def make(kept, **columns):
        setting = {"preset": "a", "focal_length_mm": 35.0, "f_number": 8.0, "focus_distance_m": 3.0,
                   "exposure_time_s": 1 / 250, "iso": 200.0, "subject_distance_m": 2.0}  # fmt: skip
        return frame_table(kept, **(setting | columns))

    return make


def gathered(table, settings=SETTINGS):
    return gather_subjects(frames_met(table), settings)


def test_a_press_stands_for_the_frames_it_was_drawn_from(made):
    """Four keepers, three measured; ten others, two measured. The first press holds two keepers of three."""
    kept = [1, 1, 0, 0, 1, 1] + [0] * 8
    burst = [1, 1, 1, *range(2, 13)]
    distance = np.full(14, np.nan)
    distance[[0, 3, 4, 5, 6]] = 2.0
    found = gathered(made(kept, burst=burst, subject_distance_m=distance))
    assert found.weight == pytest.approx([4 / 3 / 3, 5, 4 / 3, 4 / 3, 5])
    assert found.frames.tolist() == [3, 1, 1, 1, 1]
    assert found.hit.tolist() == [True, False, True, True, False]
    # chance that some frame of a press was drawn: keepers are missed by 1/4, others by 8/10
    first = np.log((1 - 0.25**2 * 0.8) / (1 - 0.8**3))
    assert found.drawn_odds == pytest.approx([first, *[np.log(0.75 / 0.2)] * 4])
    assert found.effective == pytest.approx(found.weight.sum() ** 2 / (found.weight**2).sum())
    none = gathered(made([0, 1], subject_distance_m=np.nan))
    assert (len(none), none.effective) == (0, 0.0)


def test_a_single_press_is_a_subject(made):
    found = gathered(made([1]))
    assert (len(found), found.weight.tolist(), found.effective) == (1, [1.0], 1.0)


def test_each_mark_of_a_preset_is_weighed_by_itself_and_those_who_press_at_anyone_too(made):
    table = made([1, 0, 0, 0, 0, 0], preset=["a", "a", "a", "b", "b", "b"],
                 pressed=[None, None, None, "anyone", "anyone", "zone"],
                 subject_distance_m=[2.0, 2.0, np.nan, 2.0, 0.0, 2.0])  # fmt: skip
    found = gathered(table)
    assert found.weight.tolist() == [1, 2, 2, 1]
    # A keeper of a is surely drawn, another frame one time in two; of b nobody kept anything to be drawn.
    assert np.exp(found.drawn_odds) == pytest.approx([1 / 0.5, 1 / 0.5, 1 / 0.5, 1])
    group = np.array([0, 0, 0, 1, 1, 2])
    _, _, drawn = weigh_by_mark(table, group, np.array([1, 1, 0, 1, 0, 1], bool))
    # not kept and keepers; of a mark that nobody gave, nothing was missed
    assert drawn[:, :2].tolist() == [[0.5, 1.0], [0.5, 1.0], [1.0, 1.0]]


def test_the_middle_frame_in_distance_speaks_for_its_press(made):
    found = gathered(made([0] * 7, burst=[1, 1, 1, 2, 2, 3, 3], f_number=[1, 2, 4, 8, 11, 16, 22],
                          subject_distance_m=[5.0, 2.0, 3.0, 4.0, 2.0, np.nan, 6.0]))  # fmt: skip
    assert np.exp(found.stated_log_m) == pytest.approx([3, 2, 6])
    assert found.f_number.tolist() == [4, 11, 22]


def test_a_verdict_is_that_of_the_middle_frame_else_of_the_nearest_judged_one(made):
    sharp = ["no", "yes", "no", None, "yes", "no", "unsure", None, "yes"]
    found = gathered(made([0] * 9, burst=np.repeat([1, 2, 3], 3), sharp=sharp,
                          subject_distance_m=[1, 2, 3, 2, 3, 1, 2, 3, np.nan]))  # fmt: skip
    assert found.verdict == pytest.approx([1, 0, np.nan], nan_ok=True)


def test_a_stated_error_counts_from_nought_on_and_else_the_guess(made):
    stated = [0.0, 0.1, np.nan, -1.0]
    assert gathered(made([0] * 4, subject_distance_rel_sd=stated)).error_sd.tolist() == [0, 0.1, 0.2, 0.2]


def test_presses_at_anyone_meet_distances_of_their_own(made):
    """Two presets, either pressed both ways: each guess is drawn to those of its own kind."""
    distance = np.array([2.0, 2.2, 5.0, 5.5, 1.0, 1.1, 8.0, 9.0])
    table = made([0] * 8, preset=np.repeat(["a", "b"], 4), subject_distance_m=distance,
                 pressed=["anyone", "anyone", "zone", "zone", None, None, "anyone", "anyone"])  # fmt: skip
    found = gathered(table)
    mean, sd = likely_log_distance(np.log(distance), np.full(8, 0.2), np.ones(8), np.repeat(np.arange(4), 2))
    assert found.log_m == pytest.approx(mean)
    assert found.log_sd == pytest.approx(sd)
    assert found.anyone.tolist() == [True, True, False, False, False, False, True, True]


def test_a_subject_is_at_most_ten_kilometres_away(made):
    found = gathered(made([0, 0], subject_distance_m=[np.inf, 2.0]))
    assert found.stated_log_m == pytest.approx(np.log([1e4, 2.0]))


def test_light_is_known_where_no_flash_fired(made):
    """f/8, 1/250 s, ISO 200: log2(64 * 250) - 1."""
    found = gathered(made([0, 0, 0], flash=pd.array([None, False, True], dtype="boolean")))
    assert found.ev[:2] == pytest.approx(np.log2(64 * 250) - 1)
    assert np.isnan(found.ev[2])
    assert np.isposinf(found.flash_s).tolist() == [True, True, False]


def test_the_unit_is_the_diagonal_over_1442(made):
    found = gathered(made([0, 0], sensor_width_mm=[30.0, np.nan], sensor_height_mm=[40.0, np.nan]))
    assert found.handbook_mm == pytest.approx([50 / 1442, np.hypot(36, 24) / 1442], rel=1e-5)


def test_how_coarsely_a_picture_was_shown(made):
    """Two of the pixels shown along the long side against the criterion asked for; else 1."""
    table = made(
        [0] * 6, sensor_width_mm=[24.0, 36, 36, 36, 36, 36], sensor_height_mm=[36.0, 24, 24, 24, 24, 24],
        sharp_shown_px=[1000, 1000, 1000, np.nan, 0, 1000], coc_mm=0.03,
        pixel_width=pd.array([4000, 6000, 6000, 6000, 6000, 6000], dtype="Int64"),
        pixel_height=pd.array([6000, 4000, 4000, 4000, 4000, 4000], dtype="Int64"),
        sharp_seen=["shown", "shown", "pixels", "shown", "shown", "shown"],
        coc_criterion=[*["handbook"] * 5, "measured 0.05"],
    )  # fmt: skip
    own = 2 * 36 / 1000 / (np.hypot(36, 24) / 1442)
    assert gathered(table).seen_at == pytest.approx([2.4, 2.4, 0.4, 1, 1, own])


def test_lenses_are_told_apart_by_name_and_by_more_than_a_rounding_of_the_focal_length(made):
    focal = [35.0, 35.2, 50.0, 28.0, 28.1, 85.0]
    table = made([0] * 6, focal_length_mm=focal, lens=["zoom", "zoom", "zoom", None, None, "prime"])
    code, names = lens_codes(table)
    assert code.tolist() == [0, 0, 1, 2, 2, 3]
    assert names == ("zoom 35.1 mm", "zoom 50 mm", "28.1 mm", "prime")


def test_zone_focused_frames_of_a_known_focal_length_are_met(made):
    table = made([1, 0, 0, 0], focal_length_mm=[35.0, 35.0, 0.0, np.nan], in_preset=[True, False, True, True])
    assert frames_met(table)["file"].tolist() == ["F00000.JPG"]


def test_whole_sessions_are_drawn_up_to_the_number_asked_for_and_it_may_be_reached(made):
    subjects = gathered(made([0] * 40, session=np.repeat([1, 2, 3, 4], 10)))
    drawn = sessions_at_random(subjects, most=20)
    assert len(drawn) == 20
    assert np.unique(drawn.session).size == 2
    assert len(sessions_at_random(subjects, most=19)) == 10
    assert sessions_at_random(subjects, most=40) is subjects
    one = replace(subjects, session=np.zeros(40, dtype=np.intp))
    assert len(sessions_at_random(one, most=20)) == 20, "of one session that is larger, presses are drawn"


def test_presses_without_a_frame_that_counts_have_no_mark(made):
    subjects = replace(gathered(made([0, 1, 0])), frames=np.array([2.0, 0.0, 1.0]))
    assert subjects.marked.frames.tolist() == [2, 1]
    assert subjects.marked.hit.tolist() == [False, False]
    every = gathered(made([0, 1, 0]))
    assert every.marked.hit.tolist() == [False, True, False]


def test_a_frame_that_does_not_count_stands_for_no_more_than_those_that_do(made):
    """Of the first preset two of four not kept, one of three keepers and one of ten left out speak.

    Of the second only two of six that do not count; of the third one of two keepers, and none left out.
    """
    kept = [0] * 4 + [1] * 3 + [-1] * 10 + [0] * 2 + [-1] * 6 + [1] * 2 + [-1] * 3
    preset = np.repeat([0, 1, 2], [17, 8, 5])
    speaks = np.isin(np.arange(30), [0, 1, 4, 7, 19, 20, 25])
    weight, cell, drawn = weigh_by_mark(made(kept), preset, speaks)
    assert weight[speaks].tolist() == [2, 2, 3, 3, 3, 3, 2]
    assert np.isnan(weight[~speaks]).all()
    assert np.unique(cell, return_counts=True)[1].tolist() == [4, 3, 10, 2, 6, 2, 3]
    assert drawn == pytest.approx(np.array([[1 / 2, 1 / 3, 1 / 10], [0, 1, 1 / 3], [1, 1 / 2, 0]]))
    assert [part.size for part in weigh_by_mark(made([]), np.zeros(0, dtype=int), np.zeros(0, bool))] == [
        0
    ] * 3
