"""Several sources under each other, and the session files that govern them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.intake.sources import SessionFiles, Sources, folders_of, joined
from auditor.intake.statements.session import SessionFile


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
