"""A line set in advance: chances against simulated subjects, times and ways against hand arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from auditor.advice.fixed_line import HOLDS, MOTION_SHARE, Line, concessions, exposure_time_s, plan_line
from auditor.errors import SettingError
from auditor.optics.blur import blur_parts
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import FULL_STOPS, Place, places_on, usual_ring_m
from auditor.optics.speeds import SPEEDS

COC = 0.03
RING = places_on(usual_ring_m("m"), 50)


def simulated_chance(focal, line, number, ring_m, time_s, draws=60_000, seed=5):
    """Share of drawn subjects whose whole blur stays within the criterion, drawn one by one.

    Pressed for the middle of the lag, a subject on its way is that much nearer or farther at the exposure.
    """
    rng = np.random.default_rng(seed)
    if line.spread_m is None:
        at = line.distance_m + rng.uniform(-line.before_m, line.after_m, draws)
    else:
        at = rng.normal(line.distance_m, line.spread_m, draws)
    angle = (
        rng.uniform(0, 90, draws) if line.crossing_deg is None else np.full(draws, float(line.crossing_deg))
    )
    late = rng.uniform(*line.lag_s, draws) - sum(line.lag_s) / 2
    at = at - line.speed_m_s * np.cos(np.deg2rad(angle)) * late
    blur = blur_parts(
        focal, number, ring_m, at, speed_m_s=line.speed_m_s, exposure_time_s=time_s, crossing_deg=angle
    ).combined_mm
    return float(np.mean(blur <= COC))


LINES = [
    Line(5.0, 0.4),
    Line(5.0, None, 0.5, 1.0),
    Line(5.0, 0.4, speed_m_s=3.3, crossing_deg=30),
    Line(5.0, 0.4, speed_m_s=3.3, crossing_deg=90, exposure_time_s=1 / 500),
    Line(4.0, 0.2, speed_m_s=8.0, crossing_deg=0),
    Line(4.0, 0.3, speed_m_s=2.7),
    Line(6.0, 0.5, speed_m_s=4.9, exposure_time_s=1 / 500),
    Line(5.0, 0.3, speed_m_s=0.9, exposure_time_s=1 / 60),
]


@pytest.mark.parametrize("line", LINES)
def test_the_chance_is_that_of_simulated_subjects(line):
    """Within half a percentage point; 60,000 draws have a standard error of 0.2 points at most."""
    plan = plan_line(50, line, COC, RING, [1.4, 2.8, 5.6, 11])
    for i, number in enumerate(plan.f_number):
        time = float(np.nan_to_num(plan.exposure_time_s[i]))
        simulated = simulated_chance(50, line, number, plan.focus_distance_m[i], time)
        assert float(plan.probability_inside[i]) == pytest.approx(simulated, abs=0.005), number


@pytest.mark.parametrize("line", LINES[:5])
def test_no_other_place_on_the_ring_is_much_likelier(line):
    plan = plan_line(50, line, COC, RING, [2.8, 8.0])
    for i, number in enumerate(plan.f_number):
        time = float(np.nan_to_num(plan.exposure_time_s[i]))
        others = [simulated_chance(50, line, number, place.distance_m, time, draws=20_000) for place in RING]
        assert (
            max(others) <= float(plan.probability_inside[i]) + 0.012
        )  # the draws', and the 0.1 points given up


def test_rings_nearer_and_farther_than_the_line_are_tried():
    """The zone reaches farther behind the ring: where the leeway lies behind the line, the ring goes there.

    With it in front of the line, a ring in front of it wins.
    """
    behind = plan_line(50, Line(5.0, None, 0.0, 4.0), COC, RING, [5.6])
    assert behind.focus_distance_m[0] > 5.0
    front = plan_line(50, Line(5.0, None, 2.4, 0.0), COC, RING, [5.6])
    assert front.focus_distance_m[0] < 5.0
    ends = [Place(2.0), Place(2.4), Place(20.0)]
    only = plan_line(50, Line(5.0, None, 2.9, 0.0), COC, ends, [8])
    assert only.places[0] == Place(2.4), "less than half as far as the line, and yet the best there is"
    with pytest.raises(SettingError, match="engravings"):
        plan_line(50, Line(5.0, 0.3), COC, [], [8])


def test_an_engraving_goes_before_what_lies_midway_where_both_do():
    marks = places_on((10 * 0.3048, 15 * 0.3048), 35)
    plan = plan_line(35, Line(12 * 0.3048, None, 0.6, 0.6), COC, marks, [2, 8])
    assert [place.between_m is None for place in plan.places] == [False, True]


@pytest.mark.parametrize("line", [Line(5.0, 0.4), Line(4.0, 0.2, speed_m_s=8.0, crossing_deg=0)])
def test_a_shifted_ring_is_planned_by_where_its_marks_focus(line):
    marks = [place for place in RING if place.distance_m < 10]
    true = [Place(float(true_focus_m(place.distance_m, 50, -0.12)), place.between_m) for place in marks]
    shifted = plan_line(50, line, COC, marks, [2.8, 8], shift_mm=-0.12)
    plain = plan_line(50, line, COC, true, [2.8, 8])
    assert [marks.index(one) for one in shifted.places] == [true.index(one) for one in plain.places]
    np.testing.assert_allclose(shifted.probability_inside, plain.probability_inside, rtol=1e-6)
    np.testing.assert_allclose(shifted.near_limit_m, plain.near_limit_m, rtol=1e-6)


def test_a_line_is_covered_only_where_its_leeway_lies_inside_on_both_sides():
    """50 mm at f/4, ring on 5 m, 0.03 mm: sharp from 4.0 to 6.6 m by defocus alone."""
    for before, after, covered in ((0.5, 1.0, True), (1.5, 1.0, False), (0.5, 2.0, False), (1.5, 2.0, False)):
        plan = plan_line(50, Line(5.0, 0.3, before, after), COC, [Place(5.0)], [4])
        assert plan.covers.tolist() == [covered], (before, after)
        assert (plan.near_limit_m[0] <= 5.0 - before) == (before == 0.5)
        assert (plan.far_limit_m[0] >= 5.0 + after) == (after == 1.0)


def test_of_places_that_do_alike_the_one_nearest_the_line_is_taken():
    plan = plan_line(28, Line(5.0, 0.05), COC, RING, [8])
    assert float(plan.focus_distance_m[0]) == 5.0
    assert plan.probability_inside[0] > 0.999
    assert plan.covers.all()


@pytest.mark.parametrize(
    ("line", "convention", "fine"),
    [(0.19, "sensor", False), (0.21, "sensor", True), (0.06, "lens", True), (0.049, "lens", False)],
)
def test_the_nearest_line_is_four_focal_lengths_from_the_sensor_and_one_from_the_lens(line, convention, fine):
    asked = Line(line, 0.01)
    ring = [Place(line), Place(1.0)]
    if fine:
        assert plan_line(50, asked, COC, ring, [8], distance_from=convention).focus_distance_m[0] == line
    else:
        with pytest.raises(SettingError, match="cannot be focused"):
            plan_line(50, asked, COC, ring, [8], distance_from=convention)


@pytest.mark.parametrize(
    ("before", "convention", "fine"), [(0.09, "sensor", True), (0.12, "sensor", False), (0.12, "lens", True)]
)
def test_the_leeway_may_not_reach_what_cannot_be_focused(before, convention, fine):
    """A line at 0.3 m: with 50 mm nothing within 0.2 m of the sensor, 0.05 m of the lens, is ever sharp."""
    asked = Line(0.3, 0.01, before_m=before)
    if fine:
        assert plan_line(50, asked, COC, [Place(0.3)], [8], distance_from=convention).best == 0
    else:
        with pytest.raises(SettingError, match="leeway"):
            plan_line(50, asked, COC, [Place(0.3)], [8], distance_from=convention)


@pytest.mark.parametrize(
    "line",
    [Line(np.inf, 0.3), Line(np.nan, 0.3), Line(3.0, 0.0), Line(3.0, -1.0), Line(3.0, np.nan),
     Line(3.0, np.inf), Line(3.0), Line(3.0, 0.3, before_m=2.9)],
)  # fmt: skip
def test_lines_that_make_no_sense_are_refused(line):
    with pytest.raises(SettingError):
        plan_line(50, line, COC, RING, [8])


def test_the_exposure_time_that_movement_asks_for_by_hand():
    """50 mm at 5 m (4.949 from the lens): m = 0.0102. Across at 3 m/s, 0.015 mm take 0.015/30.6 s: 1/2042 s.

    1/2000 s, which cameras show, is within the 3 % that their times are rounded by; straight towards there
    is no need of any.
    """
    across = Line(5.0, 0.3, speed_m_s=3.0, crossing_deg=90)
    assert 1 / exposure_time_s(across, 50, COC, "sensor") == pytest.approx(2000)
    faster = replace(across, speed_m_s=3.3)  # 1/2246 s: the next shorter one
    assert 1 / exposure_time_s(faster, 50, COC, "sensor") == pytest.approx(2500)
    assert 1 / exposure_time_s(replace(across, crossing_deg=None), 50, COC, "sensor") == pytest.approx(2000)
    assert 1 / exposure_time_s(replace(across, crossing_deg=30), 50, COC, "sensor") == pytest.approx(
        1000, rel=0.01
    )
    assert np.isnan(exposure_time_s(replace(across, crossing_deg=0), 50, COC, "sensor"))
    assert np.isnan(exposure_time_s(Line(5.0, 0.3), 50, COC, "sensor"))
    assert exposure_time_s(replace(across, exposure_time_s=1 / 60), 50, COC, "sensor") == 1 / 60


def test_no_time_shown_is_longer_than_movement_allows_nor_a_step_shorter_than_needed():
    """Over a decade of speeds; cameras show thirds of a stop, rounded by up to 3 % (ISO 2720's ladder)."""
    for speed in np.geomspace(0.5, 8, 200):
        line = Line(5.0, 0.4, speed_m_s=speed, crossing_deg=90)
        smear = blur_parts(
            50, 8, 5.0, 5.0, speed_m_s=speed, exposure_time_s=exposure_time_s(line, 50, COC, "sensor"),
            crossing_deg=90,
        ).motion_mm  # fmt: skip
        assert smear <= MOTION_SHARE * COC * 1.04
        assert smear >= MOTION_SHARE * COC / 2 ** (2 / 3)


def test_lead_time_and_frames_by_hand():
    """8 m/s straight towards, lag 0.05 s: press 0.4 m before. The zone over 8 m/s is the time inside."""
    plan = plan_line(50, Line(5.0, 0.3, speed_m_s=8.0, crossing_deg=0, lag_s=(0.05, 0.05)), COC, RING, [8])
    assert plan.lead_m == pytest.approx((0.4, 0.4))
    assert plan.seconds_inside[0] == pytest.approx(
        (plan.far_limit_m[0] - plan.near_limit_m[0]) / 8, rel=1e-12
    )
    # across, the picture ends first: 36 mm over 50 mm at 5 m is 3.6 m wide
    across = plan_line(50, Line(5.0, 0.3, speed_m_s=8.0, crossing_deg=90), COC, RING, [8])
    assert across.seconds_inside[0] == pytest.approx(3.6 / 8, rel=1e-9)
    oblique = plan_line(50, Line(5.0, 0.3, speed_m_s=2.0, crossing_deg=60), COC, RING, [2.8])
    depth = float(oblique.far_limit_m[0] - oblique.near_limit_m[0])
    assert oblique.seconds_inside[0] == pytest.approx(
        min(depth / 1.0, 3.6 / (2 * np.sin(np.pi / 3))), rel=1e-9
    )
    assert np.isinf(plan_line(50, Line(5.0, 0.3), COC, RING, [8]).seconds_inside[0])
    # any direction: straight towards is the shortest way through the zone; the usual lag is 0.02 to 0.12 s
    anyhow = plan_line(50, Line(5.0, 0.3, speed_m_s=2.0), COC, RING, [2.8])
    depth = float(anyhow.far_limit_m[0] - anyhow.near_limit_m[0])
    assert anyhow.seconds_inside[0] == pytest.approx(depth / 2, rel=1e-9)
    assert anyhow.lead_m == pytest.approx((0.04, 0.24))


def test_the_iso_in_a_light_by_hand():
    """EV 8: f/4 at 1/250 s needs ISO 100 x 16 x 250 / 256 = 1562."""
    line = Line(5.0, 0.3, exposure_time_s=1 / 250, light_ev=8.0, iso_max=1600)
    plan = plan_line(50, line, COC, RING, [2, 4, 8])
    assert plan.iso.tolist() == pytest.approx([390.625, 1562.5, 6250.0])
    assert plan.affordable.tolist() == [True, True, False]
    assert plan.best == 1, "f/4 is the widest that holds nearly all"
    assert plan.serves
    assert np.isnan(plan_line(50, Line(5.0, 0.3), COC, RING, [2]).iso).all()
    exact = plan_line(50, replace(line, iso_max=390.625), COC, RING, [2, 4])
    assert exact.affordable.tolist() == [True, False], "what is just accepted is accepted"
    rounded = plan_line(50, replace(line, iso_max=390), COC, RING, [2])
    assert rounded.affordable.all(), "cameras round their numbers"


def test_a_leeway_that_just_reaches_what_cannot_be_focused_is_refused():
    """At 0.4 m with a leeway of 0.2 m: 50 mm focus from beyond 0.2 m on."""
    with pytest.raises(SettingError, match="leeway"):
        plan_line(50, Line(0.4, 0.01, before_m=0.2), COC, [Place(0.4)], [8])


def test_a_leeway_without_end_is_covered_where_the_zone_has_none():
    beyond = [plan_line(50, Line(16.0, 0.3, 0.5, np.inf), COC, [Place(ring)], [8]) for ring in (16.0, 8.0)]
    assert [np.isinf(plan.far_limit_m[0]) for plan in beyond] == [True, False]
    assert [plan.covers[0] for plan in beyond] == [True, False]


def test_a_line_is_served_from_a_chance_of_95_in_100_on():
    plan = plan_line(50, Line(5.0, 0.3), COC, RING, [8])
    for chance, serves in ((0.95, True), (0.949, False)):
        assert replace(plan, probability_inside=np.array([chance])).serves == serves
    assert not replace(plan, affordable=np.array([False])).serves


def test_the_widest_stop_that_holds_nearly_all_is_taken_else_the_likeliest():
    plan = plan_line(50, Line(5.0, 0.4), COC, RING, FULL_STOPS)
    enough = plan.probability_inside >= HOLDS
    assert plan.best == int(np.flatnonzero(enough)[0])
    scattered = plan_line(50, Line(5.0, 3.0), COC, RING, [1.4, 2, 2.8])
    assert not scattered.serves
    assert scattered.best == 2


def given_up(line, stops):
    asked = exposure_time_s(replace(line, exposure_time_s=None), 50, COC, "sensor")
    return concessions(line, asked, lambda one: plan_line(50, one, COC, RING, stops))


def test_which_wish_to_give_up_and_what_it_brings():
    line = Line(5.0, 0.4, speed_m_s=3.3, crossing_deg=30, light_ev=8.0, iso_max=3200)
    now = plan_line(50, line, COC, RING, FULL_STOPS)
    assert not now.serves
    found = given_up(line, FULL_STOPS)
    gains = [float(one.plan.probability_inside[one.plan.best]) for one in found]
    assert gains == sorted(gains, reverse=True)
    assert min(gains) > now.probability_inside[now.best]
    by_wish = {one.wish: one for one in found}
    assert by_wish["distance"].line.distance_m == 7.5
    assert by_wish["leeway"].line.spread_m == 0.2
    assert by_wish["iso"].line.iso_max is None
    for one in found:
        again = plan_line(50, one.line, COC, RING, FULL_STOPS)
        assert again.probability_inside.tolist() == one.plan.probability_inside.tolist()
    taken = replace(line, iso_max=6400, before_m=0.5, after_m=1.0)
    again = {one.wish: one.line for one in given_up(taken, [1.4, 2.0])}
    assert (again["leeway"].before_m, again["leeway"].after_m) == (0.25, 0.5)


def test_a_wish_that_brings_nothing_is_not_given_up():
    assert plan_line(50, Line(5.0, 0.05), COC, RING, [8]).probability_inside[0] > 0.999
    assert given_up(Line(5.0, 0.05), [8]) == ()


def test_a_longer_time_than_movement_asks_for_and_too_little_light():
    line = Line(5.0, 0.4, speed_m_s=3.3, crossing_deg=30, light_ev=8.0, iso_max=3200)
    assert not plan_line(50, line, COC, RING, [2.8, 4]).affordable.any()
    found = {one.wish: one for one in given_up(line, [2.8, 4])}
    lit = found["exposure_time"].line.exposure_time_s  # EV 8, f/2.8, ISO 3200: 1/1045 s
    assert lit == pytest.approx(1 / 1000)
    assert found["exposure_time"].plan.affordable[0]
    slow = replace(line, exposure_time_s=1 / 60, iso_max=None, crossing_deg=90)
    shorter = {one.wish: one for one in given_up(slow, FULL_STOPS)}["exposure_time"]
    asked = exposure_time_s(replace(slow, exposure_time_s=None), 50, COC, "sensor")
    assert shorter.line.exposure_time_s == asked


@pytest.mark.parametrize(
    ("word", "low", "high"),
    [("walking", 1.27, 1.46), ("jogging", 2.6, 2.75), ("running", 3.2, 3.4), ("cycling", 4.4, 5.4)],
)
def test_speeds_lie_where_their_sources_put_them(word, low, high):
    """Walking: comfortable gait, Bohannon 1997. Running: a median marathon of 3 h 32 min (seen second-hand).

    Jogging 6 mph, cycling 10 to 12 mph: Harvard School of Public Health, table of activities (seen).
    """
    assert low <= SPEEDS[word] <= high
