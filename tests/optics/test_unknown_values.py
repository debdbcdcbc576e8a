"""What is unknown or impossible comes out as NaN, in the shape of the inputs, without a warning."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.optics import blur, lens
from auditor.optics.combined import combined_zone
from auditor.optics.plans import best_focus_m, widest_f_number

NAN, INF = np.nan, np.inf
SETTING = {"focal_length_mm": 28.0, "f_number": 8.0, "focus_distance_m": 2.5}
BAD = {
    "focal_length_mm": [NAN, 0.0, -28.0, INF],
    "f_number": [NAN, 0.0, -8.0, INF],
    "focus_distance_m": [NAN, 0.0, -1.0, 0.111, -INF],  # 0.112 m is 4 f
    "coc_mm": [NAN, 0.0, -0.03, INF],
    "subject_distance_m": [NAN, 0.0, -1.0, 0.111],
}


@pytest.mark.parametrize(
    ("name", "value"), [(n, v) for n in BAD for v in BAD[n] if n != "subject_distance_m"]
)
def test_zone_is_unknown(name, value):
    for zone in (lens.sharp_zone, combined_zone):
        found = zone(**{**SETTING, "coc_mm": 0.03, name: value})
        assert np.isnan(found.near_limit_m)
        assert np.isnan(found.far_limit_m)
    assert not found.empty


@pytest.mark.parametrize(("name", "value"), [(n, v) for n in BAD for v in BAD[n] if n != "coc_mm"])
def test_defocus_is_unknown(name, value):
    assert np.isnan(blur.defocus_mm(**{**SETTING, "subject_distance_m": 4.0, name: value}))


@pytest.mark.parametrize("value", [NAN, 0.0, -8.0, INF])
def test_diffraction_is_unknown(value):
    assert np.isnan(blur.airy_mm(value, 0.01))
    assert np.isnan(blur.mtf50_disc_mm(value, 0.01))


@pytest.mark.parametrize(
    ("speed", "time", "subject"),
    [(NAN, 0.01, 2), (-1, 0.01, 2), (1, NAN, 2), (1, -0.01, 2), (1, 0.01, NAN), (1, 0.01, 0.1)],
)
def test_movement_is_unknown(speed, time, subject):
    assert np.isnan(blur.motion_mm(28, subject, speed, time))
    assert np.isnan(blur.camera_turn_mm(28, subject, speed, time))


def test_movement_without_time_or_at_infinity_smears_nothing():
    assert blur.motion_mm(28, 2.0, 1.3, 0.0) == 0
    assert blur.motion_mm(28, INF, 1.3, 0.01) == 0


def test_a_turning_camera_smears_by_the_angle():
    # 1 degree in all, seen from 50 mm: 50 tan(1 degree) for a small angle
    turned = float(blur.camera_turn_mm(50, INF, 2.0, 0.5))
    assert turned == pytest.approx(50 * np.tan(np.deg2rad(1)), rel=2e-4)


def test_unknown_parts_make_an_unknown_whole_and_nothing_left_is_unknown():
    assert np.isnan(blur.combined_mm(0.03, NAN))
    assert np.isnan(blur.allowance_mm(0.03, 0.03))
    assert np.isnan(blur.allowance_mm(0.03, 0.04))
    np.testing.assert_allclose(blur.allowance_mm(0.05, [0.03, 0.04]), [0.04, 0.03], rtol=1e-12)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3), (0,)])
@pytest.mark.parametrize("distance_from", ["sensor", "lens"])
def test_shapes_go_through(shape, distance_from):
    focus = np.full(shape, 2.5)[()]
    zone = lens.sharp_zone(28, 8, focus, 0.03, distance_from)
    results = [zone.near_limit_m, zone.far_limit_m, zone.hyperfocal_m, zone.depth_m, zone.share_in_front]
    results += [blur.defocus_mm(28, 8, focus, 4.0, distance_from), lens.lens_distance_m(focus, 28)]
    together = combined_zone(28, 8, focus, 0.03, distance_from=distance_from)
    results += [together.near_limit_m, together.far_limit_m, together.empty]
    results += [blur.blur_parts(28, 8, focus, 3.0, distance_from=distance_from).combined_mm]
    for result in results:
        assert np.shape(result) == shape
        if shape == ():
            assert not isinstance(result, np.ndarray), "scalars come back as numpy floats"


def test_rows_and_columns_are_broadcast():
    zone = lens.sharp_zone(28, np.array([4.0, 8.0]), np.array([[1.0], [2.0], [3.0]]), 0.03)
    assert zone.near_limit_m.shape == zone.far_limit_m.shape == zone.hyperfocal_m.shape == (3, 2)


def test_nothing_within_four_focal_lengths_of_the_sensor_can_be_focused():
    assert np.isnan(lens.lens_distance_m(0.1999, 50))
    assert float(lens.lens_distance_m(0.2001, 50)) == pytest.approx(0.1, rel=0.05)
    assert np.isnan(lens.sensor_distance_m(0.0999, 50)), "larger than life: two lenses would fit one distance"


def test_what_is_no_lens_has_no_image():
    assert np.isnan(lens.magnification(2.0, [0, -50, NAN])).all()


def test_share_in_front():
    assert lens.sharp_zone(28, 8, 5.0, 0.03).share_in_front == 0
    assert np.isnan(lens.sharp_zone(28, 8, INF, 0.03).share_in_front)
    # (H - s) / (2 H) of the handbook form; the exact one lies within a percentage point
    assert float(lens.sharp_zone(50, 8, 10.4167 / 4, 0.03, "lens").share_in_front) == pytest.approx(
        0.375, abs=0.01
    )


def test_a_wrong_word_for_the_convention_is_a_mistake_of_the_programmer():
    with pytest.raises(ValueError, match="neither"):
        lens.sharp_zone(28, 8, 2.5, 0.03, "film")  # type: ignore[arg-type]


def test_crossed_or_unknown_limits_need_no_f_number():
    assert np.isnan(widest_f_number(3.0, 2.0, 28, 0.03))
    assert np.isnan(widest_f_number(NAN, 2.0, 28, 0.03))
    assert np.isnan(best_focus_m(2.0, NAN, 28))
    assert widest_f_number(2.0, 2.0, 28, 0.03) == 0


def test_a_movement_that_was_not_asked_for_is_nought_whatever_the_time_is():
    """One rate of nought leaves the cause out; a rate of nought for each frame is a rate like any other."""
    setting = (35.0, 8.0, 3.0, [2.0, 4.0])
    still = blur.blur_parts(*setting, exposure_time_s=NAN)
    assert still.motion_mm.tolist() == still.turn_mm.tolist() == [0.0, 0.0]
    asked = blur.blur_parts(*setting, speed_m_s=[0.0, 0.0], turn_deg_s=[0.0, 0.0], exposure_time_s=NAN)
    assert np.isnan(asked.motion_mm).all()
    assert np.isnan(asked.turn_mm).all()
