"""What is said of measured pictures, and that the page shows it."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.measured_blur import compare_blur
from auditor.evidence.ring import RingCheck
from auditor.intake.tables import write_table
from auditor.journey import run_audit
from auditor.settings import Request, Settings
from auditor.show.outputs import write_outputs
from auditor.show.words import pictures as words
from tests.evidence.test_measured_blur import frames


@pytest.fixture(scope="module")
def audit(tmp_path_factory):
    """A walk whose ring stood at 2.2 m where the session file says 3 m."""
    table = frames(np.random.default_rng(1), 60).drop(columns=["session", "burst", "counted_as"])
    table = table.assign(
        captured_at=pd.Timestamp("2031-04-05 12:00") + pd.to_timedelta(np.arange(60) * 20, unit="s"),
        camera="body A",
        preset_source="session",
        keeper=np.where(table["measured_blur_mm"] < 0.04, "yes", "no"),
    )
    path = tmp_path_factory.mktemp("table") / "frames.csv"
    write_table(table, path)
    return run_audit(Request((path,)))


def test_the_report_and_the_json_say_where_the_ring_stood(audit, tmp_path):
    write_outputs(audit, tmp_path)
    page = (tmp_path / "report.html").read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert "said to be focused at 3 m, but 2.1" in page
    assert (tmp_path / "charts" / "measured.svg").is_file()
    found = json.loads((tmp_path / "audit.json").read_text("utf-8"))
    (ring,) = found["rings"]
    assert ring["differs"] is True
    assert ring["low_m"] < 2.2 < ring["high_m"]
    assert found["measured_blur"]["presets"][0]["measured"] == 60
    assert "pictures" not in found


def test_verdicts_from_blur_never_become_marks(audit):
    assert audit.counts["stated"] == 60
    text = words.sharpness(audit.measured_blur, 60)
    assert "stay apart from your marks" in text
    unmarked = compare_blur(audit.table.assign(counted_as="left out"), Settings())
    assert "Nothing is marked yet" in words.sharpness(unmarked, 0)
    assert words.who_was_measured(unmarked) == ""


def test_what_must_be_said_is_said_once():
    text = " ".join(words.said_once("boxes"))
    for must in (
        "average build",
        "Children",
        "does not mean nobody",
        "undercount",
        "statues",
        "never compared",
        "law",
    ):
        assert must in text.replace("counted too low", "undercount")
    assert "10 %" in text
    assert "8 %" in words.said_once("mesh")[0]


def test_counts_and_refusals_in_words():
    counts = {
        "frames": 10,
        "opened": 9,
        "previews": 2,
        "with_face": 6,
        "chosen": 4,
        "ambiguous": 1,
        "filled": 3,
    }
    assert words.found(counts) == (
        "Of 10 frames, 9 could be opened (2 by a raw file's preview); 6 show a face, 4 give a distance. "
        "3 distances were filled in where none was stated."
    )
    assert "In 25 % of the frames" in words.choice(counts)
    assert words.choice(counts | {"chosen": 0}) == ""
    assert words.refusals({"too small": 2, "too blurred": 5}) == (
        "Faces without a distance: too blurred (5) and too small (2)."
    )
    assert words.refusals({}) == ""


def test_previews_say_what_they_hide():
    nan = float("nan")
    assert words.previews(nan, 0.024, 0.03) == ""
    assert words.previews(0.024, 0.024, 0.03) == ""
    assert "no preview can be called sharp" in words.previews(0.048, nan, 0.03)
    assert words.previews(0.028, 0.014, 0.03) == (
        "In the raw files' previews the least blur that shows is 0.028 mm, in the other files 0.014 mm."
    )


def test_a_ring_that_cannot_be_told_is_not_accused():
    check = RingCheck("arcade", 2, 3.0, 9, 2.0, 1.0, float("inf"), told=False, differs=False)
    assert words.ring(check, "m") == (
        "arcade, session 2: said to be focused at 3 m; 9 faces cannot tell where it really was."
    )
