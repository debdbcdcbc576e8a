"""Several sources under each other, and the session files that govern them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.errors import SourceError
from auditor.intake.sources import SessionFiles, Sources, folders_of, from_folders, from_table, joined
from auditor.intake.statements.session import SessionFile
from auditor.settings import Request
from tests.intake.library.settling import settle


def source(name, n, sessions, governed_by, notes=()):
    return Sources(
        facts=pd.DataFrame({"file": [f"{name}{i}" for i in range(n)]}),
        paths=[f"/{name}/{i}" for i in range(n)],
        session_files=sessions,
        governed_by=np.array(governed_by),
        notes=[(f"/{name}/notes.csv", np.array(rows)) for rows in notes],
        found=n + 2,
        unreadable=1,
        merged=1,
        problems=[name],
    )


def test_sources_lie_under_each_other_and_rows_move_along():
    shared, own = SessionFile(distances_from="lens"), SessionFile()
    parts = [
        source("a", 2, [shared], [0, 0], [[0, 1]]),
        source("b", 3, [own, shared], [1, 0, 1], [[2]]),
        source("c", 1, [shared], [0], [[0]]),
    ]
    whole = joined(parts)
    assert whole.facts["file"].tolist() == ["a0", "a1", "b0", "b1", "b2", "c0"]
    assert whole.paths == ["/a/0", "/a/1", "/b/0", "/b/1", "/b/2", "/c/0"]
    assert [id(file) for file in whole.session_files] == [id(shared), id(own)], "each stands once"
    governing = [whole.session_files[i].distances_from for i in whole.governed_by]
    assert governing == ["lens", "lens", "lens", "sensor", "lens", "lens"]
    assert [(path, rows.tolist()) for path, rows in whole.notes] == [
        ("/a/notes.csv", [0, 1]), ("/b/notes.csv", [4]), ("/c/notes.csv", [5]),
    ]  # fmt: skip
    assert (whole.found, whole.unreadable, whole.merged) == (12, 3, 3)
    assert whole.problems == ["a", "b", "c"]
    assert joined(parts[:1]) is parts[0]


def test_each_session_file_is_read_once_and_an_unusable_one_counts_as_absent(tmp_path):
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.touch()
    bad.write_text("[[")
    files = SessionFiles(None, SessionFile(in_files="subject"))
    assert files.of(str(good)) is files.of(str(good))
    assert files.of(str(bad)) == SessionFile()
    assert files.of(str(bad)).in_files == "focus"
    assert files.of(None).in_files == "subject", "the outer one holds where none is found"
    (problem,) = [one for one in files.problems if one.file == str(bad)]
    assert problem.ignored
    assert problem.next.endswith("The file was ignored.")
    fixed = SessionFiles(SessionFile(in_files="subject"), SessionFile())
    assert fixed.of(str(good)).in_files == "subject", "one that was named replaces all"


@pytest.mark.parametrize("form", ["folder", "file", "table", "stray table", "nothing"])
def test_the_folders_that_hold_a_sources_photographs(tmp_path, photo, form):
    shot = photo(tmp_path / "walk" / "P1.jpg")
    table = tmp_path / ("frames.csv" if form == "table" else "other/frames.csv")
    table.parent.mkdir(exist_ok=True)
    table.write_text("file\nwalk/P1.jpg\n")
    given, wanted = {
        "folder": (shot.parent, [shot.parent]),
        "file": (shot, [shot.parent]),
        "table": (table, [tmp_path]),
        "stray table": (table, []),
        "nothing": (tmp_path / "none", []),
    }[form]
    assert folders_of(given) == wanted


def read(folder, cache=None, progress=None):
    return from_folders([folder], SessionFiles(None), None, Request((folder,), cache=cache), progress)


def test_a_folder_without_a_photograph_says_what_is_there_instead(tmp_path):
    with pytest.raises(SourceError, match="No photographs in") as told:
        read(tmp_path)
    assert told.value.next_step.startswith("Name the folder that holds them")
    (tmp_path / "frames.csv").write_text("file\nP1.jpg\n")
    with pytest.raises(SourceError) as told:
        read(tmp_path)
    assert told.value.next_step == f"There is a frame table: name {tmp_path / 'frames.csv'}."


def test_a_folder_of_which_nothing_can_be_read_names_the_first_file(tmp_path):
    for name in ("P1.jpg", "P2.jpg"):
        (tmp_path / name).write_bytes(b"none")
    with pytest.raises(SourceError, match="None of the 2 files in") as told:
        read(tmp_path)
    assert told.value.next_step.startswith("The first: P1.jpg: ")


def test_progress_tells_of_every_file_whether_it_was_read_or_is_known(tmp_path, photo, packet):
    for name in ("P1.jpg", "P2.jpg", "P3.jpg"):
        photo(tmp_path / "walk" / name)
    (tmp_path / "walk" / "P1.xmp").write_bytes(packet(3))
    settle(tmp_path / "walk")
    told: list[list[tuple[int, int]]] = [[], []]
    for once in told:
        found = read(
            tmp_path / "walk", tmp_path / "read.sqlite", lambda *numbers, own=once: own.append(numbers)
        )
        assert (found.found, len(found.facts), found.unreadable, found.merged) == (3, 3, 0, 0)
        assert once[-1] == (4, 4)
    assert told[1] == [(4, 4)], "nothing was read again"
    assert len(read(tmp_path / "walk", tmp_path / "read.sqlite").facts) == 3


def test_of_a_table_further_columns_and_what_only_a_session_file_states_otherwise_come_along(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text("file,ring_shift_mm,focus_true_m,coc_mm,extra\nP1.jpg,0.1,2.2,0.03,mine\n")
    facts = from_table(path, SessionFiles(None)).facts
    assert facts.loc[0, ["ring_shift_mm", "focus_true_m", "extra"]].tolist() == [0.1, 2.2, "mine"]
    assert "coc_mm" not in facts
