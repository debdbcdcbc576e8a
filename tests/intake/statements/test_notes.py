"""Frame notes: which cells are read, which frame each row is of, and what is said of the rest."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from auditor.errors import FileFormatError
from auditor.intake.frame_index import FrameIndex
from auditor.intake.statements.notes import claim_notes, read_notes
from auditor.intake.statements.session import Preset, SessionFile

NAMES = [f"{folder}/P101{i:04d}.jpg" for folder in ("a", "b") for i in range(1, 5)]
PRESETS = (Preset("arcade", f_number=8.0), Preset("gate", slip=True))


@pytest.fixture
def notes(tmp_path):
    """Writes notes among eight frames in two folders; returns what they state by quantity, and all claims."""

    def read(text, *, rows=range(8), distances_from="sensor"):
        path = tmp_path / "notes.csv"
        path.write_text(text)
        written, problems = read_notes(path)
        cameras = np.array(["body A"] * 8, dtype=object)
        index = FrameIndex(NAMES, [f"{tmp_path}/{name}" for name in NAMES], cameras, 60.0 * np.arange(8))
        session = SessionFile(presets=PRESETS, distances_from=distances_from)
        claims = claim_notes(path, written, index, np.array(rows), 3, lambda _: session)
        stated = {
            claim.quantity: dict(zip(claim.rows.tolist(), claim.typed.tolist(), strict=True))
            for claim in claims.stated
        }
        return stated, claims, problems

    return read


def test_each_row_speaks_of_its_frame_and_the_first_of_two_is_used(notes):
    stated, claims, problems = notes(
        "file,keeper,subject_distance\na/P1010001,yes,2m; 3m; 4m\nb/P1010002.JPG,,5m\na/P1010001.jpg,no,\n"
    )
    assert problems == []
    assert stated["keeper"] == {0: "yes"}
    assert stated["subject_distance"] == {0: 2.0, 5: 5.0}
    assert stated["other_subjects"] == {0: (3.0, 4.0), 5: ()}
    (second,) = claims.problems
    assert second.what == "A second note for the frame a/P1010001.jpg."
    assert second.next.endswith("notes.csv, line 2) was used.")
    assert (claims.rows_read, claims.rows_matched) == (3, 3)


@pytest.mark.parametrize(("lost", "listed"), [(3, 3), (4, 4), (5, 4), (9, 4)])
def test_rows_without_their_frame_are_listed_until_there_are_too_many(notes, lost, listed):
    rows = "".join(f"c/P101010{i},yes\n" for i in range(lost))
    _, claims, _ = notes(f"file,keeper\n{rows}a/P1010001,yes\n")
    assert len(claims.problems) == listed
    assert sum(max(problem.frames, 1) for problem in claims.problems) == lost
    assert (claims.rows_read, claims.rows_matched) == (lost + 1, 1)
    hinted = ["The nearest name is" in problem.next for problem in claims.problems]
    assert hinted == [True] * 3 + [False] * (listed - 3)
    last = f"{lost} rows in all name no frame, or more than one."
    assert claims.problems[-1].what == (
        last if listed < lost else f"There is no frame 'c/P101010{lost - 1}'."
    )


def test_a_row_speaks_only_of_the_frames_that_it_may_speak_of(notes):
    text = "file,keeper\nP1010001,yes\nP1010002,no\n"
    stated, claims, _ = notes(text, rows=[0, 1, 2, 3])
    assert stated["keeper"] == {0: "yes", 1: "no"}
    _, claims, _ = notes(text)
    assert claims.problems[0].what == "'P1010001' could be 2 frames: a/P1010001.jpg, b/P1010001.jpg."
    assert "Write its path" in claims.problems[0].next
    _, claims, _ = notes("file,keeper\na/P1010001,yes\n", rows=[4])
    assert claims.problems[0].what == "There is no frame 'a/P1010001'."


def test_only_typed_distances_count_from_the_lens(notes):
    row = "file,subject_distance,focus_distance,f_number,preset\na/P1010001,2m,3m,8,arcade\n"
    _, claims, _ = notes(row, distances_from="lens")
    from_lens = {claim.quantity: claim.from_lens for claim in claims.stated}
    wanted = {"subject_distance", "other_subjects", "focus_distance", "preset"}
    assert {quantity for quantity, is_so in from_lens.items() if is_so} == wanted
    assert {claim.depth for claim in claims.stated} == {3}
    assert not any(claim.from_lens for claim in notes(row)[1].stated)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("gate", "The preset 'gate' has a key that cannot be used."),
        ("arcad", "There is no preset 'arcad'; did you mean 'arcade'?"),
        ("x", "There is no preset 'x'."),
    ],
)
def test_a_preset_that_cannot_be_used_leaves_its_frame_without_one(notes, name, said):
    stated, claims, _ = notes(f"file,preset\na/P1010001,{name}\na/P1010002,arcade\n")
    assert stated["preset"] == {0: None, 1: PRESETS[0]}
    assert [problem.what for problem in claims.problems] == [said]


def test_a_cell_that_cannot_be_read_costs_itself_and_a_setting_is_then_unknown(notes):
    stated, _, problems = notes(
        "file,f_number,subject_distance,keeper,,colour\na/P1010001,wide,2,maybe,x,red\n"
        "a/P1010002,99999,3m,no,,\n,8,,yes,,\n'=a/P1010003,8,,,,\n"
    )
    assert math.isnan(stated["f_number"][0])
    assert math.isnan(stated["f_number"][1]), "out of range"
    assert stated["subject_distance"] == {1: 3.0}
    assert stated["keeper"] == {1: "no"}
    assert [str(p.file).rpartition(", ")[2] for p in problems] == ["line 1"] + ["line 2"] * 3 + [
        "line 3", "line 4",
    ]  # fmt: skip
    assert problems[0].what == "There is no column 'colour'."
    assert problems[-2].what == "f_number: 99999 is out of range."
    assert problems[-1].what == "The row names no frame."


def test_notes_need_a_column_of_names(tmp_path):
    path = Path(tmp_path / "notes.csv")
    path.write_text("frame,keeper,\nP1,yes,\n")
    with pytest.raises(FileFormatError, match="has no column 'file'; found: frame, keeper"):
        read_notes(path)
