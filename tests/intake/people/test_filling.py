"""Which frames are named so that somebody looks: a face on a poster can become the subject."""

from __future__ import annotations

import pandas as pd

from auditor.intake.people.filling import LOOKED_AT, _to_look_at


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
