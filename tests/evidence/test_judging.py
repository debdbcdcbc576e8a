"""Guesses against measures: by hand, by recovering a known eye, and against scipy's own statistics."""

import math

import numpy as np
import pytest
from scipy import stats

from auditor.evidence.judging import FEWEST_GUESSES, judge_guesses, shares_inside


def test_a_known_eye_is_recovered_and_the_measures_own_error_taken_off():
    rng = np.random.default_rng(21)
    true = rng.uniform(1, 6, 4000)
    measured = true * np.exp(rng.normal(0, 0.08, 4000))
    guess = true * np.exp(rng.normal(-0.06, 0.18, 4000))
    found = judge_guesses(guess, measured, 0.08)
    assert found.bias == pytest.approx(-0.06, abs=0.01)
    assert found.spread == pytest.approx(0.18, abs=0.012)
    assert found.guess_sd == pytest.approx(math.hypot(0.06, 0.18), abs=0.012)
    assert found.bias_low < -0.06 < found.bias_high


def test_the_robust_spread_is_scipys():
    error = np.array([-0.3, -0.1, -0.02, 0.0, 0.01, 0.05, 0.07, 0.11, 0.2, 0.9])
    found = judge_guesses(2 * np.exp(error), np.full(10, 2.0), 0.0)
    assert found.bias == pytest.approx(np.median(error))
    assert found.spread == pytest.approx(stats.median_abs_deviation(error, scale="normal"), rel=1e-3)


def test_the_interval_of_the_bias_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(800):
        found = judge_guesses(np.exp(rng.normal(0.05, 0.2, 50)), np.ones(50), 0.0)
        inside += found.bias_low <= 0.05 <= found.bias_high
    assert 0.90 <= inside / 800 <= 0.98


def test_few_or_unknown_pairs_replace_nothing():
    few = judge_guesses([2.0] * (FEWEST_GUESSES - 1), 2.0, 0.1)
    assert few.guess_sd is None
    assert judge_guesses([], [], []).guesses == 0
    odd = judge_guesses([2, np.nan, np.inf, 3], [2, 2, 2, np.nan], 0.1)
    assert (odd.guesses, math.isnan(odd.spread)) == (1, True)


def test_shares_inside_are_the_log_normals():
    judged = judge_guesses(2 * np.exp(np.linspace(-0.3, 0.3, 41)), np.full(41, 2.0), 0.0)
    rng = np.random.default_rng(1)
    for guess in (1.5, 2.5, 5.0):
        true = guess * np.exp(rng.normal(-judged.bias, judged.spread, 200_000))
        expected = np.mean((true >= 1.71) & (true <= 4.74))
        assert shares_inside(guess, 1.71, 4.74, judged) == pytest.approx(expected, abs=0.004)
    assert shares_inside(9.0, 1.7, math.inf, judged) == pytest.approx(1.0, abs=1e-6)
