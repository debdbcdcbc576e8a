"""A filled sheet: read whole or refused with its place; merged into what is there without losing anything."""

import json
import tomllib
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from auditor.errors import AuditorError, FileFormatError
from auditor.intake.beside import source_text, statements_beside
from auditor.intake.filled_files import notes_as_csv, read_filled_notes, read_filled_session, write_keeping
from auditor.intake.starter import recorded_lines, session_as_toml
from auditor.intake.statements import sheet_file
from auditor.intake.statements.session_file import read_session
from auditor.intake.statements.sheet_file import SheetFrame, read_sheet
from auditor.intake.taking import Filled, _cells_of, from_sheet, merge_filled, without

FRAME = {
    "file": "walk/P1.jpg", "measure": "standing", "share": 0.5, "distances": [4.005], "sd": 0.067,
    "guess": 3.5, "sharp": "yes", "sharp_seen": "shown", "shown_px": 1057, "reason": None, "skipped": False,
    "answered": "2031-04-05T14:00:00.000Z",
}  # fmt: skip
SHEET = {
    "sample": "0123456789abcdef",
    "cameras": [{"name": "body A", "sensor": "36x24"}, {"name": "body B", "sensor": None}],
    "presets": [{"name": "arcade", "focal_length": "28mm", "f_number": 8, "focus_distance": "2.5m"}],
    "stretches": [{"preset": "arcade", "from": "P1", "camera": "body A"}],
    "markers": ["P7"],
    "frames": [FRAME],
}


@pytest.fixture
def sheet(tmp_path):
    def write(**changes):
        path = tmp_path / "sheet.json"
        path.write_text(json.dumps(SHEET | changes))
        return read_sheet(path)

    return write


def test_a_sheet_becomes_notes_and_a_session_in_their_own_words(sheet, tmp_path):
    filled = from_sheet(sheet(), guess_sd=0.1834)
    assert filled.notes == {
        "walk/P1.jpg": {
            "sharp": "yes", "sharp_seen": "shown", "sharp_shown_px": "1057", "guessed_distance": "3.5m",
            "standing_share": "50.000%", "subject_distance_sd": "0.0670",
        }
    }  # fmt: skip
    (tmp_path / "session.toml").write_text(session_as_toml(filled.session))
    session = read_session(tmp_path / "session.toml")
    assert session.cameras[0].sensor.width_mm == 36
    assert len(session.cameras) == 1, "nothing was said of the other"
    assert (session.presets[0].f_number, session.presets[0].focus_distance_m) == (8, 2.5)
    assert (session.stretches[0].starts, session.settings["guess_sd"]) == ("P1", 0.183)
    assert tomllib.loads((tmp_path / "session.toml").read_text())["marks"]["markers"] == ["P7"]


@pytest.mark.parametrize(
    ("changes", "cells"),
    [
        ({"measure": "by eye", "share": None, "distances": [2.5], "sd": 0.2}, ("2.5m", "0.2000")),
        ({"measure": "typed", "share": None, "distances": [3.25], "sd": None}, ("3.25m", None)),
        ({"distances": [4.005, 6.0]}, ("4.005m; 6m", "0.0670")),
        ({"measure": "nobody", "share": None, "distances": [], "sd": None}, (None, None)),
        ({"distances": []}, (None, "0.0670")),  # the lens is not known yet, the share is
    ],
)
def test_distances_that_are_no_share(sheet, changes, cells):
    notes = from_sheet(sheet(frames=[FRAME | changes])).notes["walk/P1.jpg"]
    assert (notes.get("subject_distance"), notes.get("subject_distance_sd")) == cells
    assert notes["sharp"] == "yes"


def test_skipped_frames_say_nothing_and_the_later_answer_holds(sheet):
    later = FRAME | {"sharp": "no", "reason": "moved", "answered": "2031-04-05T15:00:00.000Z"}
    skipped = FRAME | {"file": "walk/P2.jpg", "skipped": True}
    notes = from_sheet(sheet(frames=[later, FRAME, skipped])).notes
    assert list(notes) == ["walk/P1.jpg"]
    assert (notes["walk/P1.jpg"]["sharp"], notes["walk/P1.jpg"]["reason"]) == ("no", "moved")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"frames": [FRAME, FRAME | {"share": "half"}]}, "frames[1].share"),
        ({"frames": [FRAME | {"share": float("nan")}]}, "frames[0].share"),
        ({"frames": [FRAME | {"distances": [0]}]}, "frames[0].distances"),
        ({"frames": [FRAME | {"distances": 4}]}, "frames[0].distances"),
        ({"frames": [FRAME | {"sharp": "maybe"}]}, "frames[0].sharp"),
        ({"frames": [FRAME | {"measure": "ears"}]}, "frames[0].measure"),
        ({"frames": [{"share": 0.5}]}, "frames[0] has no 'file'"),
        ({"frames": [7]}, "frames[0] is no table"),
        ({"frames": {"a": 1}}, "frames: this is no list"),
        ({"cameras": [{"name": "a", "sensor": "large"}]}, "cameras[0].sensor"),
        ({"presets": [{"name": "a", "focus_distance": "2.5"}]}, "presets[0].focus_distance"),
        ({"presets": [{"name": "a", "f_number": True}]}, "presets[0].f_number"),
        ({"stretches": [{"from": "P1"}]}, "stretches[0] has no 'preset'"),
        ({"markers": [""]}, "markers[0].file"),
        ({"sample": 3}, "is no filled sheet"),
    ],
)
def test_one_fault_is_told_with_its_place(sheet, changes, said):
    with pytest.raises(FileFormatError) as told:
        sheet(**changes)
    assert said in told.value.what
    assert told.value.next_step


@pytest.mark.parametrize(
    "text", ["", "[]", "{", "\ufeffnull", "[" * 100_000, '{"sample": "a", "frames": 1e999}']
)
def test_what_is_no_sheet_is_refused(tmp_path, text):
    path = tmp_path / "sheet.json"
    path.write_text(text)
    with pytest.raises(FileFormatError):
        read_sheet(path)
    with pytest.raises(FileFormatError):
        read_sheet(tmp_path / "gone.json")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
)


@given(st.dictionaries(st.sampled_from([*SHEET]), JSON))
def test_whatever_stands_in_it_there_is_a_sheet_or_one_error(tmp_path_factory, changes):
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_text(json.dumps(SHEET | changes))
    with suppress(AuditorError):  # and nothing else
        read_sheet(path)


def test_merging_loses_nothing_and_equal_rows_are_no_contradiction():
    own = Filled(
        {"preset": [{"name": "arcade", "f_number": 8}], "marks": {"min_rating": 2}, "more": {"own": 1}},
        {"P1": {"keeper": "yes", "sharp": "no"}, "P9": {"reason": "kiss"}},
    )
    taken = Filled(
        {
            "preset": [{"name": "arcade", "focus_distance": "2m"}, {"name": "corner"}],
            "marks": {"markers": ["P7"]},
        },
        {"walk/P1.jpg": {"sharp": "yes"}, "P9.jpg": {"reason": "kiss"}},
    )
    both = merge_filled(own, taken)
    assert both.session == {
        "preset": [{"name": "arcade", "f_number": 8, "focus_distance": "2m"}, {"name": "corner"}],
        "marks": {"min_rating": 2, "markers": ["P7"]},
        "more": {"own": 1},
    }
    assert both.notes == {"P1": {"keeper": "yes", "sharp": "yes"}, "P9": {"reason": "kiss"}}
    assert merge_filled(both, taken) == both, "taking the same again changes nothing"
    assert own.notes["P1"] == {"keeper": "yes", "sharp": "no"}, "the former is left as it was"


def test_a_frame_is_recognised_by_its_name_or_the_end_of_its_path():
    merged = merge_filled(
        Filled(notes={"walk/P1.jpg": {"keeper": "yes"}}),
        Filled(notes={"P1": {"sharp": "no"}, "p1.JPG": {"reason": "x"}}),
    )
    assert merged.notes == {"walk/P1.jpg": {"keeper": "yes", "sharp": "no", "reason": "x"}}


def test_what_the_same_sheet_said_before_is_taken_back_first(sheet):
    former = from_sheet(sheet())
    filled = merge_filled(
        Filled({"stretch": [{"preset": "own", "from": "14:00"}]}, {"P5": {"keeper": "yes"}}), former
    )
    changed = FRAME | {"measure": "face", "share": 0.1, "distances": [1.8]}
    later = from_sheet(
        sheet(
            frames=[changed], stretches=[{"preset": "arcade", "from": "P3", "camera": "body A"}], markers=[]
        )
    )
    now = merge_filled(without(filled, former), later)
    assert now.notes["walk/P1.jpg"]["face_share"] == "10.000%"
    assert "standing_share" not in now.notes["walk/P1.jpg"]
    assert now.notes["P5"] == {"keeper": "yes"}
    assert [stretch["from"] for stretch in now.session["stretch"]] == ["14:00", "P3"]
    assert now.session["marks"]["markers"] == []


def test_notes_and_session_come_back_as_they_were_written(tmp_path):
    notes = {"=1+1.jpg": {"keeper": "yes", "other": "a, b"}, "b": {"subject_distance": "6ft; 13ft"}}
    (tmp_path / "notes.csv").write_text(notes_as_csv(notes, ["file", "reason"]))
    assert read_filled_notes(tmp_path / "notes.csv") == notes
    assert (tmp_path / "notes.csv").read_text().startswith("file,keeper,subject_distance,reason,other\n'=1+1")
    session = {
        "lens": [{"name": 'my "28"', "ring": ["0.7m", "inf"], "scale": [{"f_number": 11, "near": "1.1m"}]}],
        "marks": {"min_rating": 2, "keeper_labels": ["a\\b"]}, "subject": {"speed_m_s": 0.9},
        "odd key": {"x": True},
    }  # fmt: skip
    told = ["#: 2031-04-05 14:00: 3 frames"]
    (tmp_path / "session.toml").write_text(session_as_toml(session, told))
    assert read_filled_session(tmp_path / "session.toml") == {**session, "light": {}}
    text = (tmp_path / "session.toml").read_text()
    assert recorded_lines(text) == told
    assert session_as_toml(read_filled_session(tmp_path / "session.toml"), told) == text
    assert read_filled_notes(tmp_path / "gone.csv") == read_filled_session(tmp_path / "gone.toml") == {}


def test_former_files_are_kept_and_numbered(tmp_path):
    folder = tmp_path / "notes"
    for number in range(4):
        written = write_keeping(folder, {"notes.csv": f"{number}", "same.txt": "same"})
        assert [path.name for path in written] == (["notes.csv"] if number else ["notes.csv", "same.txt"])
    found = {path.name: path.read_text() for path in folder.iterdir() if path.name != "written.json"}
    assert found == {
        "notes.csv": "3", "notes.csv.before": "0", "notes.csv.before-2": "1", "notes.csv.before-3": "2",
        "same.txt": "same",
    }  # fmt: skip


def test_statements_are_found_beside_only_for_the_sources_they_are_about(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "photos").mkdir()
    notes = tmp_path / "audit-notes"
    notes.mkdir()
    (notes / "source.txt").write_text(source_text([tmp_path / "photos"], notes))
    assert (notes / "source.txt").read_text() == "../photos\n"
    from pathlib import Path

    assert statements_beside([Path("photos")]) is None, "nothing lies there yet"
    (notes / "notes.csv").write_text("file\n")
    found = statements_beside([Path("photos")])
    assert (found.session, found.notes) == (None, Path("audit-notes/notes.csv"))
    assert statements_beside([Path(".")]) is None
    assert statements_beside([Path("photos"), Path(".")]) is None
    (notes / "source.txt").write_bytes(b"\xff\xfe")
    assert statements_beside([Path("photos")]) is None


@pytest.mark.parametrize(
    ("known", "new", "same"),
    [
        ("P1", "walk/P1.jpg", True), ("walk/P1.jpg", "P1", True), ("walk/P1.jpg", "P1.jpg", True),
        ("walk/P1", "P1.jpg", True), ("a/P1.jpg", "b/P1.jpg", False),
        ("P1", "P11", False), ("P1.jpg", "./p1.JPG", True), ("P1.jpg", "walk/P1", True),
        ("walk/P1.jpg", "walk/P1", True), ("a/P1.jpg", "b/P1", False), ("P1.jpg", "walk/P11", False),
    ],
)  # fmt: skip
def test_frames_of_two_sheets_are_the_same_by_the_end_of_their_paths(known, new, same):
    merged = merge_filled(Filled(notes={known: {"keeper": "yes"}}), Filled(notes={new: {"sharp": "no"}}))
    assert (merged.notes == {known: {"keeper": "yes", "sharp": "no"}}) is same


@pytest.mark.parametrize(
    ("frame", "cells"),
    [
        ({"measure": "face", "share": 0.1}, {"face_share": "10.000%"}),
        ({"measure": "face", "share": 0.1, "distances": (1.8,)}, {"face_share": "10.000%"}),
        (
            {"measure": "face", "share": 0.1, "distances": (1.8, 4.0)},
            {"face_share": "10.000%", "subject_distance": "1.8m; 4m"},
        ),
        ({"measure": "face", "distances": (1.8,)}, {"subject_distance": "1.8m"}),
        ({"share": 0.1, "distances": (1.8,)}, {"subject_distance": "1.8m"}),
        ({"measure": "typed", "share": 0.1, "distances": (1.8,)}, {"subject_distance": "1.8m"}),
        ({"measure": "by eye", "share": 0.1, "distances": (1.8,)}, {"subject_distance": "1.8m"}),
        (
            {"measure": "face", "share": 0.1, "sd": 0.05},
            {"face_share": "10.000%", "subject_distance_sd": "0.0500"},
        ),
        ({"distances": (1.8,), "sd": 0.05}, {"subject_distance": "1.8m", "subject_distance_sd": "0.0500"}),
        ({"sd": 0.05}, {}),
        ({"guess": 2.5}, {"guessed_distance": "2.5m"}),
        (
            {"sharp": "yes", "sharp_seen": "shown", "shown_px": 1600.4},
            {"sharp": "yes", "sharp_seen": "shown", "sharp_shown_px": "1600"},
        ),
        ({"sharp": "no"}, {"sharp": "no"}),
        ({"sharp_seen": "shown", "shown_px": 1600.0}, {}),
        ({"reason": "soft"}, {"reason": "soft"}),
        ({"reason": "soft", "skipped": True}, {}),
    ],
)  # fmt: skip
def test_each_answer_has_its_cell_and_what_was_not_answered_has_none(frame, cells):
    assert _cells_of(SheetFrame("P1.jpg", **frame)) == cells


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"distances": [2.5] * 50}, None),
        ({"distances": [2.5] * 51}, "distances"),
        ({"distances": [0.01, 10_000]}, None),
        ({"distances": [0.009]}, "distances"),
        ({"answered": "x" * 1000}, None),
        ({"answered": "x" * 1001}, "answered"),
        ({"answered": "a\0b"}, "answered"),
        ({"shown_px": 1}, None),
        ({"shown_px": 0.9}, "shown_px"),
        ({"skipped": 1}, "skipped"),
        ({"of a later version": object}, None),
    ],
)
def test_an_answer_may_be_as_large_as_what_is_allowed(sheet, change, said):
    change = {key: 7 if value is object else value for key, value in change.items()}
    if said is None:
        assert len(sheet(frames=[FRAME | change]).frames) == 1
    else:
        with pytest.raises(FileFormatError, match=rf"frames\[0\]\.{said} = .* is not allowed"):
            sheet(frames=[FRAME | change])


def test_a_sheet_has_so_many_entries_and_a_camera_may_have_no_name(sheet, monkeypatch):
    monkeypatch.setattr(sheet_file, "MOST_ENTRIES", 2)
    assert len(sheet(frames=[FRAME] * 2).frames) == 2
    with pytest.raises(FileFormatError, match="frames: this is no list"):
        sheet(frames=[FRAME] * 3)
    assert sheet(cameras=[{"name": "", "sensor": "36x24"}]).cameras[0]["name"] == ""
    with pytest.raises(FileFormatError, match="cameras"):
        sheet(cameras=[{"name": 3, "sensor": "36x24"}])


def test_what_no_sheet_has_said_is_not_taken_back():
    kept = Filled({"marks": {"min_rating": 2}, "light": {"iso_max": 100}}, {"P1": {"sharp": "yes"}})
    assert without(kept, Filled()) == kept
    said = Filled({"marks": {"markers": ["P7"]}}, {"P1": {"sharp": "no"}})
    assert without(Filled({}, {}), said) == Filled({}, {})
    marked = Filled({"marks": {"markers": ["P6", "P7"], "min_rating": 2}})
    assert without(marked, said).session == {"marks": {"markers": ["P6"], "min_rating": 2}}
