"""The zone for all blur: its ends pass exactly, nothing outside does, and it never exceeds the plain zone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from auditor.optics.blur import blur_parts
from auditor.optics.combined import combined_zone
from auditor.optics.lens import sharp_zone

MOVING = {"speed_m_s": 1.32, "exposure_time_s": 1 / 500}


@given(
    st.floats(12, 135), st.floats(1.4, 22), st.floats(1.0, 30), st.floats(0.02, 0.06),
    st.floats(1e-4, 1 / 250),
    st.sampled_from(["sensor", "lens"]), st.sampled_from([None, 30.0, 90.0]),
)  # fmt: skip
def test_at_its_ends_all_blur_together_is_exactly_c(focal, number, focus, coc, time, convention, crossing):
    moving = {"speed_m_s": 1.3, "exposure_time_s": time, "crossing_deg": crossing, "turn_deg_s": 0.5}
    zone = combined_zone(focal, number, focus, coc, **moving, distance_from=convention)
    plain = sharp_zone(focal, number, focus, coc, convention)
    assume(plain.near_limit_m > 5 * focal / 1000)
    if zone.empty:
        ladder = np.geomspace(plain.near_limit_m, 1e4, 300)
        everywhere = blur_parts(focal, number, focus, ladder, **moving, distance_from=convention)
        assert np.all(everywhere.combined_mm > coc)
        return
    assert plain.near_limit_m <= zone.near_limit_m <= zone.far_limit_m <= plain.far_limit_m
    for limit in (zone.near_limit_m, zone.far_limit_m):
        if np.isfinite(limit):
            there = blur_parts(focal, number, focus, limit, **moving, distance_from=convention)
            assert float(there.combined_mm) == pytest.approx(coc, rel=1e-6)


def test_without_movement_only_diffraction_narrows_the_zone():
    plain = sharp_zone(28, [4.0, 8.0, 16.0], 2.5, 0.03)
    zone = combined_zone(28, [4.0, 8.0, 16.0], 2.5, 0.03)
    loss = (zone.near_limit_m - plain.near_limit_m) / plain.near_limit_m
    assert np.all(np.diff(loss) > 0)
    assert np.all(loss > 0)


def test_what_is_left_last_is_the_least_blurred():
    ladder = np.linspace(1.5, 8, 20_001)
    everywhere = blur_parts(28, 8, 2.5, ladder, **MOVING).combined_mm
    zone = combined_zone(28, 8, 2.5, 1.0001 * everywhere.min(), **MOVING)
    assert zone.near_limit_m < ladder[everywhere.argmin()] < zone.far_limit_m < 1.05 * zone.near_limit_m
    assert zone.near_limit_m > 2.5, "a walker smears less behind the ring"


def test_nothing_is_sharp_where_movement_takes_all():
    zone = combined_zone(
        28, 8, [2.0, 2.0, np.nan], 0.03, speed_m_s=1.32, exposure_time_s=[1 / 30, 1 / 2000, 1 / 30]
    )
    assert zone.empty.tolist() == [True, False, False]
    assert np.isnan(zone.near_limit_m).tolist() == [True, False, True]


@pytest.mark.parametrize(("speed", "time"), [(-1.3, 0.004), (1.3, -0.004), (np.nan, 0.004), (1.3, np.nan)])
def test_a_speed_or_time_that_cannot_be_is_unknown_and_not_empty(speed, time):
    zone = combined_zone(28, 8, 2.5, 0.03, speed_m_s=speed, exposure_time_s=time)
    assert np.isnan([zone.near_limit_m, zone.far_limit_m]).all()
    assert not zone.empty


def test_a_pixel_as_large_as_c_leaves_nothing():
    assert combined_zone(28, 8, 2.5, 0.03, pixel_pitch_mm=0.03).empty
    assert not combined_zone(28, 8, 2.5, 0.03, pixel_pitch_mm=0.02).empty


def test_focused_at_infinity_the_zone_is_endless():
    zone = combined_zone(28, 8, np.inf, 0.03, **MOVING)
    assert zone.far_limit_m == np.inf
    there = blur_parts(28, 8, np.inf, zone.near_limit_m, **MOVING)
    assert float(there.combined_mm) == pytest.approx(0.03, rel=1e-9)


@pytest.mark.parametrize(("factor", "endless"), [(0.99, False), (1.01, True)])
def test_the_zone_is_endless_only_where_infinity_itself_passes(factor, endless):
    at_infinity = float(blur_parts(28, 8, 4.5, np.inf, **MOVING).combined_mm)
    zone = combined_zone(28, 8, 4.5, at_infinity * factor, **MOVING)
    assert not zone.empty
    assert np.isinf(zone.far_limit_m) == endless
