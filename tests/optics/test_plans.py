"""The inverse problems lead back to the zone they came from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from auditor.errors import SettingError
from auditor.optics.lens import hyperfocal_m, sharp_zone
from auditor.optics.plans import best_focus_m, focus_leeway_m, plan_limits, plan_line, widest_f_number

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
    plan = plan_limits(focal, near, near * ratio, coc, [number * 0.98, number * 1.001], convention)
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


def test_limits_that_no_f_number_covers_are_told_apart():
    plan = plan_limits(50, 1.0, np.inf, 0.03, [8, 11, 16])
    assert not plan.covers.any()
    assert np.isnan(plan.focus_from_m).all()


@pytest.mark.parametrize(("near", "far"), [(3.0, 2.0), (np.nan, 3.0), (0.1, 3.0), (np.inf, np.inf)])
def test_limits_that_make_no_sense_are_refused(near, far):
    with pytest.raises(SettingError):
        plan_limits(28, near, far, 0.03)


@pytest.mark.parametrize(
    ("line", "spread"), [(0.1, 0.3), (np.inf, 0.3), (3.0, 0.0), (3.0, -1.0), (np.nan, 0.3)]
)
def test_lines_that_make_no_sense_are_refused(line, spread):
    with pytest.raises(SettingError):
        plan_line(28, line, spread, 0.03)


def test_the_probability_is_the_normal_share_of_the_zone():
    plan = plan_line(50, 5.0, 0.4, 0.03, [2.0, 2.8, 4.0])
    for i in range(3):
        near, far = plan.zone.near_limit_m[i], plan.zone.far_limit_m[i]
        share = norm.cdf(far, 5.0, 0.4) - norm.cdf(near, 5.0, 0.4)  # scipy.stats as the second opinion
        assert float(plan.probability_inside[i]) == pytest.approx(share, rel=1e-9)
    drawn = np.random.default_rng(11).normal(5.0, 0.4, 200_000)
    inside = np.mean((drawn > plan.zone.near_limit_m[0]) & (drawn < plan.zone.far_limit_m[0]))
    assert float(plan.probability_inside[0]) == pytest.approx(
        float(inside), abs=0.004
    )  # four standard errors


def test_no_other_ring_is_much_likelier():
    plan = plan_line(28, 2.5, 0.8, 0.03, [4.0, 8.0])
    for number, best in zip(plan.f_number, plan.probability_inside, strict=True):
        zone = sharp_zone(28, number, np.linspace(1.0, 4.0, 400), 0.03)
        others = norm.cdf(zone.far_limit_m, 2.5, 0.8) - norm.cdf(zone.near_limit_m, 2.5, 0.8)
        assert others.max() <= best + 0.0011
    # at f/8 the zone reaches so far behind that a nearer ring holds more of the people
    assert plan.focus_distance_m[1] < 2.2


def test_where_every_ring_will_do_the_line_itself_is_taken():
    plan = plan_line(28, 5.0, 0.05, 0.03, [16])
    assert float(plan.focus_distance_m[0]) == pytest.approx(5.0, rel=1e-12)
    assert plan.covers.all()
