"""Which frame a file in the folder of selects was made from, by its name, its time, or where it lay."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from auditor.intake.frame_index import FrameIndex
from auditor.intake.photofile.records import FileRecord
from auditor.intake.statements.selects import claim_selects, probable_selects

NOON = datetime(2031, 4, 5, 12)
# Of roll a every second one frame, two of body A in the third second; b/P1010001 is another roll's; b/x-1 and
# b/x-2 have no time.
FRAMES = [
    ("a/P1010001.jpg", 0.0, "A"), ("a/P1010002.dng|a/P1010002.jpg", 1.0, "A"), ("a/P1010003.jpg", 2.1, "A"),
    ("a/P1010004.jpg", 2.5, "A"), ("a/P1010005.jpg", 2.5, "B"), ("b/P1010001.jpg", 60.0, "A"),
    ("b/x-1.jpg", None, "A"), ("b/x-2.jpg|b/x-2.xmp", None, "A"),
]  # fmt: skip


def selected(*files, exact=True, rows=None):
    """Rows that (name, seconds after noon, camera) mean, and what is said of the others."""
    names = [name for name, *_ in FRAMES]
    start = (NOON - datetime(1970, 1, 1)).total_seconds()
    times = np.array([np.nan if s is None else start + s for _, s, _ in FRAMES])
    cameras = np.array([camera for *_, camera in FRAMES], dtype=object)
    index = FrameIndex(names, [f"/photos/{name.split('|')[0]}" for name in names], cameras, times)
    taken = [None if s is None else NOON + timedelta(seconds=s) for _, s, _ in files]
    records = [
        FileRecord(camera=camera, captured_at=at, has_subseconds=exact)
        for (*_, camera), at in zip(files, taken, strict=True)
    ]
    rows = np.arange(len(FRAMES)) if rows is None else np.array(rows)
    claims = claim_selects(
        "best", rows, [f[0] for f in files], records, [0.0] * len(files), index, np.full(len(FRAMES), exact)
    )
    kept = claims.stated[0].rows.tolist() if claims.stated else []
    return kept, [
        problem.what.removeprefix("A file in the folder of selects ") for problem in claims.problems
    ]


@pytest.mark.parametrize(
    ("name", "seconds", "camera", "rows"),
    [
        ("P1010002.jpg", 1.0, "A", [1]),
        ("P1010002.jpg", 1.0, None, [1]),  # the export lost its camera
        ("P1010002.jpg", None, None, [1]),
        ("P1010001.jpg", 60.0, None, [5]),  # of two of that name the one of that time
        ("P1010002.jpg", 60.0, "A", [5]),  # another's name, and the time of one frame alone
        ("P1010002.jpg", 99.0, "A", []),
        ("best one.jpg", 1.0, "A", [1]),  # renamed: by camera and time
        ("best one.jpg", 1.0, "B", []),
        ("best one.jpg", 2.1, "A", [2]),  # two in that second, told apart by its fractions
        ("best one.jpg", 2.5, "A", [3]),
        ("best one.jpg", 2.5, "B", [4]),
        ("best one.jpg", 2.7, "A", []),
        ("walk-P1010002-web.jpg", None, None, [1]),
        ("walk-P1010002-web.jpg", 1.0, None, [1]),
        ("walk-P1010002-web.jpg", 99.0, None, []),
        ("x-1.jpg", None, None, [6]),
        ("x-1.jpg", 500.0, "A", [6]),  # the frame has no time that could tell against it
        ("x-2.jpg", None, None, [7]),
        ("web/b-x-2-small.jpg", None, None, [7]),  # folder and stem in its name
        ("b/x-2/P1010004.jpg", None, None, [3]),  # a name of its own counts before the folder
        ("b-P1010001.jpg", None, None, [5]),
        ("x.jpg", None, None, []),
    ],
)
def test_one_frame_is_meant_or_none(name, seconds, camera, rows):
    kept, said = selected((name, seconds, camera))
    assert kept == rows
    assert said == ([] if rows else ["matches no frame."])


def test_a_name_alone_is_not_enough_where_two_frames_have_it():
    assert selected(("P1010001.jpg", None, None)) == ([], ["could be any of 2 frames."])
    assert selected(("P1010001.jpg", None, None), rows=[1, 2, 5])[0] == [5]


@pytest.mark.parametrize(("seconds", "rows"), [(0.7, [0]), (2.1, []), (2.9, [])])
def test_without_fractions_a_second_is_enough_where_it_holds_one_frame(seconds, rows):
    assert selected(("renamed.jpg", seconds, "A"), exact=False)[0] == rows


def test_several_files_of_one_frame_make_it_a_keeper_once():
    kept, said = selected(("P1010002.jpg", 1.0, "A"), ("P1010002.dng", 1.0, "A"), ("P1010003.jpg", 2.1, "A"))
    assert (kept, said) == ([1, 2], [])
    assert selected() == ([], [])


def test_a_folder_of_copies_of_some_frames_is_probably_one_of_selects():
    files = ["walk/1.jpg|best/1.jpg", "walk/2.jpg", "walk/3.jpg|best/3.jpg|web/3.jpg", "other/4.jpg"]
    assert probable_selects(files) == {"best": 2, "web": 1}
    assert (
        probable_selects(["a/1.jpg|b/1.jpg", "a/2.jpg|b/2.jpg"]) == {}
    )  # as many in the one as in the other
    assert probable_selects(["a/1.jpg|b/1.jpg", "a/2.jpg", "b/3.jpg"]) == {}  # it has frames of its own
    assert probable_selects([]) == {}


@pytest.mark.parametrize(
    ("name", "seconds", "exact", "rows"),
    [
        ("P1.jpg", 0.25, True, [0]),
        ("P1.jpg", 0.5, True, []),
        ("P1.jpg", 0, False, [0]),
        ("P3.jpg", 1.5, True, [2]),  # its frame knows whole seconds alone
        ("best.jpg", 1.5, True, [2]),
        ("best.jpg", 0.75, True, [1]),
        ("P1-web.jpg", 2, False, []),
    ],
)
def test_fractions_count_where_both_the_select_and_its_frame_have_them(name, seconds, exact, rows):
    names, own_exact = ["P1.jpg", "P2.jpg", "P3.jpg"], np.array([True, True, False])
    times = (NOON - datetime(1970, 1, 1)).total_seconds() + np.array([0.25, 0.75, 1.0])
    index = FrameIndex(names, [f"/photos/{one}" for one in names], np.full(3, "A", dtype=object), times)
    # The clock of the camera that copied it is an hour ahead.
    at = NOON + timedelta(seconds=seconds, hours=1)
    record = FileRecord(camera="A", captured_at=at, has_subseconds=exact)
    claims = claim_selects("best", np.arange(3), [name], [record], [-3600.0], index, own_exact)
    assert [row for claim in claims.stated for row in claim.rows.tolist()] == rows


def test_a_panorama_is_named_after_two_frames_and_is_itself():
    names = ["P1010003.jpg", "P1010004.jpg", "P1010003-P1010004.jpg"]
    for times in ([0.0, 60.0, 120.0], [np.nan] * 3):
        cameras = np.full(3, "A", dtype=object)
        index = FrameIndex(names, [f"/photos/{one}" for one in names], cameras, np.array(times))
        taken = [None] if times[0] == 0 else [None, NOON]
        for at in taken:
            record = FileRecord(camera="A", captured_at=at)
            rows, exact = np.arange(3), np.zeros(3, dtype=bool)
            claims = claim_selects("best", rows, names[2:], [record], [0.0], index, exact)
            assert claims.stated[0].rows.tolist() == [2]


def test_of_two_scans_in_a_path_the_longest_name_is_meant():
    names = ["roll1/s7.tif", "b/s7.tif"]
    index = FrameIndex(names, names, np.full(2, None, dtype=object), np.full(2, np.nan))
    args = [FileRecord()], [0.0], index, np.zeros(2, dtype=bool)
    assert claim_selects("best", np.arange(2), ["roll1-s7-b-s7.jpg"], *args).stated[0].rows.tolist() == [0]
