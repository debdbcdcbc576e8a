"""What ratings and labels in the files mean, by the rules of a session file."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.intake.statements.cameras import claim_cameras, claim_flash
from auditor.intake.statements.marks import claim_marks, verdicts_of_ratings
from auditor.intake.statements.session import Camera, Marks, SessionFile
from auditor.optics.sensors import Sensor

NAN = np.nan


def marked(marks, rows=range(5), **columns):
    """The words of each source, by row."""
    n = 5
    blank = {f"{source}_rating": [NAN] * n for source in ("sidecar", "embedded", "exif")}
    blank |= {f"{source}_label": [None] * n for source in ("sidecar", "embedded")}
    claims = claim_marks(pd.DataFrame(blank | columns), np.array(rows), marks)
    return {one.source: dict(zip(one.rows.tolist(), one.typed, strict=True)) for one in claims.stated}


def test_a_rating_is_a_keeper_from_the_least_on_and_a_reject_below_nought():
    rating = np.array([NAN, -1, -0.5, 0, 0.5, 1.99, 2, 5])
    assert verdicts_of_ratings(rating, 2.0).tolist() == [0, -1, -1, 0, -1, -1, 1, 1]


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        (Marks(), {}),
        (Marks(keeper_labels=("green",)), {0: "yes", 1: "yes"}),
        (Marks(reject_labels=("Red",)), {2: "no"}),
        (Marks(keeper_labels=("Green",), reject_labels=("red",)), {0: "yes", 1: "yes", 2: "no"}),
    ],
)
def test_labels_mark_as_far_as_the_session_file_says_what_they_mean(marks, words):
    labels = ["Green", " GREEN ", "red", "Blue", None]
    wanted = {"sidecar": words} if words else {}
    assert marked(marks, sidecar_label=labels) == wanted
    assert marked(marks, [2, 3], sidecar_label=labels).get("sidecar", {}) == {
        row: word for row, word in words.items() if row == 2
    }


def test_a_rating_speaks_before_a_label_and_each_source_for_itself():
    found = marked(
        Marks(min_rating=3, keeper_labels=("Green",)),
        sidecar_rating=[1, 0, NAN, 3, NAN],
        sidecar_label=["Green", "Green", "Green", None, None],
        embedded_rating=[5, NAN, NAN, NAN, NAN],
        exif_rating=[NAN, NAN, NAN, NAN, 4],
    )
    assert found == {
        "sidecar": {0: "no", 1: "yes", 2: "yes", 3: "yes"}, "embedded": {0: "yes"}, "exif": {4: "yes"},
    }  # fmt: skip


BODIES = pd.DataFrame(
    {
        "body": ["body A", "body A (1a2)", "body B", None, "body A"],
        "model": ["body A", "body A", "body B", None, "body A"],
        "flash": pd.array([True, False, None, True, True], dtype="boolean"),
    }
)


def test_a_cameras_entry_is_found_by_its_name_its_model_or_having_none():
    full, small = Sensor(36, 24), Sensor(18, 12)
    a, own, other = Camera("body A", full, 60.0), Camera("body A (1a2)", small), Camera(None, None, -60.0)
    session = SessionFile(cameras=(a, own, other, Camera("body C", full)))
    claims = claim_cameras(session, np.arange(5), BODIES)
    found = {}
    for claim in claims.stated:
        found.setdefault(claim.quantity, {}).update(zip(claim.rows.tolist(), claim.typed, strict=True))
    # The second body bears the model's name too, and the entry of that name comes first.
    assert found["sensor"] == {0: full, 1: full, 4: full}
    assert found["clock_offset"] == {0: 60.0, 1: 60.0, 4: 60.0, 2: -60.0, 3: -60.0}
    assert [problem.what for problem in claims.problems] == [
        f"[[camera]] {name!r} took none of these frames." for name in ("body A (1a2)", "body C")
    ]
    assert claims.problems[0].next == "Cameras found: body A, body A (1a2), body B."
    alone = claim_cameras(SessionFile(cameras=(own,)), np.array([2, 1]), BODIES)
    assert [claim.rows.tolist() for claim in alone.stated] == [[1]]
    assert alone.problems == ()
    nameless = claim_cameras(SessionFile(cameras=(own,)), np.array([3]), BODIES)
    assert nameless.problems[0].next == "Cameras found: none with a name."


def test_a_flashs_duration_is_of_the_frames_whose_file_says_that_it_fired():
    session = SessionFile(flash_duration_s=0.001)
    (claim,) = claim_flash(session, np.array([1, 2, 3, 4]), BODIES).stated
    assert (claim.rows.tolist(), claim.typed.tolist()) == ([3, 4], [0.001, 0.001])
    (problem,) = claim_flash(session, np.array([1, 2]), BODIES).problems
    assert "no file says that a flash fired" in problem.what
    assert claim_flash(SessionFile(), np.array([0]), BODIES).stated == ()
