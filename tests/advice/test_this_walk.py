"""Which walk is told of: by day, time, folder, stem or first frame."""

import pandas as pd
import pytest

from auditor.advice.this_walk import find_walks
from auditor.errors import SettingError

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
