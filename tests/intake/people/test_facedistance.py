"""Distances from face sizes, by hand arithmetic from the published survey of bodies."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from auditor.intake.people.facedistance import (
    FACE_COLUMNS,
    NO_FOCAL_LENGTH,
    RESIZED,
    TOO_BLURRED,
    TOO_SMALL,
    place_faces,
)
from auditor.intake.statements.bodies import FACE

NAN = float("nan")


def faces(**changed) -> pd.DataFrame:
    """One frontal face in the middle of a 6000 x 4000 picture, with changes."""
    own = dict.fromkeys(FACE_COLUMNS, NAN) | {
        "frame": 0, "picture_width": 6000, "picture_height": 4000, "resized": False,
        "left": 2900, "top": 1900, "width": 200, "height": 200, "score": 0.9,
        "face_px": 200.0, "spread": 0.0, "blur_px": 0.0,
    }  # fmt: skip
    columns = {name: np.atleast_1d(changed.get(name, value)) for name, value in own.items()}
    n = max(len(values) for values in columns.values())
    return pd.DataFrame({name: np.broadcast_to(values, n) for name, values in columns.items()})


def placed(focal=35.0, height_mm=24.0, **changed) -> pd.DataFrame:
    table = faces(**changed)
    return place_faces(table, np.full(len(table), focal), np.full(len(table), height_mm))


def test_distance_by_hand():
    """ANSUR II, menton to sellion 122.6 mm (men) and 113.1 mm (women): 117.85 mm in the mean.

    200 px of 6 um are 1.2 mm; 35 mm x (1 + 117.85/1.2) = 3472.3 mm from the lens, and the image lies
    35 mm x (1 + 1.2/117.85) = 35.36 mm behind it: 3.5076 m from the sensor.
    """
    assert_allclose(placed()["distance_m"], 3.5076, rtol=1e-4)


def test_the_bodies_are_those_of_the_survey():
    """ANSUR II: menton to sellion 122.6 (sd 6.7) mm of men, 113.1 (6.1) of women, mixed half and half."""
    assert FACE.mean_mm == pytest.approx(117.85)
    assert FACE.sd_mm / FACE.mean_mm == pytest.approx(0.068, abs=0.001)


def test_errors_add_up_by_hand():
    """Body 6.8 %, reading 4, what was not tried 3; at 48 px 3.5 more; readings apart by 0.1, 5 more.

    Near life size the distance follows the size less, 0.98 at 1:98; the focal length adds 2 %.
    """
    assert placed()["distance_rel_sd"].item() == pytest.approx(0.0849, abs=0.0005)
    assert placed(face_px=48.0)["distance_rel_sd"].item() == pytest.approx(0.0929, abs=0.0005)
    assert placed(spread=0.1)["distance_rel_sd"].item() == pytest.approx(0.0980, abs=0.0005)


@pytest.mark.parametrize(
    ("reason", "changed"),
    [
        (TOO_SMALL, {"face_px": 39.0}),
        (TOO_BLURRED, {"blur_px": 81.0}),
        (RESIZED, {"resized": True}),
        (RESIZED, {"height_mm": NAN}),
        (NO_FOCAL_LENGTH, {"focal": NAN}),
        (NO_FOCAL_LENGTH, {"focal": 0.0}),
    ],
)
def test_refusals_have_their_reason_and_no_distance(reason, changed):
    row = placed(**changed)
    assert row["refused"].tolist() == [reason]
    assert row[["distance_m", "distance_rel_sd"]].isna().all(axis=None)


def test_an_unknown_blur_does_not_refuse():
    assert placed(blur_px=NAN)["distance_m"].notna().all()


def test_faces_off_the_middle_are_less_sure():
    middle, corner = placed(focal=28.0, left=[2900, 0], top=[1900, 0])["distance_rel_sd"]
    assert corner > middle + 0.01


def test_half_the_pixels_halve_the_pitch_but_not_the_distance():
    """A preview of half the size shows the same face at half the length, and hides twice the blur."""
    whole = placed(blur_px=8.0)
    preview = placed(picture_width=3000, picture_height=2000, face_px=100.0, left=1450, top=950, blur_px=4.0)
    assert_allclose(preview["distance_m"], whole["distance_m"], rtol=1e-9)
    assert_allclose(whole["blur_mm"], 8 * 0.006, rtol=1e-9)
    assert preview["blur_mm"].isna().item()
    assert preview["blur_low_mm"].item() == 0.0
    assert_allclose(preview["blur_high_mm"], 2 * whole["blur_high_mm"], rtol=1e-9)


def test_no_face_is_no_row():
    assert len(place_faces(faces().iloc[:0], np.zeros(0), np.zeros(0))) == 0


def test_the_stretch_off_the_middle_by_hand():
    """18 mm off at 24 mm: 1/cos of the angle is 30/24, a quarter longer outwards, an eighth in the mean."""
    middle, right, below = placed(
        focal=24.0, left=[2900, 5900, 2900], top=[1900, 1900, 4900], picture_width=6000, picture_height=4000
    )["distance_rel_sd"]
    by_size = np.array([middle, right]) ** 2 - 0.02**2
    reduction = 117.85 / 1.2
    nearer = ((reduction - 1) / (reduction + 1)) ** 2
    assert by_size[1] - by_size[0] == pytest.approx(0.125**2 * nearer, rel=1e-6)
    assert below == pytest.approx(right)


@pytest.mark.parametrize(
    ("changed", "is_refused"),
    [({"face_px": 40.0}, False), ({"face_px": 39.9}, True), ({"blur_px": 80.0}, False),
     ({"blur_px": 80.1}, True)],
)  # fmt: skip
def test_a_face_of_40_px_or_blurred_by_four_tenths_still_tells_a_distance(changed, is_refused):
    assert placed(**changed)["distance_m"].isna().item() == is_refused
