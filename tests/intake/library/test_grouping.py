"""Which files are one frame, from names and records alone."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from auditor.intake.library.folders import Folder, Found
from auditor.intake.library.grouping import group_files
from auditor.intake.photofile.records import FileRecord

NOON = datetime(2031, 4, 5, 12)


def grouped(pictures, sidecars=()):
    """The frames of files given as path and record, each as its files' names, and what was said."""
    tops = sorted({path.rpartition("/")[0] for path in [*pictures, *sidecars]})
    folders = [Folder(f"/photos/{top}", top, None, ()) for top in tops]

    def place(path):
        top, _, name = path.rpartition("/")
        return tops.index(top), name

    paths = sorted(pictures, key=place)
    found = Found(folders, [place(path) for path in paths], [place(path) for path in sorted(sidecars)])
    groups, problems = group_files(found, [pictures[path] for path in paths])
    names = [
        [paths[i] for i in group.pictures] + [sorted(sidecars)[i] for i in group.sidecars] for group in groups
    ]
    return names, [f"{problem.file}: {problem.what}" for problem in problems]


def shot(seconds=0.0, **facts):
    at = NOON + timedelta(seconds=seconds)
    return FileRecord(**{"container": "jpeg", "camera": "body A", "captured_at": at} | facts)


def test_files_of_one_name_are_one_frame_and_the_raw_file_speaks():
    names, said = grouped(
        {"a/P1.jpg": shot(), "a/p1.DNG": shot(), "a/P1.tif": shot()}, ["a/P1.xmp", "a/P1.jpg.xmp"]
    )
    assert names == [["a/p1.DNG", "a/P1.jpg", "a/P1.tif", "a/P1.jpg.xmp", "a/P1.xmp"]]
    assert said == []


def test_whoever_cannot_be_read_or_has_no_time_speaks_last():
    files = {"a/P1.dng": shot(error="cut short"), "a/P1.jpg": shot(), "a/P1.tif": shot(captured_at=None)}
    assert grouped(files)[0] == [["a/P1.jpg", "a/P1.tif", "a/P1.dng"]]


@pytest.mark.parametrize(("seconds", "frames"), [(1.0, 1), (1.001, 2), (-1.0, 1), (-1.001, 2)])
def test_of_one_name_only_what_was_taken_within_a_second_is_one_frame(seconds, frames):
    names, said = grouped({"a/P1.dng": shot(), "a/P1.jpg": shot(seconds)})
    assert len(names) == frames
    assert len(said) == frames - 1
    assert all(one == "a/P1.jpg: Another file of the same name has another capture time." for one in said)


@pytest.mark.parametrize(
    ("other", "record", "frames"),
    [
        ("b/P1.jpg", {}, 1),  # a copy elsewhere
        ("b/P1.jpg", {"camera": "body B"}, 2),
        ("b/P1.jpg", {"serial": "2"}, 2),
        ("b/P2.jpg", {}, 2),
        ("a/P1-web.jpg", {}, 1),  # an export beside it
        ("a/P1-web.jpg", {"seconds": 1}, 2),
        ("a/P1-web.jpg", {"captured_at": None}, 1),  # without a time the name decides
        ("a/P1a.jpg", {"captured_at": None}, 2),
        ("a/P11.jpg", {}, 2),  # a longer number is another frame
    ],
)
def test_a_copy_or_an_export_of_the_same_camera_and_moment_joins(other, record, frames):
    names, _ = grouped({"a/P1.jpg": shot(), other: shot(**record)})
    assert len(names) == frames
    assert "a/P1.jpg" in [group[0] for group in names], "the one with the shortest name speaks"


@pytest.mark.parametrize(("subseconds", "frames"), [(True, 2), (False, 3)])
def test_a_mere_number_behind_a_name_counts_only_where_the_moment_is_certain(subseconds, frames):
    """Two frames of one second: P1-2 may be a copy of P1, or the second frame of a burst."""
    files = {name: shot(has_subseconds=subseconds) for name in ("a/P1.jpg", "a/P2.jpg", "a/P1-2.jpg")}
    assert len(grouped(files)[0]) == frames


@pytest.mark.parametrize(
    ("stems", "seconds"),
    [
        (["roll1", *(f"roll1-frame{k}" for k in range(1, 37))], None),
        (["roll1", "roll1-frame7"], None),
        (["roll1", *(f"roll1-frame{k}" for k in range(1, 4))], 0),  # the scanner's time
        (["roll1", "roll1-cat", "roll1-dog", "roll1-tree"], None),
        (["1", *(f"1-{letter}" for letter in "abcdef"), "12", "12-A", "13", "13 A"], None),
        (["P12", "P12-A", "P12B"], 0),
        (["ROLL0001", *(f"ROLL0001-{k}" for k in range(1, 4))], 0),
        (["2031-05-01 10.00.30", "2031-05-01 10.00.30-1", "2031-05-01 10.00.30-2"], 0),
        (["20310501_100030", "20310501_100030_001", "20310501_100030_002"], 0),
    ],
)
def test_frames_that_lie_side_by_side_stay_frames(stems, seconds):
    record = shot(captured_at=None) if seconds is None else shot(seconds)
    assert len(grouped({f"a/{stem}.jpg": record for stem in stems})[0]) == len(stems)


@pytest.mark.parametrize("record", [shot(), shot(captured_at=None)])
def test_what_an_editor_wrote_behind_a_name_is_no_frame(record):
    files = {"a/2031-05 walk1.jpg": shot(), "a/2031-05 walk1-web.jpg": record}
    assert len(grouped(files | {"a/2031-05 walk1 (edited).jpg": record})[0]) == 1


@pytest.mark.parametrize(("copy", "width_px"), [("a/P1-2.jpg", 300), ("a/P1-2.tif", 600)])
def test_a_number_behind_another_size_or_format_is_a_copy(copy, width_px):
    assert len(grouped({"a/P1.jpg": shot(stored_width_px=600), copy: shot(stored_width_px=width_px)})[0]) == 1


def test_a_sidecar_alone_is_told_and_one_of_two_frames_of_a_name_speaks_for_both():
    names, said = grouped({"a/P1.dng": shot(), "a/P1.jpg": shot(9)}, ["a/P1.xmp", "a/P3.xmp"])
    assert names == [["a/P1.dng", "a/P1.xmp"], ["a/P1.jpg", "a/P1.xmp"]]
    assert said[-1] == "a/P3.xmp: A sidecar without its picture."


@pytest.mark.parametrize("fact", [{"error": "cut short"}, {"captured_at": None}])
def test_files_of_which_nothing_tells_the_moment_stay_apart(fact):
    assert len(grouped({"a/P1.jpg": shot(**fact), "b/P1.jpg": shot(**fact)})[0]) == 2


def test_a_frame_takes_in_the_files_and_sidecars_of_its_copies():
    names, _ = grouped({"a/P1.jpg": shot(), "b/P1.jpg": shot()}, ["a/P1.xmp", "b/P1.xmp"])
    assert names == [["a/P1.jpg", "b/P1.jpg", "a/P1.xmp", "b/P1.xmp"]]
