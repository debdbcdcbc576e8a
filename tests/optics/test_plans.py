"""The inverse problems lead back to the zone they came from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from auditor.errors import SettingError
from auditor.optics.lens import hyperfocal_m, sharp_zone
from auditor.optics.plans import best_focus_m, focus_leeway_m, plan_limits, widest_f_number
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import Place, places_on

conventions = st.sampled_from(["sensor", "lens"])


@given(st.floats(12, 135), st.floats(1.4, 32), st.floats(0.05, 0.98), st.floats(0.01, 0.06), conventions)
def test_the_inverse_of_the_zone_is_its_setting(focal, number, part, coc, convention):
    focus = part * float(hyperfocal_m(focal, number, coc, convention))
    zone = sharp_zone(focal, number, focus, coc, convention)
    assume(zone.near_limit_m > 5 * focal / 1000)
    limits = zone.near_limit_m, zone.far_limit_m
    assert float(best_focus_m(*limits, focal, convention)) == pytest.approx(focus, rel=1e-6)
    assert float(widest_f_number(*limits, focal, coc, convention)) == pytest.approx(number, rel=1e-6)


@given(st.floats(12, 135), st.floats(0.8, 5), st.floats(1.05, 8), st.floats(0.01, 0.06), conventions)
def test_the_zone_of_a_plan_just_covers(focal, near, ratio, coc, convention):
    number = float(widest_f_number(near, near * ratio, focal, coc, convention))
    best = Place(float(best_focus_m(near, near * ratio, focal, convention)))
    plan = plan_limits(focal, near, near * ratio, coc, [best], [number * 0.98, number * 1.001], convention)
    assert plan.covers.tolist() == [False, True]
    assert float(plan.zone.near_limit_m[1]) == pytest.approx(near, rel=0.01)


def test_sharp_to_infinity_takes_twice_the_near_limit_from_the_lens():
    focus = float(best_focus_m(2.0, np.inf, 28, "lens"))
    assert focus == pytest.approx(4.0, rel=1e-12)
    number = float(widest_f_number(2.0, np.inf, 28, 0.03, "lens"))
    zone = sharp_zone(28, number * (1 + 1e-9), focus, 0.03, "lens")
    assert float(zone.near_limit_m) == pytest.approx(2.0, rel=1e-6)
    assert zone.far_limit_m == np.inf


@pytest.mark.parametrize("convention", ["sensor", "lens"])
def test_any_ring_within_the_leeway_covers_and_none_outside(convention):
    near, far = 2.0, 6.0
    start, end = (float(d) for d in focus_leeway_m(near, far, 28, 8, 0.03, convention))
    for ring, covers in (
        (start, True),
        (end, True),
        (start * 0.995, False),
        (end * 1.005, False),
        (3.0, True),
    ):
        zone = sharp_zone(28, 8, ring, 0.03, convention)
        inside = zone.near_limit_m <= near * (1 + 1e-9) and zone.far_limit_m >= far * (1 - 1e-9)
        assert inside == covers, ring
    assert np.isnan(focus_leeway_m(near, far, 28, 2.8, 0.03, convention)).all()


def test_at_either_end_of_its_leeway_a_ring_covers_and_a_hair_beyond_it_does_not():
    for end, beyond in zip(focus_leeway_m(2.0, 6.0, 28, 8, 0.03), (1 - 1e-6, 1 + 1e-6), strict=True):
        for ring, covers in ((float(end), True), (float(end) * beyond, False)):
            assert plan_limits(28, 2.0, 6.0, 0.03, [Place(ring)], [8]).covers.tolist() == [covers], ring


def test_limits_that_no_f_number_covers_are_told_apart():
    plan = plan_limits(50, 1.0, np.inf, 0.03, [Place(2.0)], [8, 11, 16])
    assert not plan.covers.any()
    assert np.isnan(plan.focus_from_m).all()


@pytest.mark.parametrize(("near", "far"), [(3.0, 2.0), (np.nan, 3.0), (0.1, 3.0), (np.inf, np.inf)])
def test_limits_that_make_no_sense_are_refused(near, far):
    with pytest.raises(SettingError):
        plan_limits(28, near, far, 0.03, [Place(2.0)])


def test_a_plan_names_what_stands_on_the_ring():
    ring = places_on((1.0, 2.0, 3.0, 5.0, np.inf), 28)
    plan = plan_limits(28, 2.0, 6.0, 0.03, ring, [4.0, 5.6, 8.0, 16.0])
    assert [place.distance_m for place in plan.places] == [3.0] * 4
    assert plan.covers.tolist() == [False, True, True, True]
    for number, place, covers in zip(plan.f_number, plan.places, plan.covers, strict=True):
        zone = sharp_zone(28, number, place.distance_m, 0.03)
        assert covers == (zone.near_limit_m <= 2.0 and zone.far_limit_m >= 6.0)


def test_midway_is_named_only_where_no_engraving_covers():
    coarse = places_on((2.0, 5.0, np.inf), 28)
    plan = plan_limits(28, 2.0, 6.0, 0.03, coarse, [5.6, 8.0, 16.0])
    assert plan.places[0].between_m == (2.0, 5.0)
    assert plan.covers.tolist() == [True, True, True]
    assert plan.places[2].between_m is None, "at f/16 an engraving covers, farther from the middle as it is"


def test_an_engraving_at_either_end_of_the_leeway_goes_before_what_lies_midway():
    midway = Place(3.0, between_m=(2.0, 5.0))
    for end in focus_leeway_m(2.0, 6.0, 28, 8, 0.03):
        plan = plan_limits(28, 2.0, 6.0, 0.03, [midway, Place(float(end))], [8])
        assert plan.places[0] == Place(float(end))


def test_the_engraving_nearest_the_middle_is_taken():
    plan = plan_limits(28, 2.0, 6.0, 0.03, [Place(2.5), Place(4.0), Place(3.1)], [16.0])
    assert plan.places[0] == Place(3.1)


@pytest.mark.parametrize("shift", [-0.08, 0.05])
@pytest.mark.parametrize("convention", ["sensor", "lens"])
@pytest.mark.parametrize("limits", [(2.0, 6.0), (2.0, np.inf)])
def test_a_shifted_ring_is_planned_by_where_its_marks_focus(shift, convention, limits):
    """A mark stands for its true distance: what a ring with those engravings, unshifted, would be set to."""
    marks = [0.7, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0]
    true = [float(true_focus_m(mark, 28, shift, convention)) for mark in marks]
    stops = [2.8, 5.6, 8.0, 16.0]
    shifted = plan_limits(28, *limits, 0.03, [Place(m) for m in marks], stops, convention, shift)
    plain = plan_limits(28, *limits, 0.03, [Place(m) for m in true], stops, convention)
    assert shifted.covers.tolist() == plain.covers.tolist()
    assert plain.covers.any()
    for at, (mark, real) in enumerate(zip(shifted.places, plain.places, strict=True)):
        assert true[marks.index(mark.distance_m)] == pytest.approx(real.distance_m, rel=1e-9), stops[at]
    np.testing.assert_allclose(shifted.zone.near_limit_m, plain.zone.near_limit_m, rtol=1e-9)


def test_a_ring_that_never_focuses_so_far_covers_nothing():
    assert np.isnan(focus_leeway_m(50.0, np.inf, 50, 2.8, 0.03, shift_mm=0.2)).all()
    start, end = focus_leeway_m(2.0, np.inf, 28, 8, 0.03, shift_mm=-0.2)
    for mark, covers in ((start * 1.001, True), (start * 0.995, False), (end * 0.999, True)):
        zone = sharp_zone(28, 8, mark, 0.03, shift_mm=-0.2)
        assert (zone.near_limit_m <= 2.0 and zone.far_limit_m == np.inf) == covers


def test_a_ring_without_places_is_refused():
    with pytest.raises(SettingError):
        plan_limits(28, 2.0, 6.0, 0.03, [])
