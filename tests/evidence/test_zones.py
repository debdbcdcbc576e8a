"""That the right columns reach the right optics; the optics themselves are proven in tests/optics."""

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.zones import add_zones, effective_time_s
from auditor.frames import with_columns
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification, sharp_zone
from auditor.optics.sensors import parse_criterion


def frames(**columns):
    base = {
        "focal_length_mm": 35.0,
        "f_number": 8.0,
        "focus_distance_m": 3.0,
        "subject_distance_m": 2.0,
        "exposure_time_s": 1 / 250,
        "sensor_width_mm": 36.0,
        "sensor_height_mm": 24.0,
    }
    n = max(len(value) for value in columns.values())
    return with_columns(
        pd.DataFrame(base | columns | {"file": [f"{i}.jpg" for i in range(n)]}, index=range(n))
    )


def with_zones(**columns):
    return add_zones(frames(**columns), parse_criterion("handbook"), 1.32)


def test_columns_agree_with_the_optics():
    row = with_zones(f_number=[8.0]).iloc[0]
    zone = sharp_zone(35.0, 8.0, 3.0, row.coc_mm)
    m = magnification(lens_distance_m(2.0, 35.0), 35.0)
    assert row.near_limit_m == pytest.approx(float(zone.near_limit_m), rel=1e-12)
    assert row.far_limit_m == pytest.approx(float(zone.far_limit_m), rel=1e-12)
    assert row.defocus_mm == pytest.approx(float(defocus_mm(35.0, 8.0, 3.0, 2.0)), rel=1e-12)
    assert row.motion_mm == pytest.approx(float(motion_mm(35.0, 2.0, 1.32, 1 / 250)), rel=1e-12)
    assert row.diffraction_mm == pytest.approx(float(airy_mm(8.0, m)), rel=1e-12)
    parts = (row.defocus_mm, row.motion_mm, row.diffraction_mm)
    assert row.blur_mm == pytest.approx(np.sqrt(sum(p * p for p in parts)), rel=1e-12)
    # Handbook criterion: sensor diagonal over 1442, 0.030 mm on 36x24 mm.
    assert row.coc_mm == pytest.approx(0.030, abs=5e-5)
    assert row.coc_criterion == "handbook"


def test_sides_are_told_apart_and_unknown_stays_unknown():
    table = with_zones(subject_distance_m=[1.0, 3.0, 50.0, np.nan, np.inf])
    assert [s if isinstance(s, str) else None for s in table["side"]] == ["near", "in", "far", None, "far"]
    assert table["in_zone"].tolist()[:3] == [False, True, False]
    assert table["in_zone"].isna().tolist() == [False, False, False, True, False]


@pytest.mark.parametrize("missing", ["focal_length_mm", "f_number", "focus_distance_m"])
def test_a_missing_setting_leaves_the_zone_unknown(missing):
    table = with_zones(**{missing: [np.nan]})
    assert table[["near_limit_m", "far_limit_m", "in_zone", "defocus_mm"]].isna().all(axis=None)


def test_without_an_exposure_time_motion_and_the_whole_blur_are_unknown():
    table = with_zones(exposure_time_s=[np.nan])
    assert table["motion_mm"].isna().all()
    assert table["blur_mm"].isna().all()
    assert table["defocus_mm"].notna().all()


def test_focus_at_infinity():
    row = with_zones(focus_distance_m=[np.inf]).iloc[0]
    assert np.isinf(row.far_limit_m)
    # A point at f²/(N c) from the lens blurs to exactly c: the hyperfocal distance less one focal length.
    near_from_lens = float(lens_distance_m(row.near_limit_m, 35.0))
    assert near_from_lens == pytest.approx(35.0**2 / (8 * row.coc_mm) / 1000, rel=1e-9)


def test_a_subject_at_a_limit_of_the_zone_is_in_it():
    limits = with_zones(f_number=[8.0])[["near_limit_m", "far_limit_m"]].iloc[0].tolist()
    at = [limits[0], limits[1], np.nextafter(limits[0], 0), np.nextafter(limits[1], 99)]
    table = with_zones(subject_distance_m=at)
    assert table["side"].tolist() == ["in", "in", "near", "far"]
    assert table["in_zone"].tolist() == [True, True, False, False]


def test_a_criterion_of_pixels_takes_the_long_sides_however_the_camera_was_held():
    held = {"pixel_width": [6000, 4000], "pixel_height": [4000, 6000],
            "sensor_width_mm": [36.0, 24.0], "sensor_height_mm": [24.0, 36.0]}  # fmt: skip
    table = add_zones(frames(**held), parse_criterion("pixel=2"), 1.32)
    assert table["coc_mm"].tolist() == pytest.approx([2 * 36 / 6000] * 2)
    web = add_zones(frames(**held), parse_criterion("web=2000"), 1.32)
    assert web["coc_mm"].iloc[0] == web["coc_mm"].iloc[1]


def test_a_flash_lights_for_its_own_time_at_most_for_the_exposure():
    table = frames(flash=pd.array([None, False, True, True, True], dtype="boolean"),
                   flash_duration_s=[1 / 1000, 1 / 1000, 1 / 1000, 1 / 100, np.nan])  # fmt: skip
    assert effective_time_s(table) == pytest.approx(
        [1 / 250, 1 / 250, 1 / 1000, 1 / 250, np.nan], nan_ok=True
    )
