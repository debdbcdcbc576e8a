"""Runs of frames, laid out for somebody to say what was set: where the light steps and stays, one begins."""

from __future__ import annotations

import pytest

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
