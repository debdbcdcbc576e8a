"""Zones of an archive whose lens stands on an adapter: by the tape's readings, and what is said of them."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from worlds.people import World, draw_archive

from auditor.advice.decide import decide
from auditor.evidence.ring_shift import frame_shifts, known_shift_mm
from auditor.evidence.subjects import frames_met
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.intake.statements.session import Lens, RingReading, ScaleReading
from auditor.intake.tables import to_csv_text
from auditor.journey import run_scan
from auditor.optics.lens import sharp_zone
from auditor.optics.ring_check import find_shift, true_focus_m
from auditor.optics.sensors import parse_criterion
from auditor.request import make_request
from auditor.settings import Settings

COC = 0.03
CRITERION = parse_criterion("0.03mm")


def lens(*readings, focal=50.0):
    return Lens(focal_length_mm=focal, ring_checks=tuple(RingReading(*one) for one in readings))


@pytest.fixture
def table():
    import pandas as pd

    return with_columns(
        pd.DataFrame(
            {
                "focal_length_mm": [50.0, 50.0, 50.0, 28.0],
                "f_number": 8.0,
                "focus_distance_m": [2.0, 10.0, np.inf, 2.0],
                "subject_distance_m": 4.0,
                "sensor_width_mm": 36.0,
                "sensor_height_mm": 24.0,
                "exposure_time_s": 1 / 500,
            }
        )
    )


def test_zones_and_true_focus_follow_the_tape(table):
    shifts, problems = frame_shifts(
        table, [(np.array([0, 1, 2]), lens((2.0, 2.2))), (np.array([3]), lens(focal=28))]
    )
    assert problems == ()
    assert np.isnan(shifts).tolist() == [False, False, False, True]
    found = add_zones(table, CRITERION, 0.0, shifts)
    assert found["focus_true_m"].iloc[0] == pytest.approx(2.2, rel=1e-9)
    assert found["focus_true_m"].tolist()[1:3] == pytest.approx(
        [float(true_focus_m(10.0, 50, shifts[0])), np.inf]
    )
    assert np.isnan(found["focus_true_m"].iloc[3]), "nobody checked that ring"
    assert found["focus_distance_m"].tolist() == [2.0, 10.0, np.inf, 2.0]
    same = sharp_zone(50, 8, 2.2, COC)
    assert found["near_limit_m"].iloc[0] == pytest.approx(float(same.near_limit_m), rel=1e-9)
    assert found["far_limit_m"].iloc[0] == pytest.approx(float(same.far_limit_m), rel=1e-9)
    plain = add_zones(table, CRITERION, 0.0)
    assert found["near_limit_m"].iloc[3] == pytest.approx(plain["near_limit_m"].iloc[3], rel=1e-12)
    assert found["defocus_mm"].iloc[0] < plain["defocus_mm"].iloc[0], "set farther than marked, nearer to 4 m"
    # past infinity, f (f + E) / (N c + E) with E = delta (in mm)
    delta = shifts[0]
    near = 50 * (50 + delta) / (8 * COC + delta) / 1000
    assert found["near_limit_m"].iloc[2] == pytest.approx(near + 0.05 + 0.05**2 / (near - 0.05), rel=1e-6)


def test_a_lens_known_by_name_has_the_focal_length_that_its_frames_record(table):
    named = Lens(name="lens A", ring_checks=(RingReading(2.0, 2.2),))
    shifts, problems = frame_shifts(table, [(np.arange(3), named)])
    assert problems == ()
    assert shifts[:3] == pytest.approx([find_shift(50, [2.0], [2.2]).shift_mm] * 3)
    unknown, problems = frame_shifts(table.assign(focal_length_mm=np.nan), [(np.arange(3), named)])
    assert np.isnan(unknown).all()
    assert "lens A: its ring cannot be checked, since nothing tells its focal length" in problems[0].what


def test_readings_that_disagree_and_those_out_of_reach_are_problems(table):
    read = [(np.arange(3), lens((2.0, 2.2), (10.0, 5.0))), (np.array([3]), lens((0.1, 2.0), focal=28))]
    shifts, problems = frame_shifts(table, read)
    assert np.isfinite(shifts[0])
    assert np.isnan(shifts[3])
    assert "no one adapter explains" in problems[0].what
    assert "cannot be focused" in problems[1].what
    assert all(problem.next for problem in problems)


def test_a_frame_table_alone_keeps_the_shift(table, tmp_path):
    """Written by one run and read by the next, without a session file: the same zones, past infinity too."""
    checked = [(np.array([0, 1, 2]), lens((2.0, 2.2)))]
    first = add_zones(table, CRITERION, 0.0, frame_shifts(table, checked)[0])
    first["file"] = [f"W{i}" for i in range(4)]
    path = tmp_path / "frames.csv"
    path.write_text(to_csv_text(first), "utf-8")
    found = run_scan(make_request([path], coc="0.03mm", cache="off"))
    again = found.archive.table
    for column in ("focus_distance_m", "focus_true_m", "near_limit_m", "far_limit_m"):
        np.testing.assert_allclose(again[column].to_numpy(float), first[column].to_numpy(float), rtol=1e-9)
    stated = frame_shifts(again, [(np.array([0, 1, 2]), lens((2.0, 2.5)))])[0]
    assert stated[0] == pytest.approx(find_shift(50, [2.0], [2.5]).shift_mm), "what is stated goes first"


def test_a_ring_that_one_session_file_checked_is_off_under_the_others_too(tmp_path, photo):
    text = '[[lens]]\nname = "old 28"\nfocal_length = "28mm"\n%s[[preset]]\nname = "p"\nlens = "old 28"\n'
    text += 'f_number = 8\nfocus_distance = "2m"\n[[stretch]]\npreset = "p"\n'
    for day, check in ((1, 'ring_check = { mark = "2m", focuses = "2.2m" }\n'), (2, ""), (3, "")):
        for number in range(1, 3):
            path = tmp_path / f"walk{day}" / f"P101000{number}.jpg"
            photo(path, datetime(2031, 5, day, 14, number), focal_length_mm=28.0, f_number=8)
        name = "old 28" if day < 3 else "new 28"
        (path.parent / "session.toml").write_text((text % check).replace("old 28", name))
    found = run_scan(make_request([tmp_path], cache="off"))
    table = found.archive.table
    assert table["focus_true_m"].tolist() == pytest.approx([2.2] * 4 + [np.nan] * 2, nan_ok=True)
    assert table["near_limit_m"].nunique() == 2
    assert known_shift_mm(table)[:4] == pytest.approx([find_shift(28, [2.0], [2.2]).shift_mm] * 4)
    (problem,) = [one for one in found.problems if "ring_check" in one.what]
    assert problem.what.startswith(
        "old 28: frames without a ring_check (2) go by that of another session file."
    )
    assert problem.frames == 2


def test_checks_that_differ_hold_where_they_were_made_and_nowhere_else(table):
    """An adapter on one walk and another on the next: neither is the mean of both."""
    four = pd.concat([table.iloc[:1]] * 4, ignore_index=True).assign(focus_distance_m=2.0)
    near, far = lens((2.0, 1.9)), lens((2.0, 2.2))
    shifts, (problem,) = frame_shifts(four, [(np.array([0]), near), (np.array([1, 2]), far)])
    own = [find_shift(50, [2.0], [focuses]).shift_mm for focuses in (1.9, 2.2)]
    assert shifts == pytest.approx([own[0], own[1], own[1], np.nan], nan_ok=True)
    assert problem.what.endswith("ring_check (1) stay as engraved: other session files disagree.")
    zones = add_zones(four, CRITERION, 0.0, shifts)
    assert known_shift_mm(zones) == pytest.approx([own[0], own[1], own[1], 0])
    again, said = frame_shifts(zones, [])
    assert again == pytest.approx([own[0], own[1], own[1], np.nan], nan_ok=True)
    assert [one.what for one in said] == [problem.what], "a table read back says the same"


def test_a_ring_that_only_stands_past_infinity_is_shifted_in_the_evidence_too(table):
    """Every frame focuses past infinity, so that no distance tells by how much."""
    far = table.assign(focus_distance_m=10.0)
    shifts, _ = frame_shifts(far, [(np.arange(len(far)), lens((5.0, np.inf)))])
    zones = add_zones(far, CRITERION, 0.0, shifts)
    assert np.isinf(zones["focus_true_m"]).all()
    assert known_shift_mm(zones) == pytest.approx(shifts)
    assert (known_shift_mm(zones) < 0).all()
    again, problems = frame_shifts(zones, [])
    assert (again.tolist(), problems) == (shifts.tolist(), ())


def test_a_table_that_only_says_past_infinity_is_not_guessed_at(table):
    past = table.assign(focus_true_m=[np.nan, np.inf, np.inf, np.nan])
    shifts, problems = frame_shifts(past, [])
    assert np.isnan(shifts).all()
    assert "1 of 4 frames" in problems[0].what, "a mark at infinity is no wonder"


def test_subjects_and_causes_know_the_shift(table):
    found = add_zones(table, CRITERION, 0.0, frame_shifts(table, [(np.array([0, 1]), lens((2.0, 2.2)))])[0])
    assert known_shift_mm(found) == pytest.approx([find_shift(50, [2.0], [2.2]).shift_mm] * 3 + [0.0])
    assert known_shift_mm(table).tolist() == [0.0] * 4


@pytest.mark.parametrize(
    ("reading", "says"), [((8, 2.0, 3.0, 5.0), "near limit"), ((8, 0.15, 0.1, 1.0), "nearer than the lens")]
)
def test_a_reading_off_the_scale_that_cannot_be_is_a_problem(table, reading, says):
    odd = Lens(focal_length_mm=50.0, scale=(ScaleReading(*reading),))
    _, problems = frame_shifts(table, [(np.arange(3), odd)])
    assert says in problems[0].what
    good = Lens(focal_length_mm=50.0, scale=(ScaleReading(8, 3.0, 2.4, 4.1),))
    assert frame_shifts(table, [(np.arange(3), good)])[1] == ()


def test_a_decision_knows_where_the_ring_really_focuses():
    """The same subjects, judged alike: with the ring found off by tape another mark serves them best."""
    table = draw_archive(3, World(verdicts=60)).table
    shift = find_shift(float(table["focal_length_mm"].median()), [2.0], [4.0]).shift_mm
    true = true_focus_m(table["focus_distance_m"], table["focal_length_mm"], shift)
    plain, shifted = (
        decide(frames_met(one), (), Settings()).lenses[0]
        for one in (table, table.assign(focus_true_m=true, ring_shift_mm=shift))
    )
    assert plain.tolerances.log_sharp.mean() != pytest.approx(shifted.tolerances.log_sharp.mean(), abs=0.01)
    assert not np.allclose(plain.settings["near_limit_m"], shifted.settings["near_limit_m"], rtol=0.05)


@pytest.mark.parametrize(
    ("other", "shift", "said"),
    [
        (0.001, 0.0, "go by that of another session file."),
        (0.0011, np.nan, "stay as engraved: other session files disagree."),
        (0.0, 0.0, "go by that of another session file."),
    ],
)
def test_checks_within_a_thousandth_of_a_millimetre_are_of_one_adapter(table, other, shift, said):
    checked = table.assign(ring_shift_mm=[0.0, other, np.nan, np.nan])
    shifts, (problem,) = frame_shifts(checked, [])
    assert shifts == pytest.approx([0.0, other, shift, np.nan], nan_ok=True)
    assert problem.what == f"lens without a name: frames without a ring_check (1) {said}"
    unset = checked.assign(focus_distance_m=[2.0, 10.0, np.nan, 2.0])
    shifts, problems = frame_shifts(unset, [])
    assert problems == ()
    assert np.isnan(shifts[2]), "without a mark there is no zone to move"


def test_what_some_frames_of_a_lens_say_holds_for_its_others_and_for_no_other_lens(table):
    """Read back from a table that tells where two frames truly focus."""
    told = table.assign(focus_true_m=[2.2, np.nan, np.inf, np.nan], focus_distance_m=[2.0, 10.0, 5.0, 2.0])
    shift = find_shift(50, [2.0], [2.2]).shift_mm
    shifts, problems = frame_shifts(told, [])
    assert shifts == pytest.approx([shift, shift, shift, np.nan], nan_ok=True)
    assert problems == ()
    three = told.assign(focus_true_m=[2.2, 10.0, 5.0, 2.0])
    assert frame_shifts(three, [])[0] == pytest.approx([shift, 0, 0, 0], abs=1e-9)


def test_past_infinity_is_a_problem_only_where_a_nearer_mark_says_so(table):
    past = table.assign(focus_true_m=np.inf, focus_distance_m=[np.inf, 10.0, np.nan, 2.0])
    shifts, (problem,) = frame_shifts(past, [])
    assert np.isnan(shifts).all()
    assert "2 of 4 frames" in problem.what
    assert frame_shifts(past.assign(focus_distance_m=np.inf), [])[1] == ()


def test_a_lens_of_which_nothing_was_checked_need_not_have_a_focal_length(table):
    unknown = table.assign(focal_length_mm=np.nan)
    assert frame_shifts(unknown, [(np.arange(4), Lens(name="lens A"))])[1] == ()
    scale = Lens(name="lens A", scale=(ScaleReading(8, 3.0, 2.4, 4.1),))
    assert "cannot be checked" in frame_shifts(unknown, [(np.arange(4), scale)])[1][0].what
