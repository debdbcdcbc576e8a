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


def test_a_frame_whose_raw_file_cannot_be_read_takes_its_copy_in_all_the_same():
    files = {"a/P1.dng": shot(error="cut short", captured_at=None), "a/P1.jpg": shot(), "b/P1.jpg": shot()}
    assert grouped(files)[0] == [["a/P1.jpg", "b/P1.jpg", "a/P1.dng"]]
    alone = {"a/P1.dng": shot(error="cut short"), "b/P1.dng": shot(error="cut short")}
    assert len(grouped(alone)[0]) == 2


def test_of_a_frames_files_the_whole_one_with_most_pixels_speaks():
    files = {
        "a/P1.jpg": shot(stored_width_px=6000, stored_height_px=4000),
        "b/P1.jpg": shot(stored_width_px=3000, stored_height_px=2000),
        "c/P1.jpg": shot(stored_width_px=6048, stored_height_px=4032),
    }
    assert grouped(files)[0] == [["c/P1.jpg", "a/P1.jpg", "b/P1.jpg"]]


@pytest.mark.parametrize(("words", "frames"), [(1, 1), (2, 1), (3, 4)])
def test_files_without_a_time_join_the_frame_that_they_are_named_after_while_they_are_few(words, frames):
    exports = {f"a/P1010001-{word}.jpg": shot(captured_at=None) for word in ("web", "print", "small")[:words]}
    assert len(grouped({"a/P1010001.jpg": shot(), **exports})[0]) == frames


@pytest.mark.parametrize(("counters", "frames"), [(1, 1), (2, 1), (3, 4)])
def test_numbers_behind_a_cameras_own_name_join_while_they_are_few(counters, frames):
    files = {f"a/P1010001-{i + 2}.jpg": shot() for i in range(counters)}
    assert len(grouped({"a/P1010001.jpg": shot(), **files})[0]) == frames


def test_a_file_that_cannot_be_read_speaks_for_no_frame():
    """The readable file of the first name tells the moment, by which a copy of it joins."""
    files = {"a/P1.dng": shot(error="cut short", captured_at=None), "a/P1.jpg": shot(), "b/P1.jpg": shot()}
    assert grouped(files)[0] == [["a/P1.jpg", "b/P1.jpg", "a/P1.dng"]]
    assert len(grouped(files | {"a/P1.jpg": shot(error="cut short", captured_at=None)})[0]) == 2


@pytest.mark.parametrize(
    ("longer", "shorter"), [((600, 400), (300, 200)), ((600, 400), (600, 300)), ((300, 900), (600, 400))]
)
def test_of_two_pictures_of_a_frame_the_larger_one_speaks(longer, shorter):
    """Of one name in two folders; the other may come first by its folder."""
    sizes = [{"stored_width_px": width, "stored_height_px": height} for width, height in (shorter, longer)]
    assert grouped({"a/P1.jpg": shot(**sizes[0]), "b/P1.jpg": shot(**sizes[1])})[0][0][0] == "b/P1.jpg"
    assert grouped({"a/P1.jpg": shot(**sizes[1]), "b/P1.jpg": shot(**sizes[0])})[0][0][0] == "a/P1.jpg"


@pytest.mark.parametrize(("exports", "frames"), [(1, 1), (2, 1), (3, 4)])
def test_up_to_two_exports_without_a_time_join_the_frame_they_are_named_after(exports, frames):
    names = ["P1-web", "P1-print", "P1-proof"][:exports]
    timeless = {f"a/{name}.jpg": shot(captured_at=None) for name in names}
    assert len(grouped({"a/P1.jpg": shot(), **timeless})[0]) == frames
    assert len(grouped(timeless)[0]) == exports, "without that frame they are frames themselves"
    assert len(grouped({"a/P1.jpg": shot(), "a/P1.dng": shot(9), **timeless})[0]) == 2 + exports


@pytest.mark.parametrize(("counters", "frames"), [(2, 1), (3, 4)])
def test_up_to_two_numbers_behind_a_cameras_name_are_copies_of_it(counters, frames):
    names = ["P1010001", *(f"P1010001-{i}" for i in range(2, 2 + counters))]
    assert len(grouped({f"a/{name}.jpg": shot() for name in names})[0]) == frames


def test_an_export_joins_the_longest_name_that_it_continues():
    files = {name: shot(has_subseconds=True) for name in ("a/P1.jpg", "a/P1-web.jpg", "a/P1-web-small.jpg")}
    assert grouped(files)[0] == [["a/P1.jpg", "a/P1-web-small.jpg", "a/P1-web.jpg"]]
    other = {"a/P1.jpg": shot(), "a/P2.jpg": shot(), "b/P2.jpg": shot(), "b/P2-web.jpg": shot()}
    assert grouped(other)[0] == [["a/P1.jpg"], ["a/P2.jpg", "b/P2.jpg", "b/P2-web.jpg"]]


def test_a_sidecar_of_one_file_speaks_before_that_of_its_stem():
    names, _ = grouped({"a/P1.dng": shot(), "a/P1.jpg": shot()}, ["a/P1.dng.xmp", "a/P1.xmp", "a/P1.jpg.xmp"])
    (frame,) = names
    assert set(frame[2:4]) == {"a/P1.dng.xmp", "a/P1.jpg.xmp"}
    assert frame[4] == "a/P1.xmp"


def test_of_the_files_of_a_frame_the_one_with_a_time_tells_its_moment():
    files = {"a/P1.dng": shot(captured_at=None), "a/P1.jpg": shot(), "b/P1.jpg": shot()}
    assert len(grouped(files)[0]) == 1
    assert len(grouped(files | {"b/P1.jpg": shot(60)})[0]) == 2


def test_a_number_behind_what_the_frame_has_already_is_another_frame():
    """P1-2 brings nothing that P1 has not: it is the next frame; with a raw file more it was exported."""
    jpeg, raw = shot(stored_width_px=600), shot(stored_width_px=600, container="tiff")
    assert len(grouped({"a/P1.jpg": jpeg, "a/P1.dng": raw, "a/P1-2.jpg": jpeg})[0]) == 2
    assert len(grouped({"a/P1.jpg": jpeg, "a/P1-2.jpg": jpeg, "a/P1-2.dng": raw})[0]) == 1
