"""Which frame a stretch begins with, from what was written as its moment."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from auditor.intake.frame_index import FrameIndex
from auditor.intake.statements.moments import MomentFinder
from auditor.intake.statements.session import SessionFile, Stretch

START = datetime(2031, 4, 5, 23, 50)


def finder(minutes, names=None, folder="/photos"):
    """A finder over frames so many minutes after ten to midnight; None has no time."""
    names = names or [f"P101{i:04d}.jpg" for i in range(len(minutes))]
    seconds = [
        np.nan if m is None else (START + timedelta(minutes=m) - datetime(1970, 1, 1)).total_seconds()
        for m in minutes
    ]
    cameras = np.array(["body A"] * len(names), dtype=object)
    index = FrameIndex(names, [f"{folder}/{name}" for name in names], cameras, np.array(seconds))
    session = SessionFile(path=Path(folder) / "session.toml")
    return MomentFinder(session, index.timeline(np.arange(len(names))), index)


def found(moments, text):
    position, problem = moments.position(Stretch("arcade"), text, 99)
    return position, None if problem is None else problem.what


@pytest.mark.parametrize(
    ("text", "position"),
    [
        (None, 99), ("23:50", 0), ("23:50:01", 1), ("23:55", 1), ("0:05", 2), ("00:05:00.5", 3),
        ("2031-04-06", 2), ("2031-04-06 00:05", 2), ("2031-04-06T00:10", 3), ("2031-04-07", 4),
        ("P1010002", 2), ("p1010002.JPG", 2), ("./P1010003", 3),
    ],
)  # fmt: skip
def test_a_time_means_the_first_frame_at_or_after_it(text, position):
    """Frames at 23:50, 23:55, 0:05 and 0:10: one walk over midnight, so that a time alone is enough."""
    assert found(finder([0, 5, 15, 20]), text) == (position, None)


def test_a_time_alone_is_not_enough_over_several_sessions():
    position, what = found(finder([0, 5, 24 * 60]), "23:52")
    assert position is None
    assert what == "23:52 could be any of 2 days (2031-04-05, 2031-04-06)."
    assert found(finder([None, None]), "23:52") == (None, "23:52 is a time, and no frame here has one.")


@pytest.mark.parametrize("text", ["25:00", "12:60", "noon", "2031-13-01", "P1010099", "20310405"])
def test_what_is_neither_a_time_nor_a_frame_is_refused(text):
    assert found(finder([0, 5]), text) == (None, f"There is no frame {text!r}, and it is not a time.")


@pytest.mark.parametrize(
    ("numbers", "text", "position"),
    [
        ((1, 5), "P1010003", 1),
        ((1, 21), "P1010003", 1),  # a gap of 20
        ((1, 22), "P1010003", None),
        ((1, 5), "P1010001x", None),
        ((1, 5), "Q1010003", None),
        ((3, 5), "P1010002", None),  # before the first
        ((1, 5, 1, 5), "P1010003", None),  # between two pairs of neighbours
        ((1, 3), "x/P1010003", None),  # it is not gone, but elsewhere
        ((3, 5), "x/P1010003", None),
    ],
)
def test_a_frame_that_is_gone_lies_between_its_neighbours_numbers(numbers, text, position):
    names = [f"{'a' if i < 2 else 'b'}/P101{n:04d}.jpg" for i, n in enumerate(numbers)]
    at, what = found(finder(range(len(numbers)), names), text)
    assert at == position
    assert what is not None


def test_a_name_that_is_there_twice_needs_its_path():
    moments = finder([0, 5], ["a/P1010001.jpg", "b/P1010001.jpg"])
    assert found(moments, "P1010001") == (None, "The frame name 'P1010001' is there 2 times.")
    assert found(moments, "b/P1010001") == (1, None)


@pytest.mark.parametrize(
    ("text", "near"),
    [("20:55", True), ("20:54:59", False), ("2031-04-05", True), ("2031-04-04", True), ("P1010000", True)],
)
def test_a_stretch_begins_near_its_moment_or_is_doubted(text, near):
    """The first frame was taken at 23:55: three hours after a time is near, a day after a date."""
    moments = finder([5])
    moments.time_s[:] -= 0 if text != "2031-04-04" else 23 * 3600 + 55 * 60
    assert moments.begins_near(text, 0) is near
    assert not moments.begins_near("20:55", 1)
