"""Which frames are measured, the table of their faces, and whom somebody should look at."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.intake.people.filling import LOOKED_AT, _to_look_at, faces_of, one_of_each_burst


def frames(burst, seconds):
    times = pd.Timestamp("2031-04-05") + pd.to_timedelta(seconds, unit="s")
    return pd.DataFrame({"burst": pd.array(burst, dtype="Float64"), "captured_at": times})


@pytest.mark.parametrize(
    ("burst", "seconds", "rows"),
    [
        ([1, 1, 2, 2, 3], [0, 1, 9, 10, 20], [0, 2, 4]),
        ([1, 1, 2, 2, 3], [1, 0, 10, 9, 20], [1, 3, 4]),  # the first by time, not by place
        ([2, 1, 2, 1], [5, 0, 6, 1], [0, 1]),
        ([1, 1, 1], [0, 0, 0], [0]),  # of one moment the first in the table
        ([1, None, 1], [0, 1, 2], [0, 1, 2]),  # bursts are not known: every frame
        ([], [], []),
    ],
)
def test_one_frame_of_each_burst_is_measured(burst, seconds, rows):
    assert one_of_each_burst(frames(burst, seconds)).tolist() == rows
    assert one_of_each_burst(frames(burst, seconds).drop(columns="burst")).tolist() == list(range(len(burst)))


def test_no_face_is_an_empty_table_of_the_same_kinds():
    faces = faces_of([])
    assert faces.empty
    assert faces["frame"].dtype == np.int64
    assert faces["resized"].dtype == bool
    assert set(faces.drop(columns=["frame", "resized"]).dtypes) == {np.dtype("float64")}


def test_the_nearest_and_the_largest_in_their_pictures_are_named():
    """A face is large for its own picture: 300 of 1,000 px are more than 400 of 4,000."""
    near = [(1.0 + place / 10, 200.0, 4000.0) for place in range(LOOKED_AT)]
    large = [(9.0 + place, 300.0, 1000.0) for place in range(LOOKED_AT)]
    others = [(5.0 + place / 10, 400.0, 4000.0) for place in range(LOOKED_AT)]
    faces = pd.DataFrame([*others, *large, *near], columns=["distance_m", "face_px", "picture_height"])
    faces["frame"] = range(len(faces))
    table = pd.DataFrame({"file": [f"{place}.jpg" for place in range(len(faces))]})
    named = _to_look_at(table, faces)
    assert [distance for _, distance in named] == [row[0] for row in [*near, *large]]
    assert [file for file, _ in named[:1]] == [f"{2 * LOOKED_AT}.jpg"]
