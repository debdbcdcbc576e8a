"""What a walk through folders finds, and when a file counts as settled."""

from __future__ import annotations

import os

import pytest

from auditor.errors import SourceError
from auditor.intake.library.folders import (
    ENTRY_SETTLED_NS,
    LATEST_NS,
    NO_STAMP,
    SETTLED_NS,
    find_files,
    is_settled,
    stamp_of,
)
from auditor.writing import ResultsFolder

AT_NS = 2_000_000_000_000_000_000


@pytest.mark.parametrize(
    ("before_ns", "entry_before_ns", "settled"),
    [
        (SETTLED_NS + 1, ENTRY_SETTLED_NS + 1, True),
        (SETTLED_NS, ENTRY_SETTLED_NS + 1, False),
        (SETTLED_NS + 1, ENTRY_SETTLED_NS, False),
        (-SETTLED_NS - 1, ENTRY_SETTLED_NS + 1, True),  # dated in the future
        (-SETTLED_NS, ENTRY_SETTLED_NS + 1, False),
        (SETTLED_NS + 1, -ENTRY_SETTLED_NS - 1, False),  # but the system's own time is not
    ],
)
def test_a_file_is_settled_when_its_times_could_no_longer_hide_a_change(before_ns, entry_before_ns, settled):
    assert is_settled((5, AT_NS - before_ns, AT_NS - entry_before_ns), AT_NS) is settled


def test_a_single_file_is_shown_by_its_name_and_among_others_by_its_folder_too(tmp_path, photo):
    first, second = photo(tmp_path / "a" / "P1.jpg"), photo(tmp_path / "b" / "P1.jpg")
    assert shown(find_files([first])) == ["P1.jpg"]
    assert shown(find_files([first, second])) == ["a/P1.jpg", "b/P1.jpg"]
    assert shown(find_files([tmp_path / "a", second])) == ["a/P1.jpg", "b/P1.jpg"]
    assert shown(find_files([tmp_path])) == ["a/P1.jpg", "b/P1.jpg"]
    with pytest.raises(SourceError, match="does not exist"):
        find_files([tmp_path / "c"])


def shown(found):
    assert [found.path(item) for item in found.pictures] == [
        f"{found.folders[folder].path}/{name}" for folder, name in found.pictures
    ]
    return [found.shown(item) for item in found.pictures]


def test_what_holds_in_a_folder_holds_below_it_until_something_nearer_does(tmp_path, photo):
    for folder in ("", "a", "a/b", "c"):
        photo(tmp_path / "top" / folder / "P1.jpg")
    top = tmp_path / "top"
    for file in ("session.toml", "notes.csv", "a/notes.csv", "a/b/session.toml", "a/b/P1.xmp", ".hidden.jpg"):
        (top / file).touch()
    found = find_files([top])
    assert [folder.shown for folder in found.folders] == ["", "a", "a/b", "c"]
    assert [folder.session for folder in found.folders] == [
        f"{top}/session.toml", f"{top}/session.toml", f"{top}/a/b/session.toml", f"{top}/session.toml",
    ]  # fmt: skip
    assert [len(folder.notes) for folder in found.folders] == [1, 2, 2, 1]
    assert found.folders[2].notes == (f"{top}/a/notes.csv", f"{top}/notes.csv"), "the nearest first"
    assert shown(found) == ["P1.jpg", "a/P1.jpg", "a/b/P1.jpg", "c/P1.jpg"]
    assert [found.shown(item) for item in found.sidecars] == ["a/b/P1.xmp"]
    assert (len(found.picture_stamps), len(found.sidecar_stamps)) == (12, 3)
    assert shown(find_files([top], left_out=[top / "a"])) == ["P1.jpg", "c/P1.jpg"]
    assert shown(find_files([top], selects_of=lambda _: top / "c")) == ["P1.jpg", "a/P1.jpg", "a/b/P1.jpg"]


def test_only_an_ordinary_file_has_a_stamp(tmp_path):
    assert stamp_of(tmp_path) == stamp_of(tmp_path / "gone") == NO_STAMP
    file = tmp_path / "P1.jpg"
    file.write_bytes(b"12345")
    assert stamp_of(file)[0] == 5


def test_of_a_folder_of_our_results_only_what_we_wrote_is_passed_over(tmp_path, photo):
    photo(tmp_path / "walk" / "P1.jpg")
    results = tmp_path / "walk" / "results"
    ResultsFolder(results).write_all({"chart.png": b"ours", "more.png": b"ours too"})
    (results / "mine.txt").touch()
    (results / ".P9.jpg").touch()  # neither is a frame
    found = find_files([tmp_path / "walk"])
    assert shown(found) == ["P1.jpg"]
    assert [folder.shown for folder in found.folders] == [""]
    assert [problem.what for problem in found.problems] == [
        "A folder of this tool's own results was passed over."
    ]
    itself = find_files([results])
    assert shown(itself) == []
    assert len(itself.folders) == 1
    assert [problem.what for problem in itself.problems] == [
        "A picture that this tool wrote was passed over."
    ] * 2
    photo(results / "P2.jpg")
    (results / "more.png").write_bytes(b"changed")
    found = find_files([tmp_path / "walk"])
    assert shown(found) == ["P1.jpg", "results/more.png", "results/P2.jpg"]
    assert [problem.file for problem in found.problems] == [str(results / "chart.png")]


def test_a_link_to_a_photograph_is_read_and_one_to_a_folder_is_told(tmp_path, photo):
    shot = photo(tmp_path / "elsewhere" / "P1.jpg")
    (tmp_path / "walk").mkdir()
    (tmp_path / "walk" / "P2.jpg").symlink_to(shot)
    (tmp_path / "walk" / "more").symlink_to(shot.parent)
    found = find_files([tmp_path / "walk"])
    assert shown(found) == ["P2.jpg"]
    assert [problem.what for problem in found.problems] == ["A link to a folder was not followed."]


def test_a_date_beyond_what_can_be_kept_is_no_stamp(tmp_path):
    file = tmp_path / "P1.jpg"
    file.touch()
    for at_ns, is_kept in ((LATEST_NS - 1, True), (LATEST_NS, False)):
        os.utime(file, ns=(0, at_ns))
        if file.stat().st_mtime_ns != at_ns:
            pytest.skip("this file system keeps no such dates")
        assert (stamp_of(file) != NO_STAMP) is is_kept
