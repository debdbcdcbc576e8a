"""The engraved depth-of-field scale: read with another eye, and whose eye it was engraved for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from auditor.errors import SettingError
from auditor.optics.blur import defocus_mm
from auditor.optics.lens import sharp_zone
from auditor.optics.scales import engraved_for, read_scale_for

FOOT = 0.3048
INCH_MM = 25.4
# Worked cases of the trade, common practice, no source: 21 mm, read off an engraved scale, in feet.
CASES = [(8, 8, 3.5, np.inf), (16, 8, 2, np.inf), (3.4, 4, 3.25, 5)]


@given(
    st.floats(15, 135), st.floats(1.4, 22), st.floats(0.01, 0.06), st.floats(0.01, 0.06), st.floats(1.5, 50)
)
def test_the_marks_read_show_the_zone_wanted(focal, number, own, scale, focus):
    """What is engraved for c_scale at the number read is the zone of c_own: both limits, exactly."""
    read = read_scale_for(number, own, scale)
    wanted, shown = sharp_zone(focal, number, focus, own), sharp_zone(focal, read, focus, scale)
    assert_allclose(shown.near_limit_m, wanted.near_limit_m, rtol=1e-9)
    assert_allclose(1 / shown.far_limit_m, 1 / wanted.far_limit_m, atol=1e-9)


def test_an_army_manual_read_on_another_scale():
    """US Army Signal School, SS0507, p. 61: "75 mm = 3 in", f/8, 0.002 in, 15 ft: 11.3 ft to 22 ft, printed.

    On a scale engraved for 0.001 in, as the cinematographers' tables are, the marks for f/16 show it.
    """
    read = float(read_scale_for(8, 0.002 * INCH_MM, 0.001 * INCH_MM))
    assert read == pytest.approx(16, rel=1e-12)
    shown = sharp_zone(3 * INCH_MM, read, 15 * FOOT, 0.001 * INCH_MM, "lens")
    assert float(shown.near_limit_m) / FOOT == pytest.approx(
        11.3, abs=0.15
    )  # the manual truncates, and drops f
    assert float(shown.far_limit_m) / FOOT == pytest.approx(22, abs=0.5)


@pytest.mark.parametrize(("stops", "factor"), [(1, 2**0.5), (2, 2.0)])
def test_one_stop_two_stops(stops, factor):
    """The rule of the trade (common practice, no source): one stop more tolerant, read the next mark."""
    assert 2 * math.log2(float(read_scale_for(8, 0.03 * factor, 0.03)) / 8) == pytest.approx(stops, rel=1e-12)


@pytest.mark.parametrize("unknown", [0, -1, np.nan, np.inf])
def test_unknown_numbers_give_no_mark(unknown):
    assert np.isnan(read_scale_for(unknown, 0.03))
    assert np.isnan(read_scale_for(8, unknown))
    assert np.isnan(read_scale_for(8, 0.03, unknown))


def test_the_criteria_that_the_worked_cases_imply():
    implied = [
        float(defocus_mm(21, number, ring * FOOT, limit * FOOT))
        for number, ring, near, far in CASES
        for limit in (near, far)
        if np.isfinite(limit)
    ]
    assert min(implied) == pytest.approx(0.022, abs=0.0005)
    assert max(implied) == pytest.approx(0.036, abs=0.0005)


@pytest.mark.parametrize("case", CASES)
def test_one_reading_gives_a_criterion_and_its_interval(case):
    number, ring, near, far = case
    found = engraved_for(21, [number], [ring * FOOT], [near * FOOT], [far * FOOT])
    assert found.contradiction is None
    assert found.low_mm < found.coc_mm <= found.high_mm
    zone = sharp_zone(21, number, ring * FOOT, found.coc_mm)
    assert float(zone.near_limit_m) / FOOT == pytest.approx(near, rel=0.1)
    assert (float(zone.far_limit_m) == np.inf) == (far == np.inf)


@given(st.floats(20, 60), st.floats(0.02, 0.05), st.sampled_from([2.0, 3.0, 5.0]))
def test_readings_of_a_known_scale_give_its_criterion_back(focal, coc, focus):
    stops = np.array([4.0, 8.0, 16.0])
    zone = sharp_zone(focal, stops, focus, coc)
    found = engraved_for(focal, stops, np.full(3, focus), zone.near_limit_m, zone.far_limit_m)
    assert found.contradiction is None
    assert found.coc_mm == pytest.approx(coc, rel=1e-6)
    assert found.low_mm <= coc <= found.high_mm


def test_past_infinity_alone_bounds_from_below():
    found = engraved_for(28, [16], [2.0], [0.9], [np.inf])
    at_infinity = float(defocus_mm(28, 16, 2.0, np.inf))
    assert found.low_mm >= 0.9 * at_infinity
    only_far = engraved_for(28, [16], [np.inf], [1.6], [np.inf])
    assert only_far.coc_mm == pytest.approx(float(defocus_mm(28, 16, np.inf, 1.6)), rel=1e-9)


def test_readings_that_contradict_each_other_are_named():
    zone = sharp_zone(35, [8, 8, 11], 3.0, [0.03, 0.03, 0.06])
    found = engraved_for(35, [8, 8, 11], [3.0] * 3, zone.near_limit_m, [np.nan, np.nan, np.nan])
    assert found.contradiction is not None
    assert 2 in found.contradiction
    assert found.low_mm < 0.03
    assert found.high_mm > 0.06


@pytest.mark.parametrize(
    ("coc_near", "coc_far", "pair"),
    [
        ([0.06, 0.01, 0.03], None, (0, 1)),
        ([0.03, 0.06, 0.01], None, (1, 2)),
        ([0.03, 0.03, 0.03], [0.03, 0.2, 0.03], (0, 1)),  # a far limit at infinity
    ],
)
def test_the_two_readings_that_contradict_each_other_most_are_named(coc_near, coc_far, pair):
    near = sharp_zone(50, 8, 2.0, coc_near).near_limit_m
    far = [np.nan] * 3 if coc_far is None else sharp_zone(50, 8, 2.0, coc_far).far_limit_m
    assert engraved_for(50, [8] * 3, [2.0] * 3, near, far).contradiction == pair


@pytest.mark.parametrize(
    ("ring", "near", "far"), [(2.0, 2.5, 3.0), (2.0, 1.5, 1.8), (2.0, np.nan, 3.0), (2.0, 0.0, 3.0)]
)
def test_readings_that_make_no_sense_are_refused(ring, near, far):
    with pytest.raises(SettingError):
        engraved_for(28, [8], [ring], [near], [far])
    with pytest.raises(SettingError):
        engraved_for(28, [], [], [], [])
