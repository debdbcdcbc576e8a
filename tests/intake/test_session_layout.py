"""The session file as it is laid out for a person: what is said in it, what is still open, and its names."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pandas as pd
import pytest

from auditor.frames import with_columns
from auditor.intake.starter import (
    _why,
    find_runs,
    frame_labels,
    lines_of_runs,
    note_names,
    recorded_lines,
    session_as_toml,
)


def frames(**columns):
    n = len(columns["file"])
    at = pd.Timestamp("2031-04-05 10:00") + pd.to_timedelta(np.arange(n), unit="min")
    base = {"captured_at": at, "session": 1, "camera": "body A", "exposure_time_s": 0.01, "iso": 100.0}
    return with_columns(pd.DataFrame(base | columns))


def test_what_was_said_comes_back_from_the_text():
    said = {
        "preset": [{"name": 'the "arcade"\n', "f_number": 5.6, "focus_distance": math.inf, "line": True}],
        "stretch": [{"preset": "a", "from": "P1"}, {"preset": "b", "from": "P2"}],
        "marks": {"min_rating": 2, "markers": ["P1", "P2"], "a key": {"b-c_d": -math.inf}, "größe": 1},
        "later": {"x": 0.1, "y": 1e22, "z": 3, "long": 123456.789, "no": False, "nought": 0.0},
    }
    text = session_as_toml(said | {"stray": 5})
    assert tomllib.loads(text) == said | {"light": {}, "subject": {}}
    assert math.isnan(tomllib.loads(session_as_toml({"later": {"x": math.nan}}))["later"]["x"])
    assert "[later]" in text
    assert text.count("[marks]") == text.count("[light]") == 1


def test_what_is_open_stands_as_comments_with_the_names_that_were_found():
    lines = session_as_toml({}, cameras=["body A", 'body "B"'], rolls=["roll 1/1.tif"]).splitlines()
    assert lines.count("# [[camera]]") == 2
    assert [line for line in lines if line.startswith("# name = ")][:2] == [
        '# name = "body A"', '# name = "body \\"B\\""',
    ]  # fmt: skip
    assert '# from = "roll 1/1.tif"' in lines
    assert '# camera = "body A"' in lines, "no other line of the example changes"
    plain = session_as_toml({}).splitlines()
    assert plain.count("# [[camera]]") == plain.count("# [[preset]]") == 1
    assert '# from = "P1010001"' in plain
    assert any(line.startswith("# min_rating = ") for line in plain)
    some = session_as_toml({"marks": {"min_rating": 2}, "camera": [{"name": "body C"}]}, cameras=["body A"])
    assert "# min_rating" not in some
    assert "# keepers = " in some
    assert "# [[camera]]" not in some
    assert "body A" not in some.replace('# camera = "body A"', "")


def test_what_the_files_record_is_kept_as_comments():
    runs = find_runs(frames(file=["P1.jpg", "P2.jpg"], focal_length_mm=28.0))
    lines = lines_of_runs(runs)
    assert lines == ["#: What the files record, in order:", f"#: {runs[0]}"]
    text = session_as_toml({}, lines)
    assert recorded_lines(text) == lines
    assert tomllib.loads(text) == tomllib.loads(session_as_toml({}))
    assert lines_of_runs([]) == []


@pytest.mark.parametrize(
    ("iso", "runs"), [([100] * 3 + [400] * 3, 1), ([100] * 6, 2), ([400] * 3 + [100] * 3, 2)]
)
def test_the_light_is_the_exposure_time_and_the_sensitivity_together(iso, runs):
    """A quarter of the time at four times the sensitivity is the same light."""
    table = frames(file=[f"P{i}.jpg" for i in range(6)], iso=iso, exposure_time_s=[0.04] * 3 + [0.01] * 3)
    assert len(find_runs(table)) == runs


def test_a_pause_of_ten_minutes_is_none_yet():
    assert (_why(600.0), _why(601.0), _why(math.nan)) == ("other light", "after 10 min", "")


def test_rolls_come_one_by_one_by_the_names_of_their_frames():
    files = ["b/P1.tif", "a/P2.tif", "a/P10.tif", "b/P0.tif"]
    rolls = find_runs(frames(file=files, captured_at=[pd.NaT] * 4, session=[2, 1, 1, 2], camera=None))
    assert [run.rows for run in rolls] == [(1, 2), (3, 0)]
    assert [run.is_roll for run in rolls] == [True, True]
    assert str(rolls[0]).startswith("A roll, 2 frames from P2 to P10: no focal length, no f-number")


def test_a_name_is_as_short_as_it_finds_its_frame_alone():
    table = frames(file=["P1.jpg", "a/P2.jpg", "a/P3.jpg", "b/p3.JPG"])
    assert frame_labels(table).tolist() == ["P1", "P2", "a/P3.jpg", "b/p3.JPG"]
    assert note_names(table).tolist() == ["P1.jpg", "a/P2.jpg", "a/P3.jpg", "b/p3.JPG"]
    table = frames(file=["P1.jpg", "a/P1.jpg"])
    assert frame_labels(table).tolist() == note_names(table).tolist() == ["./P1.jpg", "a/P1.jpg"]
