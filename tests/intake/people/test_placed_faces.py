"""From measured pictures to the table: distances, or why there is none; worked out by hand."""

from __future__ import annotations

import os
import time
from contextlib import closing

import numpy as np
import pandas as pd
import pytest

from auditor.frames import MEASURED_COLUMNS, with_columns
from auditor.intake.library.cache import Cache
from auditor.intake.library.folders import ENTRY_SETTLED_NS, stamp_of
from auditor.intake.people.facedistance import RESIZED
from auditor.intake.people.facemodel import can_find_faces
from auditor.intake.people.filling import NO_FACE, SAME_BURST, faces_to_write, fill_in, placed_faces
from auditor.intake.people.measurements import Face, MeasuredPicture, measure_version, pack_picture
from auditor.intake.people.proposals import propose_faces
from auditor.intake.people.subject import AMBIGUOUS, CLEAR, choose_subjects
from auditor.settings import Request

FACE = Face(500, 300, 200, 200, 0.9, 150.0, 0.0, 600, 330, 600, 480)
SMALL = Face(1500, 300, 60, 60, 0.9, 45.0, 0.0, 1530, 300, 1530, 345)
SEEN = MeasuredPicture(width=2400, height=1600, faces=(FACE,), blurs_px=(5.0,))
EMPTY = MeasuredPicture(width=2400, height=1600)
GONE = MeasuredPicture(error="the file is not there")


def distance_by_hand(face_px: float) -> float:
    """117.85 mm before 35 mm on 36 x 24 mm and 2400 x 1600 pixels, of 0.015 mm each."""
    times = 117.85 / (face_px * 0.015)
    return 35 * (2 + times + 1 / times) / 1000


def table_of(n: int, **columns) -> pd.DataFrame:
    return with_columns(
        pd.DataFrame(
            {
                "file": [f"P101000{i}.jpg" for i in range(n)],
                "files": [f"P101000{i}.jpg" for i in range(n)],
                "camera": ["A"] * n,
                "focal_length_mm": [35.0] * n,
                "sensor_width_mm": [36.0] * n,
                "sensor_height_mm": [24.0] * n,
                "sensor_source": ["exif"] * n,
                "pixel_width": [2400] * n,
                "pixel_height": [1600] * n,
            }
            | columns
        )
    )


def test_a_subjects_distance_is_filled_in_and_what_shows_none_says_why():
    both = MeasuredPicture(width=2400, height=1600, preview=True, faces=(FACE, SMALL), blurs_px=(5.0, 5.0))
    resized = MeasuredPicture(width=2400, height=1600, resized=True, faces=(FACE,), blurs_px=(5.0,))
    pictures, rows = [SEEN, EMPTY, both, GONE, resized], np.array([0, 1, 2, 4, 5])
    table, facts = fill_in(table_of(6), pictures, rows)
    near = distance_by_hand(150)
    assert table["measured_distance_m"].tolist() == pytest.approx(
        [near, np.nan, near, np.nan, np.nan, np.nan], nan_ok=True
    )
    assert table["faces_found"].fillna(-1).tolist() == [1, 0, 2, -1, -1, 1]
    assert table["not_measured"].fillna("").tolist() == ["", NO_FACE, "", SAME_BURST, GONE.error, RESIZED]
    assert facts.counts == {
        "frames": 6, "tried": 5, "opened": 4, "previews": 1, "with_face": 3, "chosen": 2, "ambiguous": 0,
        "filled": 2,
    }  # fmt: skip
    assert facts.refused == {RESIZED: 1}
    assert facts.only_who_faced_the_camera
    assert [problem.file for problem in facts.problems] == ["P1010004.jpg", "P1010005.jpg"]
    assert facts.faces["is_subject"].tolist() == [True, True, False, True]
    written = faces_to_write(facts, table)
    assert written["file"].tolist() == [f"P101000{i}.jpg" for i in (0, 1, 2, 2, 3, 4, 5)]
    assert written["is_subject"].fillna(False).tolist() == [True, False, True, False, False, False, True]


def test_a_distance_that_somebody_stated_is_not_filled_and_takes_the_flag_away():
    stated = {"subject_distance_m": [9.0, None], "subject_distance_source": ["notes", "unknown"]}
    _, facts = fill_in(table_of(2, **stated), [SEEN, SEEN], np.arange(2))
    assert (facts.counts["chosen"], facts.counts["filled"]) == (2, 1)
    assert not facts.only_who_faced_the_camera
    assert fill_in(table_of(2), [SEEN, EMPTY], np.arange(2))[1].only_who_faced_the_camera
    assert not fill_in(table_of(1), [EMPTY], np.arange(1))[1].only_who_faced_the_camera


def test_a_picture_that_is_gone_leaves_what_was_known_of_it():
    before, _ = fill_in(table_of(2), [SEEN, SEEN], np.arange(2))
    after, _ = fill_in(before, [GONE, EMPTY], np.arange(2))
    assert after["measured_distance_m"].isna().tolist() == [False, True]
    assert after["faces_found"].tolist() == [1, 0]
    assert set(MEASURED_COLUMNS) <= set(after)


def test_faces_of_a_copy_of_either_kind_have_no_distance():
    """The file says that it was resized, or it is smaller than its camera's others."""
    table = table_of(10, pixel_width=[2400] * 9 + [1200], pixel_height=[1600] * 9 + [800])
    resized = MeasuredPicture(width=2400, height=1600, resized=True, faces=(FACE,), blurs_px=(5.0,))
    faces = placed_faces(table, [SEEN, resized, SEEN], np.array([0, 1, 9]))
    assert faces["refused"].fillna("").tolist() == ["", RESIZED, RESIZED]


@pytest.mark.skipif(not can_find_faces(), reason="the extra people is not installed")
def test_a_proposal_is_the_face_in_shares_of_its_picture(tmp_path):
    paths = [tmp_path / f"P101000{i}.jpg" for i in range(2)]
    for path in paths:
        path.write_bytes(b"no picture")
        os.utime(path, (1_700_000_000, 1_700_000_000))
    time.sleep(ENTRY_SETTLED_NS / 1e9 + 0.015)
    with closing(Cache(tmp_path / "read-pictures.sqlite", measure_version())) as store:
        for path, seen in zip(paths, (SEEN, EMPTY), strict=True):
            store.put((str(tmp_path), path.name), stamp_of(path), pack_picture(seen))
    request = Request((tmp_path,), cache=tmp_path / "read.sqlite")
    proposed = propose_faces(table_of(2), list(map(str, paths)), [0, 1], request)
    assert list(proposed) == [0]
    (face,) = proposed[0]
    assert face.ends == ((600 / 2400, 330 / 1600), (600 / 2400, 480 / 1600))
    assert face.distance_m == pytest.approx(distance_by_hand(150))


def rivals(*faces) -> pd.DataFrame:
    """Faces in the middle of one picture as (size, distance)."""
    size, distance = np.array(faces, dtype=float).T
    return pd.DataFrame(
        {
            "frame": 0, "picture_width": 6000.0, "picture_height": 4000.0, "face_px": size,
            "left": 3000 - size / 2,
            "top": 2000 - size / 2, "width": size, "height": size, "distance_m": distance,
            "distance_rel_sd": 0.0,
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("size", "distance", "choice"),
    [(64.0, 3.0, CLEAR), (66.0, 3.0, AMBIGUOUS), (99.0, 2.32, CLEAR), (99.0, 2.34, AMBIGUOUS),
     (99.0, 1.7, AMBIGUOUS)],
)  # fmt: skip
def test_a_rival_counts_by_the_fourth_power_of_its_size_and_from_15_percent_away(size, distance, choice):
    """Its chance is s^4/(1 + s^4): 0.144 for 0.64, 0.159 for 0.66. ln 2.34/2 is 0.157, ln 2.32/2 0.148."""
    assert choose_subjects(rivals((100.0, 2.0), (size, distance)))["choice"].item() == choice


def test_where_a_rival_without_a_distance_stands_its_size_tells():
    """A face of 0.8 of the length is 1.25 times as far; its chance is 0.8^4/(1 + 0.8^4)."""
    chosen = choose_subjects(rivals((100.0, 2.0), (80.0, np.nan)))
    chance = 0.8**4 / (1 + 0.8**4)
    assert chosen["choice"].item() == AMBIGUOUS
    assert chosen["distance_rel_sd"].item() == pytest.approx(np.log(1.25) * chance**0.5)
    assert chosen["faces"].item() == 2
