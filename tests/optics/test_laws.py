"""Third side: laws that hold for every lens, over wide ranges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from auditor.optics import blur, lens

focal_lengths = st.floats(3.0, 800.0)  # mm
f_numbers = st.floats(0.95, 64.0)
criteria = st.floats(0.003, 0.2)  # mm
ratios = st.floats(2.2, 1e4)  # focus distance from the lens, in focal lengths
conventions = st.sampled_from(["sensor", "lens"])
EXACT = 1e-9  # rounding, grown by the square root and the differences of near-equal numbers


@st.composite
def settings_(draw, *, farthest=1e4, finite=False):
    """Focal length [mm], f-number, focus distance from the lens [m], c [mm]: a zone that stays beyond 2f.

    ``finite``: one that ends before infinity. No setting is thrown away for that; its c is made as small as
    the blur at 2f, or at infinity, asks for.
    """
    focal, number, coc = draw(focal_lengths), draw(f_numbers), draw(criteria)
    focus = draw(st.floats(2.2, farthest)) * focal / 1000
    for distance in (2.001 * focal / 1000, *([np.inf] if finite else [])):
        coc = min(coc, 0.99 * float(blur.defocus_mm(focal, number, focus, distance, "lens")))
    zone = lens.sharp_zone(focal, number, focus, coc, "lens")
    assert float(zone.near_limit_m) > 2.001 * focal / 1000
    return focal, number, focus, coc


@given(settings_(), conventions)
def test_near_before_focus_before_far(setting, convention):
    focal, number, focus, coc = setting
    focus = float(lens.to_convention(focus, focal, convention))
    zone = lens.sharp_zone(focal, number, focus, coc, convention)
    assert zone.near_limit_m < focus < zone.far_limit_m
    assert zone.near_limit_m > 0


@given(settings_(), conventions)
def test_a_point_at_either_limit_blurs_to_exactly_c(setting, convention):
    focal, number, focus, coc = setting
    focus = float(lens.to_convention(focus, focal, convention))
    zone = lens.sharp_zone(focal, number, focus, coc, convention)
    at_near = blur.defocus_mm(focal, number, focus, zone.near_limit_m, convention)
    assert float(at_near) == pytest.approx(coc, rel=1e-6)
    if np.isfinite(zone.far_limit_m):
        at_far = blur.defocus_mm(focal, number, focus, zone.far_limit_m, convention)
        assert float(at_far) == pytest.approx(coc, rel=1e-6)
    else:
        at_infinity = blur.defocus_mm(focal, number, focus, np.inf, convention)
        assert float(at_infinity) <= coc * (1 + EXACT)


@given(focal_lengths, f_numbers, criteria, conventions)
def test_focused_at_infinity_the_near_limit_blurs_to_c_and_infinity_not_at_all(
    focal, number, coc, convention
):
    zone = lens.sharp_zone(focal, number, np.inf, coc, convention)
    assert zone.far_limit_m == np.inf
    assume(float(zone.near_limit_m) > 2.001 * focal / 1000)  # else c is as wide as the lens's opening
    at_near = blur.defocus_mm(focal, number, np.inf, zone.near_limit_m, convention)
    assert float(at_near) == pytest.approx(coc, rel=1e-6)
    assert blur.defocus_mm(focal, number, np.inf, np.inf, convention) == 0


@given(settings_(finite=True))
def test_the_focus_distance_is_the_harmonic_mean_of_the_limits(setting):
    focal, number, focus, coc = setting
    zone = lens.sharp_zone(focal, number, focus, coc, "lens")
    assert float(2 / (1 / zone.near_limit_m + 1 / zone.far_limit_m)) == pytest.approx(focus, rel=EXACT)


@given(settings_(), st.floats(0.01, 100.0))
def test_scaling_every_length_scales_the_zone(setting, k):
    focal, number, focus, coc = setting
    zone = lens.sharp_zone(focal, number, focus, coc, "lens")
    scaled = lens.sharp_zone(k * focal, number, k * focus, k * coc, "lens")
    assert float(scaled.near_limit_m) == pytest.approx(k * float(zone.near_limit_m), rel=EXACT)
    if float(zone.far_limit_m) < 1e4 * focus:  # beyond, the far limit is ill-conditioned
        assert float(scaled.far_limit_m) == pytest.approx(k * float(zone.far_limit_m), rel=1e-6)


@given(settings_(), st.floats(1.0, 8.0), conventions)
def test_stopping_down_never_narrows_the_zone(setting, factor, convention):
    focal, number, focus, coc = setting
    focus = float(lens.to_convention(focus, focal, convention))
    wide = lens.sharp_zone(focal, number, focus, coc, convention)
    closed = lens.sharp_zone(focal, number * factor, focus, coc, convention)
    assume(not np.isnan(closed.near_limit_m))
    assert closed.near_limit_m <= wide.near_limit_m * (1 + EXACT)
    assert closed.far_limit_m >= wide.far_limit_m * (1 - EXACT)
    assert closed.hyperfocal_m <= wide.hyperfocal_m * (1 + EXACT)


@given(focal_lengths, f_numbers, criteria)
def test_focused_at_the_hyperfocal_distance_half_of_it_to_infinity_is_sharp(focal, number, coc):
    hyperfocal = float(lens.hyperfocal_m(focal, number, coc, "lens"))
    assume(hyperfocal > 4.1 * focal / 1000)
    zone = lens.sharp_zone(focal, number, hyperfocal, coc, "lens")
    assert float(zone.near_limit_m) == pytest.approx(hyperfocal / 2, rel=EXACT)
    assert zone.far_limit_m == np.inf
    ring = float(lens.hyperfocal_m(focal, number, coc, "sensor"))
    assert lens.sharp_zone(focal, number, ring, coc, "sensor").far_limit_m > 1e6 * ring
    assert lens.sharp_zone(focal, number, ring * 0.999, coc, "sensor").far_limit_m < np.inf


@given(settings_())
def test_both_conventions_agree_after_conversion(setting):
    focal, number, focus, coc = setting
    from_lens = lens.sharp_zone(focal, number, focus, coc, "lens")
    from_sensor = lens.sharp_zone(focal, number, lens.sensor_distance_m(focus, focal), coc, "sensor")
    for name in ("near_limit_m", "hyperfocal_m"):
        converted = lens.sensor_distance_m(getattr(from_lens, name), focal)
        np.testing.assert_allclose(getattr(from_sensor, name), converted, rtol=1e-7)
    if float(from_lens.far_limit_m) < 1e3 * focus:
        far = lens.sensor_distance_m(from_lens.far_limit_m, focal)
        np.testing.assert_allclose(from_sensor.far_limit_m, far, rtol=1e-4)


@given(focal_lengths, ratios)
def test_the_two_distances_are_each_others_inverse_and_obey_the_lens_equation(focal, ratio):
    distance = ratio * focal / 1000
    ring = lens.sensor_distance_m(distance, focal)
    assert float(lens.lens_distance_m(ring, focal)) == pytest.approx(distance, rel=1e-7)
    image = float(ring) - distance
    assert 1 / distance + 1 / image == pytest.approx(1000 / focal, rel=1e-7)
    assert float(lens.magnification(distance, focal)) == pytest.approx(image / distance, rel=1e-7)


@given(settings_(), st.floats(2.2, 1e4), st.floats(1.01, 4.0))
def test_blur_grows_away_from_the_focus_distance(setting, ratio, factor):
    focal, number, focus, _ = setting
    subject = max(ratio * focal / 1000, focus * 1.001)
    near_one = blur.defocus_mm(focal, number, focus, subject, "lens")
    far_one = blur.defocus_mm(focal, number, focus, subject * factor, "lens")
    assert far_one > near_one
    assert blur.defocus_mm(focal, number, focus, np.inf, "lens") > far_one


@given(settings_(farthest=200), st.floats(0.0, 5.0), st.floats(1e-4, 0.1), st.floats(0, 180))
def test_the_whole_is_at_least_its_largest_part_and_at_most_their_sum(setting, speed, time, crossing):
    focal, number, focus, _ = setting
    parts = blur.blur_parts(
        focal, number, focus, focus * 1.3, speed_m_s=speed, exposure_time_s=time, crossing_deg=crossing,
        turn_deg_s=1.0, pixel_pitch_mm=0.004, distance_from="lens",
    )  # fmt: skip
    sizes = [parts.defocus_mm, parts.motion_mm, parts.diffraction_mm, parts.turn_mm, parts.pixel_mm]
    assert max(sizes) <= parts.combined_mm * (1 + EXACT)
    assert parts.combined_mm <= sum(sizes) * (1 + EXACT)


@given(settings_(farthest=200), st.floats(0.0, 90.0))
def test_movement_towards_the_camera_smears_nothing_and_across_smears_most(setting, crossing):
    focal, _, focus, _ = setting
    smear = [blur.motion_mm(focal, focus, 1.3, 0.01, angle, "lens") for angle in (0, crossing, 90)]
    assert smear[0] == pytest.approx(0, abs=1e-12)
    assert smear[0] <= smear[1] <= smear[2]
    directions = np.random.default_rng(5).uniform(0, 90, 4001)
    median = np.median(blur.motion_mm(focal, focus, 1.3, 0.01, directions, "lens"))
    unknown = blur.motion_mm(focal, focus, 1.3, 0.01, None, "lens")
    assert float(unknown) == pytest.approx(float(median), rel=0.04)  # three standard errors of that median
