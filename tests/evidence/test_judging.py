"""Guesses against measures: by hand, by recovering a known eye, and against scipy's own statistics."""

import math

import numpy as np
import pytest
from scipy import stats

from auditor.evidence.judging import FEWEST_GUESSES, judge_guesses


def test_a_known_eye_is_recovered_and_the_measures_own_error_taken_off():
    rng = np.random.default_rng(21)
    true = rng.uniform(1, 6, 4000)
    measured = true * np.exp(rng.normal(0, 0.08, 4000))
    guess = true * np.exp(rng.normal(-0.06, 0.18, 4000))
    found = judge_guesses(guess, measured, 0.08)
    assert found.bias == pytest.approx(-0.06, abs=0.01)
    assert found.spread == pytest.approx(0.18, abs=0.012)
    assert found.guess_sd == pytest.approx(math.hypot(0.06, 0.18), abs=0.012)


def test_the_robust_spread_is_scipys():
    error = np.array([-0.3, -0.1, -0.02, 0.0, 0.01, 0.05, 0.07, 0.11, 0.2, 0.9])
    found = judge_guesses(2 * np.exp(error), np.full(10, 2.0), 0.0)
    assert found.bias == pytest.approx(np.median(error))
    assert found.spread == pytest.approx(stats.median_abs_deviation(error, scale="normal"), rel=1e-3)


def test_few_or_unknown_pairs_replace_nothing():
    few = judge_guesses([2.0] * (FEWEST_GUESSES - 1), 2.0, 0.1)
    assert few.guess_sd is None
    assert judge_guesses([], [], []).guesses == 0
    odd = judge_guesses([2, np.nan, np.inf, 3], [2, 2, 2, np.nan], 0.1)
    assert (odd.guesses, math.isnan(odd.spread)) == (1, True)


def test_ten_pairs_replace_the_assumed_error_and_two_have_a_spread():
    """By hand: of errors 0 and log 1.5 the median is half of that, and so is every deviation from it."""
    half = math.log(1.5) / 2
    two = judge_guesses([2.0, 3.0], [2.0, 2.0], 0.0)
    assert (two.bias, two.spread) == pytest.approx((half, 1.4826 * half))
    assert two.guess_sd is None
    ten = judge_guesses([2.0, 3.0] * 5, 2.0, 0.1)
    assert ten.spread == pytest.approx(math.sqrt((1.4826 * half) ** 2 - 0.1**2))
    assert ten.guess_sd == pytest.approx(math.hypot(half, ten.spread))
    sure = judge_guesses([2.0] * 10, 2.0, 0.1)
    assert (sure.spread, sure.guess_sd) == pytest.approx((0.03, 0.03)), "nobody's eye is credited with less"
