"""Which walk is told of: by day, time, folder, stem or first frame."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from auditor.advice.past import PastAdvice
from auditor.advice.this_walk import Diary, _new, _telling, find_walks, keep_diary, telling_frames
from auditor.errors import SettingError
from auditor.evidence.blur_tolerance import Eye
from auditor.evidence.causes import CAUSES, Causes
from auditor.evidence.tolerance import Tolerance
from auditor.frames import LEFT_OUT

WALKS = pd.DataFrame(
    {
        "first_file": [
            "film/roll7/x-1.tif",
            "film/roll8/y-1.tif",
            "w1/P1010001.JPG",
            "w2/P1020001.JPG",
            "w3/P.JPG",
        ],
        "starts_at": pd.to_datetime(
            [None, None, "2031-05-06T10:00:30", "2031-05-20T09:00:00", "2031-06-01T09:00:00"]
        ),
    }
)


@pytest.mark.parametrize(
    ("wanted", "rows"),
    [
        ("2031-05-06T10:00:30", [2]), ("2031-05-06 10:00", [2]), ("2031-05-20", [3]), ("2031-05", [2, 3]),
        ("2", [2, 3, 4]), ("roll7", [0]), ("film/roll8", [1]), ("y", [1]), ("x-1", [0]), ("Y-1.tif", [1]),
        ("w1", [2]), ("P1010001", [2]),
    ],
)  # fmt: skip
def test_a_walk_is_found_by_its_name(wanted, rows):
    assert find_walks(WALKS, wanted) == rows


@pytest.mark.parametrize("wanted", ["", " ", "1999", "nan", "NaT", "film"])
def test_a_name_of_no_walk_is_an_error_that_names_some(wanted):
    with pytest.raises(SettingError, match="No walk began at") as raised:
        find_walks(WALKS, wanted)
    assert "film/roll8/y-1.tif, 2031-05-06 10:00" in raised.value.next_step


def test_a_cause_that_the_walk_lacks_is_shown_on_another(demo):
    walk_of = demo.table.drop_duplicates("file").set_index("file")["session"]
    newest = demo.diary.walk["session"]
    frames = demo.causes.frames
    moved_here = frames["subject_motion"].gt(0) & frames["file"].map(walk_of).eq(newest)
    still = replace(demo.causes, frames=frames[~moved_here])

    def telling(causes):
        diary = keep_diary(demo.counted, demo.judged, demo.sessions, demo.settings, demo.tolerance, causes,
                           PastAdvice())  # fmt: skip
        assert diary.telling["why"].is_unique
        assert (diary.telling["elsewhere"] == (diary.telling["file"].map(walk_of) != newest)).all()
        return diary.telling.set_index("why")["elsewhere"]

    assert not telling(demo.causes)["subject_motion"]
    assert telling(still)["subject_motion"]
    assert {"in_front_of_zone", "beyond_zone"} <= set(telling(still).index)


def test_a_mark_that_the_rule_leaves_out_is_still_the_mark_it_is(demo):
    """A starred frame after the last star that counts is kept; only its press is not counted."""
    newest = demo.diary.walk["session"]
    table = demo.table[demo.table["side"].notna() & demo.table["session"].eq(newest)].reset_index(drop=True)
    marks = ["yes", "no", None]
    table = table.assign(
        keeper=[marks[row % 3] for row in range(len(table))], counted_as=LEFT_OUT, side="near", session=newest
    )
    diary = keep_diary(replace(demo.counted, table=table), demo.judged, demo.sessions, demo.settings,
                       replace(demo.tolerance, bursts=0), demo.causes, PastAdvice())  # fmt: skip
    said = dict(zip(diary.telling["file"], diary.telling["why"], strict=True))
    assert said == dict(
        zip(table["file"][:3], ["keeper, near", "not kept, near", "unmarked, near"], strict=True)
    )


@pytest.mark.parametrize(("row", "earlier"), [(0, 0), (1, 1), (2, 0), (4, 2)])
def test_earlier_walks_are_those_with_times_and_earlier_rolls_those_without(row, earlier):
    assert Diary(WALKS, (), row, pd.DataFrame(), (), pd.DataFrame(), (), ()).earlier == earlier


def frames_in(*rows):
    """Camera, lens, preset, exposure time at f/8 and ISO 100, and whether a flash fired, of each frame."""
    table = pd.DataFrame(rows, columns=["camera", "lens", "preset", "exposure_time_s", "flash"])
    return table.assign(f_number=8.0, iso=100.0, flash=table["flash"].astype("boolean"))


SUN, NIGHT = 1 / 500, 2.0  # at f/8 and ISO 100: EV 15 and 5


@pytest.mark.parametrize(
    ("press", "before", "new"),
    [
        ([("a", "x", "arcade", SUN, False)], [("a", "x", "arcade", SUN, False)], []),
        ([("b", "y", "gate", SUN, False)], [("a", "x", "arcade", SUN, False)],
         [("camera", "b"), ("lens", "y"), ("preset", "gate")]),
        ([("a", None, "arcade", NIGHT, False)] * 3, [("a", "x", "arcade", SUN, False)], [("light", "night")]),
        ([("a", "x", "arcade", SUN, False)] * 3, [("a", "x", "arcade", NIGHT, False)], [("light", "sun")]),
        ([("a", "x", "arcade", NIGHT, False)] * 2, [("a", "x", "arcade", SUN, False)], []),
        ([("a", "x", "arcade", NIGHT, True)] * 3, [("a", "x", "arcade", SUN, False)], []),
        ([("a", "x", "arcade", NIGHT, False)] * 3, [("a", "x", "arcade", SUN, True)], []),
        ([("a", "x", "arcade", NIGHT, False)] * 3,
         [("a", "x", "arcade", SUN, False), ("a", "x", "arcade", NIGHT, False)], []),
    ],
)  # fmt: skip
def test_new_is_what_no_earlier_walk_had_and_a_light_from_three_presses_on(press, before, new):
    """Unless no earlier light is known at all; a flash says nothing of the light."""
    assert list(_new(frames_in(*press), frames_in(*before))) == new


EYE = Eye(0.03, 0.02, 0.04, 40)
NO_CURVE = pd.DataFrame()
BEARS = Tolerance("sharp", EYE, EYE, 1.0, 0.5, 0.1, 3.0, 40, 0.0, (), 0.95, NO_CURVE, np.ones((1, 4)),
                  np.ones((1, 2)))  # fmt: skip
# file, press, session, verdict, kept, a keeper in its burst, blur, and its shares of the causes.
TOLD = [
    ("much.jpg", 1, 1, None, True, True, 0.09, {}),
    ("most.jpg", 2, 1, None, True, True, 0.12, {}),
    ("but_sharp.jpg", 3, 1, "yes", True, True, 0.2, {}),
    ("borne.jpg", 4, 1, None, True, True, 0.01, {}),
    ("near.jpg", 5, 1, None, False, False, 0.05, {"in_front_of_zone": 0.4, "subject_motion": 0.2}),
    ("nearer.jpg", 6, 1, "no", False, False, 0.02, {"in_front_of_zone": 0.7}),
    ("near_sharp.jpg", 7, 1, "yes", False, False, 0.08, {"in_front_of_zone": 0.9}),
    ("near_borne.jpg", 8, 1, None, False, False, 0.02, {"in_front_of_zone": 0.95}),
    ("soft_by_nothing.jpg", 9, 1, "no", False, False, 0.015, {}),
    ("passed_over.jpg", 10, 1, None, False, False, 0.014, {}),
    ("sibling_kept.jpg", 11, 1, None, False, True, 0.011, {}),
    ("blurred_by_nothing.jpg", 12, 1, None, False, False, 0.04, {}),
    ("elsewhere_moved.jpg", 13, 2, None, False, False, 0.05, {"subject_motion": 0.9}),
    ("elsewhere_near.jpg", 14, 2, None, False, False, 0.05, {"in_front_of_zone": 0.9}),
    ("elsewhere_passed.jpg", 15, 2, None, False, False, 0.001, {}),
]  # fmt: skip


@pytest.fixture(scope="module")
def told():
    names = ["file", "press", "session", "sharp", "kept", "burst_hit", "blur_mm"]
    blurred = pd.DataFrame([one[:7] for one in TOLD], columns=names)
    blurred = blurred.assign(subject_distance_m=2.0).astype({"file": "str", "sharp": "str"})
    shares = pd.DataFrame([one[7] for one in TOLD], columns=list(CAUSES)).fillna(0.0)
    frames = shares.assign(file=blurred["file"])[~blurred["kept"]]
    return blurred, Causes(0, 0, NO_CURVE, NO_CURVE, frames, {})


def test_the_most_telling_frame_of_each_kind_and_a_verdict_goes_before_the_curve(told):
    blurred, causes = told
    found = telling_frames(blurred[blurred["session"].eq(1)], BEARS, causes)
    assert dict(zip(found["why"], found["file"], strict=True)) == {
        "in_front_of_zone": "nearer.jpg",
        "kept_though_blurred": "most.jpg",
        "not_kept_though_sharp": "passed_over.jpg",
    }
    known = blurred[blurred["session"].eq(1) & ~blurred["file"].isin(["nearer.jpg", "passed_over.jpg"])]
    found = telling_frames(known, BEARS, causes).set_index("why")["file"]
    assert found["in_front_of_zone"] == "near.jpg", "what is borne, or was called sharp, is lost to nothing"
    assert found["not_kept_though_sharp"] == "near_borne.jpg"
    by_nothing = blurred[blurred["press"].between(9, 12)]
    assert telling_frames(by_nothing, BEARS, causes)["why"].tolist() == ["not_kept_though_sharp"]


def test_another_walk_shows_only_causes_that_this_one_lacks(told):
    blurred, causes = told
    found = _telling(pd.DataFrame({"session": [1]}), blurred, BEARS, causes)
    elsewhere = found[found["elsewhere"]]
    assert dict(zip(elsewhere["why"], elsewhere["file"], strict=True)) == {
        "subject_motion": "elsewhere_moved.jpg"
    }
    assert found["why"].is_unique
    assert len(found) == 4


def test_without_a_tolerance_one_frame_of_each_side_and_mark_is_told(told):
    own = pd.DataFrame(
        [("a", "near", "keeper", "yes"), ("b", None, "keeper", "yes"), ("c", "near", None, "yes"),
         ("d", "near", "keeper", "yes"), ("e", "far", "not kept", "no"), ("f", "far", "left out", "yes")],
        columns=["file", "side", "counted_as", "keeper"],
    ).assign(subject_distance_m=2.0)  # fmt: skip
    found = _telling(own, *told[:1], replace(BEARS, bursts=0), told[1])
    assert dict(zip(found["file"], found["why"], strict=True)) == {
        "a": "keeper, near", "e": "not kept, far", "f": "keeper, far",
    }  # fmt: skip
    assert not found["elsewhere"].any()


def test_another_setting_for_a_preset_or_a_light_is_named_only_where_that_of_the_lens_is_not_as_good(demo):
    seen = 0
    for lens in demo.decisions.lenses:
        for one in lens.situations:
            if lens.decision.setting and one.decision.setting not in (None, lens.decision.setting):
                assert lens.decision.setting not in one.decision.latitude
            seen += lens.decision.setting is not None and one.decision.setting == lens.decision.setting
    assert seen
