"""Which walk is told of: by day, time, folder, stem or first frame."""

from dataclasses import replace

import pandas as pd
import pytest

from auditor.advice.past import PastAdvice
from auditor.advice.this_walk import find_walks, keep_diary
from auditor.errors import SettingError
from auditor.frames import LEFT_OUT

WALKS = pd.DataFrame(
    {
        "first_file": [
            "film/roll7/x-1.tif",
            "film/roll8/y-1.tif",
            "w1/P1010001.JPG",
            "w2/P1020001.JPG",
            "w3/P.JPG",
        ],
        "starts_at": pd.to_datetime(
            [None, None, "2031-05-06T10:00:30", "2031-05-20T09:00:00", "2031-06-01T09:00:00"]
        ),
    }
)


@pytest.mark.parametrize(
    ("wanted", "rows"),
    [
        ("2031-05-06T10:00:30", [2]), ("2031-05-06 10:00", [2]), ("2031-05-20", [3]), ("2031-05", [2, 3]),
        ("2", [2, 3, 4]), ("roll7", [0]), ("film/roll8", [1]), ("y", [1]), ("x-1", [0]), ("Y-1.tif", [1]),
        ("w1", [2]), ("P1010001", [2]),
    ],
)  # fmt: skip
def test_a_walk_is_found_by_its_name(wanted, rows):
    assert find_walks(WALKS, wanted) == rows


@pytest.mark.parametrize("wanted", ["", " ", "1999", "nan", "NaT", "film"])
def test_a_name_of_no_walk_is_an_error_that_names_some(wanted):
    with pytest.raises(SettingError, match="No walk began at") as raised:
        find_walks(WALKS, wanted)
    assert "film/roll8/y-1.tif, 2031-05-06 10:00" in raised.value.next_step


def test_a_cause_that_the_walk_lacks_is_shown_on_another(demo):
    walk_of = demo.table.drop_duplicates("file").set_index("file")["session"]
    newest = demo.diary.walk["session"]
    frames = demo.causes.frames
    moved_here = frames["subject_motion"].gt(0) & frames["file"].map(walk_of).eq(newest)
    still = replace(demo.causes, frames=frames[~moved_here])

    def telling(causes):
        diary = keep_diary(demo.counted, demo.judged, demo.sessions, demo.settings, demo.tolerance, causes,
                           PastAdvice())  # fmt: skip
        assert diary.telling["why"].is_unique
        assert (diary.telling["elsewhere"] == (diary.telling["file"].map(walk_of) != newest)).all()
        return diary.telling.set_index("why")["elsewhere"]

    assert not telling(demo.causes)["subject_motion"]
    assert telling(still)["subject_motion"]
    assert {"in_front_of_zone", "beyond_zone"} <= set(telling(still).index)


def test_a_mark_that_the_rule_leaves_out_is_still_the_mark_it_is(demo):
    """A starred frame after the last star that counts is kept; only its press is not counted."""
    newest = demo.diary.walk["session"]
    table = demo.table[demo.table["side"].notna() & demo.table["session"].eq(newest)].reset_index(drop=True)
    marks = ["yes", "no", None]
    table = table.assign(
        keeper=[marks[row % 3] for row in range(len(table))], counted_as=LEFT_OUT, side="near", session=newest
    )
    diary = keep_diary(replace(demo.counted, table=table), demo.judged, demo.sessions, demo.settings,
                       replace(demo.tolerance, bursts=0), demo.causes, PastAdvice())  # fmt: skip
    said = dict(zip(diary.telling["file"], diary.telling["why"], strict=True))
    assert said == dict(
        zip(table["file"][:3], ["keeper, near", "not kept, near", "unmarked, near"], strict=True)
    )
