"""What an archive is made of: what a frame table counted before, markers, and the files that people name."""

from __future__ import annotations

import numpy as np
import pytest
from worlds.stated import read, said

from auditor.errors import FileFormatError, SourceError
from auditor.intake.assembling import rows_of_each
from auditor.intake.beside import NOTES_FOLDER, source_text, statements_above, statements_beside
from auditor.intake.statements.session import SessionFile

TABLE = """file,captured_at,keeper,mark_source,counted_as
P1010001.jpg,2031-04-05T12:00:00,yes,notes,keeper
P1010002.jpg,2031-04-05T12:01:00,,,left out
P1010003.jpg,2031-04-05T12:02:00,,,not kept
P1010004.jpg,2031-04-05T12:03:00,yes,sidecar,keeper
P1010005.jpg,2031-04-05T12:04:00,,,not kept
"""


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text(TABLE)
    return path


def counted(archive) -> str:
    letters = {"keeper": "k", "not kept": "n", "left out": "-"}
    return "".join(letters[word] for word in archive.table["counted_as"])


@pytest.mark.parametrize(
    ("notes", "before"),
    [
        ("", True),  # nobody says anything of the marks
        ("file,keeper\nP1010001,yes\n", True),  # what was so already
        ("file,reason\nP1010001,kiss\n", True),
        ("file,keeper\nP1010001,no\n", False),
        ("file,keeper\nP1010002,no\n", False),
    ],
)
def test_what_a_table_counted_holds_while_no_mark_has_changed(table, notes, before):
    if notes:
        (table.parent / "notes.csv").write_text(notes)
    found = read(table)
    assert (counted(found) == "k-nkn") == before
    to_end = ["keeper", "not kept", "not kept", "keeper", "not kept"]
    assert found.counted_to_end.tolist() == to_end or not before


def test_who_states_a_rule_has_it_for_the_table_too(table):
    assert counted(read(table, unmarked="leave-out")) == "k--k-"
    assert counted(read(table, unmarked="not-kept")) == "knnkn"
    (table.parent / "session.toml").write_text('[marks]\nunmarked = "keeper"\n')
    assert counted(read(table)) == "kkkkk"
    (table.parent / "session.toml").write_text('[marks]\nculled_to = "P1010002"\n')
    assert counted(read(table)) == "kn---", "what lies behind was not looked at"
    (table.parent / "session.toml").write_text("[marks]\nmin_rating = 2\n")
    assert counted(read(table)) == "k-nkn"


def test_a_marker_is_no_frame_of_the_walk(table):
    (table.parent / "session.toml").write_text('[marks]\nmarkers = ["P1010003", "P1010009"]\n')
    found = read(table)
    assert found.table["file"].tolist() == [f"P101000{i}.jpg" for i in (1, 2, 4, 5)]
    assert found.paths == [str(table.parent / f"P101000{i}.jpg") for i in (1, 2, 4, 5)]
    assert (found.markers, found.found, found.read, len(found.counted_to_end)) == (1, 5, 5, 4)
    (problem,) = found.problems
    assert problem.what == "markers names 'P1010009', which is no frame."


def test_a_marker_of_several_frames_is_none(tmp_path, photo):
    for folder in "ab":
        photo(tmp_path / "walk" / folder / "P1010001.jpg")
    photo(tmp_path / "walk" / "P1010002.jpg")
    (tmp_path / "walk" / "session.toml").write_text('[marks]\nmarkers = ["P1010001", "P1010002"]\n')
    found = read(tmp_path / "walk")
    assert (found.markers, len(found.table)) == (1, 2)
    assert "markers names 'P1010001', which is several frames." in said(found)


def test_a_folder_of_selects_that_is_not_there_or_empty_is_told(table):
    with pytest.raises(SourceError, match="is not a folder"):
        read(table, keepers_folder=table.parent / "none")
    (table.parent / "session.toml").write_text('[marks]\nkeepers = "none"\n')
    assert "The folder of selects does not exist." in said(read(table))
    (table.parent / "none").mkdir()
    assert "The folder of selects holds no pictures, so it marks nothing." in said(read(table))


def test_notes_that_were_named_replace_those_found_and_their_faults_end_the_run(table):
    other = table.parent / "other.csv"
    (table.parent / "notes.csv").write_text("file,reason\nP1010001,found\n")
    other.write_text("file,reason\nP1010001,named\n")
    assert read(table).table["reason"][0] == "found"
    assert read(table, notes_file=other).table["reason"][0] == "named"
    assert read(table, notes_file=other).remarks == ["1 notes read, 1 matched."]
    outer = read(table, outer_notes=other)
    assert outer.table["reason"][0] == "found", "what lies outermost is the weakest"
    assert outer.remarks == ["2 notes read, 2 matched."]
    other.write_text("reason\nnamed\n")
    assert "no column 'file'" in said(read(table, outer_notes=other))
    with pytest.raises(FileFormatError, match="no column 'file'"):
        read(table, notes_file=other)
    (table.parent / "notes.csv").unlink()
    assert read(table).remarks == []


def test_an_outer_session_file_holds_where_there_is_no_other(table):
    outer, own = table.parent / "outer.toml", table.parent / "session.toml"
    outer.write_text('[marks]\nunmarked = "keeper"\n')
    assert counted(read(table, outer_session=outer)) == "kkkkk"
    own.write_text('[marks]\nunmarked = "not-kept"\n')
    assert counted(read(table, outer_session=outer)) == "knnkn"
    assert counted(read(table, session_file=outer, outer_session=own)) == "kkkkk"


def test_each_session_file_comes_with_the_rows_that_it_governs():
    files = [SessionFile() for _ in range(3)]
    found = rows_of_each(files, np.array([2, 0, 2, 0, 0]))
    assert [file is own for (file, _), own in zip(found, files, strict=True)] == [True] * 3
    assert [rows.tolist() for _, rows in found] == [[1, 3, 4], [], [0, 2]]


def test_clocks_are_put_right_and_guesses_err_as_the_session_file_says(table):
    (table.parent / "notes.csv").write_text("file,subject_distance\nP1010002,3m\n")
    assert read(table).table["subject_distance_rel_sd"][1] == 0.15
    session = '[[camera]]\nclock_offset = "1h"\n[subject]\nguess_sd = 0.3\n'
    (table.parent / "session.toml").write_text(session)
    archive = read(table)
    assert archive.table["captured_at"].dt.hour.tolist() == [13] * 5
    assert archive.table["subject_distance_rel_sd"][1] == 0.3


# --- statements beside -------------------------------------------------------------------------------------


def test_statements_beside_are_of_the_sources_that_they_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder, a, b = tmp_path / NOTES_FOLDER, tmp_path / "a", tmp_path / "b"
    for one in (folder, a, b):
        one.mkdir()
    assert statements_beside([a]) is None
    (folder / "source.txt").write_text(source_text([a, b], folder) + "\n")
    assert statements_beside([a, b]) is None, "nothing is stated"
    (folder / "notes.csv").write_text("file\n")
    found = statements_beside([b, a])
    assert (found.session, found.notes.name) == (None, "notes.csv")
    (folder / "session.toml").touch()
    assert statements_beside([a, b]).session.name == "session.toml"
    assert statements_beside([a]) is statements_beside([]) is statements_beside([a, b, tmp_path]) is None
    (folder / "notes.csv").unlink()
    assert statements_beside([a, b]).notes is None
    assert source_text([a], folder) == "../a\n"


def test_statements_above_are_those_right_above_folders_without_their_own(tmp_path):
    a, b = tmp_path / "top" / "a", tmp_path / "top" / "b"
    for one in (a, b):
        one.mkdir(parents=True)
    assert statements_above([a]) == []
    for name in ("session.toml", "notes.csv"):
        (tmp_path / "top" / name).touch()
    names = [tmp_path / "top" / "session.toml", tmp_path / "top" / "notes.csv"]
    assert statements_above([a]) == statements_above([a, b]) == names
    assert statements_above([a, tmp_path / "top"]) == []  # which is read itself
    (a / "session.toml").touch()
    assert statements_above([a]) == []
    assert statements_above([a, b]) == names
    assert statements_above([tmp_path / "none"]) == []


def test_files_that_cannot_be_read_and_those_that_joined_a_frame_are_counted(tmp_path, photo):
    photo(tmp_path / "walk" / "P1.jpg")
    photo(tmp_path / "walk" / "P1-web.jpg")
    (tmp_path / "walk" / "P2.jpg").write_bytes(b"none")
    found = read(tmp_path / "walk")
    assert (found.found, found.read, found.unreadable, found.merged, len(found.table)) == (3, 2, 1, 1, 1)
