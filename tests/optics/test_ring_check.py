"""An adapter too thick or too thin: found from a tape, and the zones that follow, against traced rays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from auditor.errors import SettingError
from auditor.optics.blur import blur_parts, defocus_mm
from auditor.optics.combined import combined_zone
from auditor.optics.lens import sharp_zone
from auditor.optics.ring_check import extension_mm, find_shift, true_focus_m

conventions = st.sampled_from(["sensor", "lens"])


def traced_spot_mm(focal, number, image_mm, subject_mm):
    """Spot on a sensor at a distance behind a thin lens: two rays through opposite points of the rim."""
    rim = focal / number / 2
    slope = (rim / subject_mm if np.isfinite(subject_mm) else 0.0) - rim / focal
    return abs(2 * (rim + image_mm * slope))


def test_a_hand_worked_adapter():
    """50 mm, mark 2 m from the lens, focuses at 2.5 m: e = 2500/1950 = 1.2821, E = 2500/2450 = 1.0204 mm.

    So delta = -0.2617 mm, too thin; the 5 m mark (e = 0.5051 mm) then has E = 0.2434 mm: 2500/0.2434 =
    10.27 m beyond the focal length, and the 10 m mark (e = 0.2513 mm) lies past infinity.
    """
    found = find_shift(50, [2.0], [2.5], "lens")
    assert found.shift_mm == pytest.approx(-0.2617, abs=0.0001)
    assert float(true_focus_m(5.0, 50, found.shift_mm, "lens")) == pytest.approx(10.32, abs=0.01)
    assert float(true_focus_m(10.0, 50, found.shift_mm, "lens")) == np.inf


def test_too_thick_never_reaches_infinity():
    assert float(true_focus_m(np.inf, 50, 0.25, "lens")) == pytest.approx(0.05 + 10.0, rel=1e-9)
    assert float(true_focus_m(2.0, 50, 0.25)) < 2.0


@given(
    st.floats(15, 135), st.floats(-1, 1), st.lists(st.floats(0.8, 20), min_size=1, max_size=5), conventions
)
def test_readings_of_a_known_adapter_give_it_back(focal, part, marks, convention):
    least = focal**2 / (
        1000 * max(marks)
    )  # how far out the lens is at the farthest mark; below, past infinity
    shift = part * (0.3 if part > 0 else min(0.3, 0.9 * least))
    true = true_focus_m(np.array(marks), focal, shift, convention)
    assert np.isfinite(true).all()
    found = find_shift(focal, marks, true, convention)
    assert found.shift_mm == pytest.approx(shift, abs=1e-6)
    assert found.disagree == ()


def test_least_squares_against_numpy():
    rng = np.random.default_rng(4)
    marks, true = np.array([1.0, 2.0, 5.0, np.inf]), np.array([1.05, 2.2, 6.0, np.inf])
    apart = extension_mm(true, 35) - extension_mm(marks, 35)
    solved = np.linalg.lstsq(np.ones((4, 1)), apart, rcond=None)[0][0]
    assert find_shift(35, marks, true).shift_mm == pytest.approx(solved, rel=1e-9)
    order = rng.permutation(4)
    assert find_shift(35, marks[order], true[order]).shift_mm == pytest.approx(solved, rel=1e-9)


def test_readings_that_no_adapter_explains_are_named():
    fits = true_focus_m(np.array([1.5, 3.0, 7.0]), 50, -0.1)
    assert find_shift(50, [1.5, 3.0, 7.0], fits).disagree == ()
    slip = find_shift(50, [1.5, 3.0, 7.0], [float(fits[0]), float(fits[1]), 3.0])
    assert 2 in slip.disagree


@pytest.mark.parametrize(("mark", "true"), [(0.1, 2.0), (2.0, 0.1), (np.nan, 2.0)])
def test_readings_out_of_reach_are_refused(mark, true):
    with pytest.raises(SettingError):
        find_shift(50, [mark], [true])
    with pytest.raises(SettingError):
        find_shift(50, [], [])


RAYS = [
    (focal, number, focus, shift, subject)
    for focal in (21.0, 50.0)
    for number in (2.8, 8.0)
    for focus in (1500.0, 8000.0, np.inf)
    for shift in (-0.15, -0.02, 0.0, 0.1)
    for subject in (1000.0, 3000.0, 20_000.0, np.inf)
]


def test_blur_of_a_shifted_lens_is_the_traced_spot():
    for focal, number, focus, shift, subject in RAYS:
        extension = (focal**2 / (focus - focal) if np.isfinite(focus) else 0.0) + shift
        traced = traced_spot_mm(focal, number, focal + extension, subject)
        closed = float(defocus_mm(focal, number, focus / 1000, subject / 1000, "lens", shift))
        assert closed == pytest.approx(traced, abs=1e-9), (focal, number, focus, shift, subject)
        parts = blur_parts(focal, number, focus / 1000, subject / 1000, distance_from="lens", shift_mm=shift)
        assert float(parts.defocus_mm) == pytest.approx(traced, abs=1e-9)


def test_the_limits_of_a_shifted_lens_blur_to_the_circle_of_confusion():
    """Also past infinity, where only the near limit is left, and farther past, where nothing is sharp."""
    seen = set()
    for focal, number, focus, shift, _ in RAYS:
        extension = (focal**2 / (focus - focal) if np.isfinite(focus) else 0.0) + shift
        zone = sharp_zone(focal, number, focus / 1000, 0.03, "lens", shift)
        near, far = float(zone.near_limit_m), float(zone.far_limit_m)
        if extension < -number * 0.03:
            assert np.isnan(near)
            assert np.isnan(far)
            seen.add("nothing")
            continue
        assert near == pytest.approx(
            focal * (focal + extension) / (number * 0.03 + extension) / 1000, rel=1e-9
        )
        assert traced_spot_mm(focal, number, focal + extension, near * 1000) == pytest.approx(0.03, rel=1e-6)
        seen.add("past" if extension < 0 else "before")
        if extension <= number * 0.03:
            assert far == np.inf
        else:
            assert traced_spot_mm(focal, number, focal + extension, far * 1000) == pytest.approx(
                0.03, rel=1e-6
            )
    assert seen == {"nothing", "past", "before"}


@given(st.floats(20, 60), st.floats(4, 16), st.floats(1.5, 30), st.floats(-0.1, 0.1))
def test_the_zone_for_all_blur_is_the_plain_one_where_nothing_else_blurs(focal, number, focus, shift):
    """With a circle of confusion far above diffraction the two zones meet."""
    plain = sharp_zone(focal, number, focus, 0.3, shift_mm=shift)
    together = combined_zone(focal, number, focus, 0.3, shift_mm=shift)
    assert_allclose(together.near_limit_m, plain.near_limit_m, rtol=0.02)


def test_no_shift_changes_nothing():
    plain, none = (
        sharp_zone(28, 8, [1.0, 2.5, np.inf], 0.03),
        sharp_zone(28, 8, [1.0, 2.5, np.inf], 0.03, shift_mm=0.0),
    )
    assert plain.near_limit_m.tolist() == none.near_limit_m.tolist()
    some = sharp_zone(28, 8, [2.5, 2.5], 0.03, shift_mm=np.array([0.0, 0.05]))
    assert float(some.near_limit_m[0]) == pytest.approx(float(plain.near_limit_m[1]), rel=1e-12)
    assert some.near_limit_m[1] < some.near_limit_m[0]
