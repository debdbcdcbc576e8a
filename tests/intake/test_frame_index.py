"""Names, order and sessions of frames, from arrays alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auditor.intake import frame_index
from auditor.intake.frame_index import MOST_ASKED, FrameIndex, number_sessions

NAN = np.nan


def index(files, time_s=None):
    """The index of frames below /photos, of one camera."""
    leads = [file.split("|")[0] for file in files]
    times = np.full(len(files), NAN) if time_s is None else np.array(time_s, dtype=float)
    cameras = np.array(["body A"] * len(files), dtype=object)
    return FrameIndex(files, [f"/photos/{lead}" for lead in leads], cameras, times)


@pytest.mark.parametrize(
    ("files", "time_s", "rank"),
    [
        (["P3.jpg", "P1.jpg", "P2.jpg"], [5, 9, 7], [0, 2, 1]),  # by time, whatever the names
        (["P10.jpg", "P9.jpg", "P1.jpg"], [5, 5, 9], [1, 0, 2]),  # of one moment by name, numbers as numbers
        (["P2.jpg", "P1.jpg", "P0.jpg"], [NAN, NAN, 5], [2, 1, 0]),  # without a time last, by name
        (["b/P1.jpg", "a/P2.jpg"], [5, 5], [1, 0]),
        (["P2.jpg", "P1.jpg", "P9.jpg"], [5, 5, 9], [1, 0, 2]),
        (["P9.jpg", "P2.jpg", "P1.jpg", "P3.jpg"], [1, 5, 5, 5], [0, 2, 1, 3]),
    ],
)
def test_frames_come_in_the_order_of_time_and_then_of_names(files, time_s, rank):
    assert index(files, time_s).rank.tolist() == rank


def test_a_session_ends_with_a_gap_of_more_than_three_hours():
    times = np.array([0.0, 3, 6.001, NAN]) * 3600
    assert number_sessions(times, list("abcd")).tolist() == [1, 1, 2, 3]
    timeline = index(["P1.jpg", "P2.jpg", "P3.jpg", "P4.jpg"], times).timeline(np.array([3, 2, 1, 0]))
    assert timeline.rows.tolist() == [0, 1, 2, 3]
    assert [timeline.end_of_session(position) for position in range(5)] == [2, 2, 3, 4, 4]
    assert timeline.position(3 * 3600.0) == 1
    assert timeline.position(3 * 3600.0 + 1) == 2
    assert timeline.span(1, 3, "body A").tolist() == [1, 2]
    assert timeline.span(1, 3, "body B").tolist() == []


@pytest.mark.parametrize(
    ("text", "folder", "rows"),
    [
        ("p1", "/photos", [0, 1]),
        ("P1.JPG", "/photos", [0, 1]),
        ("P1.dng", "/photos", [0]),
        ("P1", "/photos/b", [1]),  # below the folder first
        ("P2", "/photos/b", [2]),  # or else anywhere
        ("a/P1", "/photos", [0]),
        ("x/P1", "/photos", [0]),  # a file of the frame in another folder counts there
        ("x/P1.jpg", "/photos", [0]),
        ("a/P1.jpg", "/photos", []),
        ("b/P1", "/elsewhere", [1]),  # the end of a path
        ("/photos/b/P1", "/photos/a", [1]),  # a whole one
        ("./P2", "/photos", [2]),
        ("./P1", "/photos", []),
        ("b\\P1", "/photos", [1]),
        ("P9", "/photos", []),
    ],
)
def test_a_name_means_frames_by_stem_file_or_path(text, folder, rows):
    frames = index(["a/P1.dng|x/P1.jpg", "b/P1.jpg", "P2.jpg"])
    assert frames.find(text, Path(folder) / "notes.csv") == rows


def test_a_whole_path_is_taken_as_it_is_written():
    frames = index(["b/P1.jpg", "photos/b/P1.jpg"])
    assert frames.find("/photos/b/P1", Path("/photos/notes.csv")) == [0]
    assert frames.find("photos/b/P1", Path("/photos/notes.csv")) == [1]


def test_the_nearest_name_is_named_some_times():
    frames = index(["a/P1010001.jpg", "a/P1010002.jpg"])
    assert frames.nearest("P101002") == " The nearest name is 'P1010002'."
    assert frames.nearest("coffee") == ""
    assert [frames.nearest("P101001") != "" for _ in range(20)] == [True] * 18 + [False] * 2


def test_frames_that_a_timeline_does_not_hold_have_no_position_on_it():
    frames = index(["P1.jpg", "P2.jpg", "P3.jpg"], [1, 2, 3])
    assert frames.positions(frames.timeline(np.array([1, 0])), [2, 1, 0]) == [1, 0]
    assert frames.positions(frames.timeline(np.array([1, 2])), [0, 2]) == [1]
    assert frames.positions(frames.timeline(np.array([0])), [1, 2]) == []


def test_each_of_several_frames_of_one_moment_goes_by_its_name():
    assert index(["P9.jpg", "P10.jpg", "P1.jpg"], [5, 5, 9]).rank.tolist() == [0, 1, 2]
    assert index(["P1.jpg", "P10.jpg", "P9.jpg", "P8.jpg"], [1, 5, 5, 5]).rank.tolist() == [0, 3, 2, 1]


def test_positions_are_those_of_the_frames_that_a_timeline_holds():
    frames = index([f"P{i}.jpg" for i in range(6)], [50, 40, 30, 20, 10, 0])
    timeline = frames.timeline(np.array([1, 3, 4]))
    assert timeline.rows.tolist() == [4, 3, 1]
    assert frames.positions(timeline, [4, 3, 1]) == [0, 1, 2]
    assert frames.positions(timeline, [0, 2, 5]) == [], "one after its last, one between, one before"
    assert frames.positions(timeline, []) == []


@pytest.mark.parametrize(
    ("rolls", "frames", "found"),
    [
        (2, 36, 2),
        (2, 80, 2),  # half frames: by the last number there would be two of each roll
        (2, 81, 81),
        (7, 80, 7),
        (8, 40, 8),  # by the last number these would be rolls as short as there are
        (8, 41, 41),
    ],
)
def test_a_number_in_front_is_the_frames_as_long_as_a_roll_can_be(rolls, frames, found):
    paths = [
        f"/a/{frame:02}_roll{roll}.tif" for roll in range(1, rolls + 1) for frame in range(1, frames + 1)
    ]
    assert len(set(number_sessions(np.full(len(paths), NAN), paths))) == found


@pytest.mark.parametrize(
    ("names", "rolls"),
    [
        ([f"roll{r}-{i}.tif" for r in (1, 2) for i in range(1, 9)], 2),
        ([f"{i}_roll{r}.tif" for r in (1, 2) for i in range(1, 9)], 2),
        (["x-1.tif", "x-2.tif", "y-1.tif"], 1),  # a frame alone is no roll beside one
    ],
)
def test_a_number_in_front_is_the_frames_where_that_makes_fewer_rolls(names, rolls):
    assert len(set(number_sessions(np.full(len(names), NAN), [f"/a/{name}" for name in names]))) == rolls


def test_the_nearest_name_is_looked_for_some_times_and_among_some_frames(monkeypatch):
    frames = index(["a/P1010001.jpg", "a/P1010002.jpg"])
    for _ in range(MOST_ASKED):
        assert frames.nearest("P101002")
    assert frames.nearest("P101002") == ""
    monkeypatch.setattr(frame_index, "MOST_COMPARED", 1)
    assert index(["a/P1010001.jpg", "a/Q2020202.jpg"]).nearest("Q202020") == ""


def test_a_backslash_is_part_of_a_name_where_one_is_written_with_it():
    frames = index(["b\\P1.jpg", "b/P1.jpg", "c/P2.jpg"])
    assert frames.find("b\\P1.jpg", Path("/photos/notes.csv")) == [0]
    assert frames.find("c\\P2.jpg", Path("/photos/notes.csv")) == [2]


def test_a_path_from_here_counts_from_the_source_only_where_no_frame_lies_below():
    frames = FrameIndex(
        ["P1.jpg", "a/P1.jpg|a/P1.dng"], ["/photos/walk/P1.jpg", "/photos/walk/a/P1.jpg"],
        np.array(["body A"] * 2, dtype=object), np.zeros(2),
    )  # fmt: skip
    assert frames.find("./P1", Path("/photos/notes.csv")) == []
    assert frames.find("./P1", Path("/photos/walk/notes.csv")) == [0]
    away = Path("/elsewhere/notes.csv")
    assert frames.find("./P1", away) == [0]
    assert frames.find("./a/P1.DNG", away) == [1]
    assert frames.find("./b/P1", away) == []


def test_where_both_numbers_make_as_many_rolls_the_last_is_the_frames():
    paths = [f"/a/{name}.tif" for name in ("1-1", "1-2", "2-1", "2-2")]
    assert number_sessions(np.full(4, NAN), paths).tolist() == [1, 1, 2, 2]


def test_frames_alone_beside_several_rolls_are_one_roll_together():
    paths = [f"/a/{name}.tif" for name in ("x-1", "x-2", "y-1", "y-2", "z-1", "w-1")]
    assert number_sessions(np.full(6, NAN), paths).tolist() == [2, 2, 3, 3, 1, 1]
