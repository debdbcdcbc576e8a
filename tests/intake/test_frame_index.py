"""Names, order and sessions of frames, from arrays alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auditor.intake.frame_index import FrameIndex, number_sessions

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
