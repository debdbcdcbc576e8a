"""Runs of frames, laid out for somebody to say what was set: where the light steps and stays, one begins."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.frames import with_columns
from auditor.intake.starter import STEP_FRAMES, find_runs
from auditor.journey import run_scan
from auditor.settings import Request


@pytest.mark.parametrize(
    ("bright", "dark", "runs"), [(6, 3, [6, 3]), (3, 6, [3, 6]), (7, 2, [9]), (2, 7, [9])]
)
def test_a_run_begins_where_the_light_steps_for_as_many_frames_as_must_agree(walk, bright, dark, runs):
    folder = walk(bright + dark, exposure_time_s=[1 / 1000] * bright + [1 / 30] * dark)
    found = find_runs(run_scan(Request((folder,), cache=None)).archive.table)
    assert STEP_FRAMES == 3
    assert [len(run.rows) for run in found] == runs
    assert [run.why for run in found[1:]] == ["other light"] * (len(runs) - 1)


def table_of(minutes, ev=None, session=None, **columns):
    """Frames so many minutes after noon, each with an exposure of so many stops."""
    n = len(minutes)
    return with_columns(
        pd.DataFrame(
            {
                "file": [f"P101{i:04d}.jpg" for i in range(n)],
                "captured_at": pd.Timestamp("2031-04-05 12:00") + pd.to_timedelta(minutes, unit="min"),
                "session": session or [1] * n,
                "exposure_time_s": 2.0 ** (np.zeros(n) if ev is None else np.array(ev, float)) / 100,
                "iso": [100.0] * n,
                **columns,
            }
        )
    )


@pytest.mark.parametrize(
    ("gap", "why"),
    [(10, None), (10.02, "after 10 min"), (119, "after 119 min"), (120, "after 2 h"), (150, "after 2 h"),
     (2879, "after 48 h"), (2880, "after 2 days"), (4319, "after 2 days")],
)  # fmt: skip
def test_a_run_begins_after_a_pause_of_more_than_ten_minutes(gap, why):
    runs = find_runs(table_of([0, 1, 1 + gap]))
    assert [run.why for run in runs] == ["", *([why] if why else [])]
    assert [run.rows for run in runs] == ([(0, 1), (2,)] if why else [(0, 1, 2)])


@pytest.mark.parametrize(
    ("ev", "runs"),
    [
        ([0, 0, 0, 1.5, 1.5, 1.5], [3, 3]), ([0, 0, 0, -1.5, -1.5, -1.5], [3, 3]),
        ([0, 0, 0, 1.4, 1.4, 1.4], [6]), ([0, 0, 0, 2, 4, 4, 4], [3, 4]),
        ([0, 0, 0, 2, 2, 2, 0, 0, 0], [3, 3, 3]), ([0, 0, 2, 2, 0, 0, 0], [7]),
        ([0, 1, 0, 2.5, 3, 2.5], [3, 3]),
    ],
)  # fmt: skip
def test_a_step_of_light_by_one_and_a_half_stops_that_stays_begins_a_run(ev, runs):
    """Three frames agree on either side, and no second step begins within three frames of the first."""
    assert [len(run.rows) for run in find_runs(table_of(range(len(ev)), ev))] == runs


def test_a_session_and_a_camera_begin_runs_of_their_own():
    table = table_of([0, 1, 2, 3], session=[1, 1, 2, 2], camera=["A", "B", "A", "A"])
    assert [(run.camera, run.session, run.rows) for run in find_runs(table)] == [
        ("A", 1, (0,)), ("B", 1, (1,)), ("A", 2, (2, 3)),
    ]  # fmt: skip


def test_what_the_files_of_a_run_record_is_told_with_what_is_missing():
    table = table_of(
        [0, 1, 2], focal_length_mm=[28.0] * 3, f_number=[8.0, 11.0, None], focus_distance_m=[None] * 3
    )
    (run,) = find_runs(table)
    assert run.recorded == "28 mm, f/8 to f/11 in 2 of 3, no focus distance"
    assert not run.complete
    assert str(run) == f"2031-04-05 12:00 to 12:02, 3 frames from P1010000: {run.recorded}"
    (run,) = find_runs(table.assign(f_number=8.0, focus_distance_m=2.5).iloc[:1])
    assert run.complete
    assert str(run) == "2031-04-05 12:00 to 12:00, 1 frame from P1010000: 28 mm, f/8, focus at 2.5 m"
