"""Stratified differences against published tables and general-purpose libraries."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from auditor.evidence.mantel_haenszel import bursts_to_show, difference_by_runs, stratified_difference
from auditor.evidence.proportions import wilson

# Penicillin and rabbits, Agresti (1990), Categorical Data Analysis, p. 231-237: cured of treated at once and
# of treated after 1.5 h, at five doses. Published, with continuity correction: p = 0.047.
RABBITS = ([0, 3, 6, 5, 2], [6, 6, 6, 6, 2], [0, 0, 2, 6, 5], [5, 6, 6, 6, 5])


def test_test_published():
    assert_allclose(stratified_difference(*RABBITS).p_value, 0.047, rtol=0, atol=0.0005)


def random_strata(rng):
    n, m = rng.integers(0, 30, 12), rng.integers(0, 30, 12)
    return rng.binomial(n, 0.4), n, rng.binomial(m, 0.3), m


def test_test_against_statsmodels():
    tables = pytest.importorskip("statsmodels.stats.contingency_tables")
    rng = np.random.default_rng(4)
    for _ in range(30):
        x, n, y, m = random_strata(rng)
        both = (n > 0) & (m > 0)
        stack = np.stack([[x, n - x], [y, m - y]])[:, :, both].astype(float)
        theirs = tables.StratifiedTable(stack).test_null_odds(correction=True)
        assert_allclose(stratified_difference(x, n, y, m).p_value, theirs.pvalue, rtol=1e-9)


def as_trials(x, n, y, m):
    rows = [
        (k, a, hit)
        for k in range(len(n))
        for a, hits, size in ((True, x[k], n[k]), (False, y[k], m[k]))
        for hit in [1] * hits + [0] * (size - hits)
    ]
    stratum, is_a, hit = (np.array(column) for column in zip(*rows, strict=True))
    return stratum, is_a.astype(bool), hit.astype(float)


def test_difference_is_least_squares_with_a_level_for_each_stratum():
    """Mantel-Haenszel weights nm/(n+m) are those of least squares with stratum dummies (statsmodels)."""
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(8)
    for _ in range(10):
        counts = random_strata(rng)
        stratum, is_a, hit = as_trials(*counts)
        dummies = (stratum[:, None] == np.unique(stratum)).astype(float)
        fit = sm.OLS(hit, np.column_stack([is_a, dummies])).fit()
        assert_allclose(stratified_difference(*counts).difference, fit.params[0], rtol=1e-9)


@pytest.mark.parametrize(("hits_a", "n_a", "hits_b", "n_b"), [(40, 100, 20, 100), (40, 100, 40, 400)])
def test_single_stratum_variance_by_hand(hits_a, n_a, hits_b, n_b):
    """In one stratum Sato's variance is that of the difference of two binomials."""
    result = stratified_difference([hits_a], [n_a], [hits_b], [n_b])
    a, b = hits_a / n_a, hits_b / n_b
    assert_allclose(result.difference, a - b, rtol=1e-12)
    half = 1.959964 * math.sqrt(a * (1 - a) / n_a + b * (1 - b) / n_b)
    assert_allclose(result.high - result.difference, half, rtol=1e-6)


def test_interval_covers_in_small_strata():
    rng = np.random.default_rng(31)
    covered = 0
    for _ in range(2000):
        level = rng.uniform(0.1, 0.7, 25)
        n, m = rng.integers(1, 6, 25), rng.integers(1, 6, 25)
        result = stratified_difference(rng.binomial(n, level + 0.1), n, rng.binomial(m, level), m)
        covered += result.low <= 0.1 <= result.high
    low, high = wilson(covered, 2000)
    assert low <= 0.97
    assert high >= 0.93


def test_nothing_shared_is_unknown():
    assert math.isnan(stratified_difference([1, 0], [3, 0], [0, 1], [0, 4]).difference)
    assert math.isnan(stratified_difference([], [], [], []).difference)
    assert math.isnan(stratified_difference([0], [3], [0], [4]).p_value)


def test_sample_size_published():
    """Fleiss (1981), table of sample sizes less its correction, from memory: 0.25 against 0.40, 5 %."""
    assert_allclose(bursts_to_show(0.325, 15), 152, atol=1.0)


def test_sample_size_against_statsmodels():
    """A two-sample z test of proportions by statsmodels has the stated power at the stated number."""
    power = pytest.importorskip("statsmodels.stats.proportion")
    for rate, points in ((0.3, 5), (0.1, 4), (0.5, 10)):
        n = bursts_to_show(rate, points)
        gap = points / 100
        reached = power.power_proportions_2indep(gap, rate - gap / 2, n, alternative="two-sided").power
        assert_allclose(reached, 0.8, atol=0.005)


def test_three_runs_of_one_outing_leave_one_degree_of_freedom():
    """Runs of a with 10 and 6 hits of 20, one of b with 4: by hand, with Student's t of one degree (Cauchy).

    Over runs a lies 1/3 above and b 2/3 below, so the information is 20 (2/9 + 4/9); a misses its mean by 0.1
    twice, the variance is 2 (20/3 0.1)^2 times 3/1.
    """
    found = difference_by_runs([10, 4, 6], [20, 20, 20], [True, False, True], [0, 0, 0])
    error = math.sqrt(2 * (20 / 3 * 0.1) ** 2 * 3) / (20 * 6 / 9)
    half = math.tan(0.95 * math.pi / 2) * error
    assert_allclose([found.difference, found.low, found.high], [0.2, 0.2 - half, 0.2 + half], rtol=1e-9)
    assert_allclose(found.p_value, 1 - 2 / math.pi * math.atan(0.2 / error), rtol=1e-9)


def test_runs_that_are_all_alike_show_no_difference():
    alike = difference_by_runs([5, 5, 5, 5], [10] * 4, [True, False] * 2, [0] * 4)
    assert (alike.difference, alike.low, alike.high, alike.p_value) == (0, 0, 0, 1)


def test_outings_in_which_a_setting_was_not_used_say_nothing_of_runs():
    hits, size, is_a = [5, 2, 6, 3], [10, 12, 14, 16], [True, False, True, False]
    only_a = difference_by_runs([*hits, 9, 1], [*size, 10, 10], [*is_a, True, True], [1, 1, 2, 2, 0, 0])
    only_b = difference_by_runs([*hits, 9, 1], [*size, 10, 10], [*is_a, False, False], [1, 1, 2, 2, 3, 3])
    assert only_a == only_b == difference_by_runs(hits, size, is_a, [1, 1, 2, 2])
    assert math.isnan(difference_by_runs([9, 1], [10, 10], [True, True], [0, 0]).difference)


def test_one_frame_of_each_setting_and_one_stratum_of_each_alone():
    """One hit of one against none of one: Mantel and Haenszel's variance is 1/4, so |1 - 1/2| - 1/2 = 0."""
    found = stratified_difference([1], [1], [0], [1])
    assert (found.difference, found.p_value) == (1, 1)
    beside = stratified_difference([1, 3, 0], [1, 5, 0], [0, 0, 2], [1, 0, 6])
    assert beside == found


def test_the_corrected_score_of_one_stratum_by_hand():
    """30 of 50 against 15 of 40: 25 hits of 50 are expected, variance 50 40 45 45 / (90^2 89)."""
    score = (abs(30 - 25) - 0.5) / math.sqrt(50 * 40 * 45 * 45 / (90**2 * 89))
    found = stratified_difference([30], [50], [15], [40])
    assert_allclose(found.p_value, math.erfc(score / math.sqrt(2)), rtol=1e-12)
    assert_allclose(stratified_difference([15], [40], [30], [50]).p_value, found.p_value, rtol=1e-12)


def test_the_number_of_bursts_near_nought_and_all_is_that_of_what_can_be():
    """Of a rate of 0 a difference of 10 points can only be 0.1 against 0: Fleiss' number for these."""
    expected = (1.959964 * math.sqrt(2 * 0.05 * 0.95) + 0.841621 * math.sqrt(0.1 * 0.9)) ** 2 / 0.1**2
    assert_allclose(bursts_to_show(0.0, 10), expected, rtol=1e-6)
    assert_allclose(bursts_to_show(1.0, 10), expected, rtol=1e-6)
