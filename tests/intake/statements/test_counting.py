"""What frames without a mark count as: the rule of each session file, and the automatic one, row by row."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from auditor.intake.frame_index import FrameIndex
from auditor.intake.statements.counting import count_marks
from auditor.intake.statements.session import Marks, SessionFile

COUNTS = {"keeper": "k", "not kept": "n", "left out": "-"}


def counted(marks, rule="auto", *, culled_to=None, selects=False, cameras=None, minutes=None):
    """One letter a frame: k a keeper, n not kept, - without a mark, or left out; and what is said."""
    n = len(marks)
    minutes = np.arange(n) if minutes is None else np.array(minutes)
    names = [f"P101{i:04d}.jpg" for i in range(n)]
    body = np.array(list(cameras or "A" * n), dtype=object)
    index = FrameIndex(names, [f"/photos/{name}" for name in names], body, minutes * 60.0)
    table = pd.DataFrame(
        {
            "file": names,
            "keeper": [{"k": "yes", "n": "no", "-": None}[mark] for mark in marks],
            "session": index.session,
            "camera": body,
            "captured_at": pd.Timestamp("2031-04-05") + pd.to_timedelta(minutes, unit="min"),
        }
    )
    session = SessionFile(path=Path("/photos/session.toml"), marks=Marks(culled_to=culled_to))
    governed = [(session, rule, np.arange(n))]
    found, problems = count_marks(table, governed, np.full(n, selects), index)
    return "".join(COUNTS[one] for one in found), " ".join(problem.what for problem in problems)


@pytest.mark.parametrize(
    ("marks", "rule", "expected"),
    [
        ("-k-n-", "not-kept", "nknnn"),
        ("-k-n-", "keeper", "kkknk"),
        ("-k-n-", "leave-out", "-k-n-"),
        # where choosing stopped is inferred: the last marked frame and all after it are left out
        ("--k--k--", "auto", "nnknn---"),
        ("--k--n--", "auto", "nnknn---"),
        ("k-------", "auto", "--------"),
        ("kknk", "auto", "kknk"),  # all marked: nothing to infer
        ("----", "auto", "----"),
        ("n--n", "auto", "----"),  # rejects alone tell of no keeper
    ],
)
def test_each_rule_by_hand(marks, rule, expected):
    assert counted(marks, rule)[0] == expected


def test_selects_are_whole():
    assert counted("--k--k--", selects=True)[0] == "nnknnknn"
    assert counted("--------", selects=True)[0] == "--------"


def test_each_camera_stops_where_its_own_marks_stop():
    assert counted("--k-k---", cameras="ABAAAABB")[0] == "n-kn----"
    assert counted("--k-k-k-", cameras="ABAAAABB")[0] == "nnkn----"


def test_sessions_are_counted_each_by_itself_and_silent_ones_between_are_told():
    """Three sessions of three frames, four hours apart; no mark in the second."""
    minutes = [0, 1, 2, 240, 241, 242, 480, 481, 482]
    found, said = counted("-kk---k-k", minutes=minutes)
    assert found == "nk----kn-"
    assert "No mark in 1 session with 3 frames (2031-04-05 04:00), between sessions with keepers" in said
    assert "2 of 4 frames are keepers (50 %)" in said
    assert "2 of 7 (29 %)" in said
    assert counted("------k-k", minutes=minutes) == ("------kn-", "")
    assert "Only rejects are marked in 1 session with 3 frames" in counted("kk-n----k", minutes=minutes)[1]


def test_culled_to_says_where_choosing_stopped():
    assert counted("-k------", culled_to="P1010004")[0] == "nknnn---"
    assert counted("-k---k--", culled_to="P1010004")[0] == "nknnn---"
    assert counted("-k--k---", culled_to="P1010004")[0] == "nknnk---", "the last one keeps its mark"
    found, said = counted("-k--k---", culled_to="P1010099")
    assert found == "nknn----"
    assert said == "[marks] culled_to: There is no frame 'P1010099'."


@pytest.mark.parametrize(
    ("usual", "marks", "gap", "told"),
    [
        (2, 5, 29, False),
        (2, 5, 30, True),
        (4, 5, 39, False),
        (4, 5, 40, True),
        (2, 4, 60, True),
        (2, 3, 60, False),
    ],
)
def test_a_last_mark_long_after_the_others_may_be_a_remembered_one(usual, marks, gap, told):
    """After so many marks one is alone: at ten times the usual gap, and 30 frames, it is named."""
    found, said = counted(("k" + "-" * (usual - 1)) * (marks - 1) + "k" + "-" * (gap - 1) + "k-")
    assert found.endswith("n--")
    assert ("stands alone, long after the one before: P10100" in said) is told
