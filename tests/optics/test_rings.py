"""What stands on a lens: engravings, places between them, stops; by hand and against printed lists."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from auditor.optics.rings import (
    FULL_STOPS,
    HALF_STOPS,
    THIRD_STOPS,
    USUAL_RING_FT,
    USUAL_RING_M,
    Place,
    nearest_place,
    neighbours,
    places_on,
    usual_ring_m,
    within,
    within_reach,
)

FOOT = 0.3048


def test_the_usual_engravings_are_those_of_the_trade():
    """Common practice, no source: metres and feet, each a list of its own."""
    assert list(USUAL_RING_FT) == [2, 2.5, 3, 3.5, 4, 5, 7, 10, 15, 30, np.inf]
    assert USUAL_RING_M[-4:] == (5, 7, 10, np.inf)
    assert usual_ring_m("ft")[5] == pytest.approx(5 * FOOT, rel=1e-12)
    assert usual_ring_m("m") == USUAL_RING_M
    assert not set(np.round(usual_ring_m("ft")[:-1], 3)) & set(USUAL_RING_M)


def test_midway_is_the_middle_of_the_extension_by_hand():
    """50 mm, marks at 2 and 3 m from the lens: extensions 2500/1950 and 2500/2950 mm, their middle 1.0647 mm.

    Hand arithmetic: 2500 / 1.0647 = 2348 mm beyond the focal length, so 2.398 m.
    """
    low, middle, high = places_on((3.0, 2.0), 50, "lens")
    assert (low, high) == (Place(2.0), Place(3.0))
    assert middle.between_m == (2.0, 3.0)
    assert middle.distance_m == pytest.approx(2.398, abs=0.0005)


def test_spacing_of_a_scale_by_hand():
    """Linear extension: to 3 m a 50 mm ring turns half as far as to 1.525 m (2500/2950, 2500/1475 mm)."""
    places = places_on((1.525, 3.0, np.inf), 50, "lens")
    assert [place.between_m is None for place in places] == [True, False, True, False, True]
    half_way = places[3].distance_m  # between 3 m and infinity: twice as far beyond the focal length
    assert half_way == pytest.approx(0.05 + 2 * 2.95, rel=1e-9)
    sensor = places_on((1.525, 3.0, np.inf), 50)[3].distance_m
    assert sensor != pytest.approx(half_way, rel=1e-4), "counted from the sensor it lies elsewhere"


def test_a_place_the_lens_cannot_focus_is_no_place():
    assert [place.distance_m for place in places_on((0.19, 0.21, 1.0), 50) if place.between_m is None] == [
        0.21,
        1.0,
    ]
    assert places_on((0.1,), 50) == ()
    assert within_reach(USUAL_RING_M, 100)[0] == 0.8
    assert within_reach(USUAL_RING_M, 50) == USUAL_RING_M


def test_an_engraving_goes_before_what_lies_midway():
    places = places_on((2.0, 3.0, 5.0), 28)
    assert within(places, 1.9, 5.1) == (Place(2.0), Place(3.0), Place(5.0))
    (between,) = within(places, 2.1, 2.9)
    assert between.between_m == (2.0, 3.0)
    assert within(places, 2.45, 2.9) == ()
    assert within(places, np.nan, np.nan) == ()


def test_nearest_is_meant_as_the_ring_turns():
    marks = (Place(5.0), Place(10.0), Place(np.inf))
    assert nearest_place(marks, 7.0).distance_m == 5.0 + 5.0 * (1 / 7 - 1 / 10 < 1 / 5 - 1 / 7)
    assert nearest_place(marks, 25.0).distance_m == np.inf  # 1/25 lies nearer 0 than 1/10
    assert nearest_place(marks, 15.0).distance_m == 10.0


def test_stops_are_the_printed_ones():
    """Third and half stops as printed (general encyclopaedia, *F-number*, seen second-hand)."""
    assert THIRD_STOPS[THIRD_STOPS.index(2.8) :][:11] == (2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9)
    for printed in (1.7, 2.4, 3.3, 4.8, 6.7, 9.5, 13):
        assert printed in HALF_STOPS
    for series, fraction in ((FULL_STOPS, 1), (HALF_STOPS, 1 / 2), (THIRD_STOPS, 1 / 3)):
        exact = np.sqrt(2) ** (1 + fraction * np.arange(len(series)))
        assert_allclose(np.log2(series) * 2, np.log2(exact) * 2, atol=0.11)  # nominal numbers are rounded


@pytest.mark.parametrize(
    ("number", "marks"),
    [(8, (8, 8)), (8.6, (8, 8)), (9.5, (8, 11)), (10.4, (11, 11)), (0.7, (1.4, 1.4)), (64, (22, 22))],
)
def test_which_marks_an_f_number_falls_on(number, marks):
    assert neighbours(number, FULL_STOPS) == marks
