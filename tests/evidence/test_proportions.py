"""Proportions against published rows and a general-purpose library."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import chi2, norm, quantile_test
from scipy.stats import t as student

from auditor.evidence import proportions as prop

# Newcombe (1998a), Stat. Med. 17:857, Table I (81/263 as remembered, not seen in print); 3/10 from a general
# statistics environment. The last number is the printed rounding.
WILSON_ROWS = [
    (81, 263, 0.2553, 0.3662, 1e-4),
    (15, 148, 0.0624, 0.1605, 1e-4),
    (0, 20, 0.0, 0.1611, 1e-4),
    (1, 29, 0.0061, 0.1718, 1e-4),
    (3, 10, 0.1077913, 0.6032219, 1e-7),
]


def one_interval(keepers, frames):
    """The interval of a single group of bursts."""
    low, high = prop.clustered_intervals(keepers, frames, np.zeros(len(frames), dtype=int), 1)
    return float(low[0]), float(high[0])


@pytest.mark.parametrize(("hits", "n", "low", "high", "printed"), WILSON_ROWS)
def test_wilson_published(hits, n, low, high, printed):
    assert_allclose(prop.wilson(hits, n), (low, high), rtol=0, atol=0.51 * printed)


# Benjamini & Hochberg (1995): 15 p-values of a thrombolysis trial.
def test_benjamini_hochberg_published():
    p = [1e-4, 4e-4, 19e-4, 95e-4, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240,
         0.4262, 0.5719, 0.6528, 0.7590, 1.0]  # fmt: skip
    adjusted = prop.benjamini_hochberg(p)
    assert (adjusted <= 0.05).sum() == 4
    expected = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765, 0.486,
                0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0]  # fmt: skip
    assert_allclose(adjusted, expected, rtol=0, atol=1e-8)


def test_against_statsmodels():
    sm = pytest.importorskip("statsmodels.stats.proportion")
    rng = np.random.default_rng(11)
    for _ in range(60):
        n = rng.integers(1, 400)
        hits, level = rng.integers(0, n + 1), rng.uniform(0.7, 0.99)
        theirs = sm.proportion_confint(hits, n, alpha=1 - level, method="wilson")
        assert_allclose(prop.wilson(hits, n, level), theirs, rtol=0, atol=1e-10)


# Exact limits of a Poisson count, Garwood (1936), as handbook tables print them (from memory).
@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)]
)
def test_counts_published(count, low, high):
    ones = np.ones(count)
    found = prop.clustered_counts(ones, np.zeros(count, dtype=int), 1)
    assert_allclose(np.ravel(found), (low, high), rtol=0, atol=6e-4)


def test_counts_against_scipy_and_statsmodels():
    """One keeper a burst: statsmodels' exact limits. Several: Fay's and Feuer's formula by scipy's chi2."""
    sm = pytest.importorskip("statsmodels.stats.rates")
    for count in (1, 4, 37):
        theirs = sm.confint_poisson(count, 1, method="exact-c", alpha=0.1)
        assert_allclose(
            np.ravel(prop.clustered_counts(np.ones(count), np.zeros(count, int), 1, 0.9)), theirs, rtol=1e-9
        )
    keepers = np.array([0, 3, 1, 5, 2, 0, 1.0])
    y, v, w = keepers.sum(), (keepers**2).sum(), keepers.max()
    low = v / (2 * y) * chi2.ppf(0.025, 2 * y**2 / v)
    high = (v + w**2) / (2 * (y + w)) * chi2.ppf(0.975, 2 * (y + w) ** 2 / (v + w**2))
    groups = np.r_[np.ones(7, dtype=int), 0]
    found = prop.clustered_counts(np.r_[keepers, 0], groups, 3)
    assert_allclose(np.stack(found)[:, 1], [low, high], rtol=1e-9)
    assert_allclose(np.stack(found)[:, [0, 2]].T, [[0, 3.689]] * 2, atol=6e-4)


def test_counts_hold_the_truth():
    """Bursts by chance, one to six keepers in each: at least 95 % of the intervals hold the mean."""
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(600):
        keepers = rng.integers(1, 7, rng.poisson(12))
        low, high = prop.clustered_counts(keepers, np.zeros(len(keepers), dtype=int), 1)
        held += low[0] <= 12 * 3.5 <= high[0]
    assert 0.94 <= held / 600 <= 0.995


def test_the_interval_of_a_median_against_scipy():
    """Within one value of the exact one (scipy.stats.quantile_test), whatever the weights' scale."""
    rng = np.random.default_rng(4)
    for n in (12, 60, 301):
        values = np.sort(rng.lognormal(1, 0.5, n))
        theirs = quantile_test(values, q=0, p=0.5).confidence_interval(0.95)
        ours = prop.weighted_quantile_interval(values, np.full(n, 3.0), 0.5)
        for one, other in zip(ours, theirs, strict=True):
            assert abs(np.searchsorted(values, one) - np.searchsorted(values, other)) <= 1
    held = 0
    for _ in range(400):  # weights that tell nothing of the values widen it, and it still holds the truth
        weights = rng.uniform(0.2, 5, 80)
        low, high = prop.weighted_quantile_interval(rng.normal(size=80), weights, 0.5)
        held += low <= 0 <= high
    assert 0.93 <= held / 400 <= 0.99


def test_one_burst_among_many_small_ones_does_not_pass_for_many():
    """200 frames of one scene beside 29 bursts of three: about two bursts' worth, and wide accordingly."""
    frames = np.r_[np.full(29, 3.0), 200.0]
    keepers = np.r_[np.tile([0.0, 1.0, 2.0], 10)[:29], 60.0]
    low, high = one_interval(keepers, frames)
    even_low, even_high = one_interval(np.tile([0.0, 1.0, 2.0], 32), np.full(96, 3.0))
    assert high - low > 2.5 * (even_high - even_low)
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        rates = rng.beta(3, 7, 30)
        low, high = one_interval(rng.binomial(frames.astype(int), rates), frames)
        held += low <= 0.3 <= high
    assert held / 400 > 0.9


def test_nothing_counted_is_unknown():
    low, high = prop.wilson([0, 2], [0, 4])
    assert np.isnan([low[0], high[0]]).all()
    assert 0 < low[1] < 0.5 < high[1] < 1
    assert np.isnan(one_interval([], [])).all()
    assert np.isnan(prop.benjamini_hochberg([np.nan])).all()


@pytest.mark.parametrize("level", [0, 1, 95])
def test_impossible_level(level):
    with pytest.raises(ValueError, match="confidence"):
        prop.wilson(1, 2, level)


def test_design_effect_against_generalised_estimating_equations():
    """The same ratio variance as the robust variance of an independence GEE on the identity scale."""
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    sizes = rng.integers(1, 7, 300)
    shares = rng.beta(0.3, 0.7, 300)
    keepers = rng.binomial(sizes, shares)
    y = np.concatenate([np.r_[np.ones(k), np.zeros(m - k)] for k, m in zip(keepers, sizes, strict=True)])
    groups = np.repeat(np.arange(300), sizes)
    gee = sm.GEE(y, np.ones_like(y), groups=groups, family=sm.families.Gaussian()).fit()
    low, high = one_interval(keepers, sizes)
    # Wilson and the symmetric interval agree in width near a middling share with many bursts.
    assert_allclose(high - low, 2 * prop.two_sided_z(0.95) * gee.bse[0], rtol=0.03)


def simulated_bursts(rng, how):
    """Bursts of 1 to 6 frames and the true frame rate: alike within a burst, or at most one kept."""
    sizes = rng.integers(1, 7, 80)
    if how == "alike":  # exchangeable with correlation 0.5
        common = rng.random(80) < 0.3
        copies = rng.binomial(sizes, np.sqrt(0.5))
        keepers = np.where(common, copies, 0) + rng.binomial(sizes - copies, 0.3)
        return keepers, sizes, 0.3
    return (rng.random(80) < 0.6).astype(int), sizes, 0.6 / 3.5


@pytest.mark.parametrize("how", ["alike", "at most one"])
def test_clustered_interval_covers(how):
    rng = np.random.default_rng(2024)
    covered = plain = 0
    for _ in range(2000):
        keepers, sizes, truth = simulated_bursts(rng, how)
        low, high = one_interval(keepers, sizes)
        covered += low <= truth <= high
        low, high = prop.wilson(keepers.sum(), sizes.sum())
        plain += low <= truth <= high
    low, high = prop.wilson(covered, 2000)
    assert low <= 0.97
    assert high >= 0.93
    assert abs(plain / 2000 - 0.95) > abs(covered / 2000 - 0.95)


def test_single_burst_or_no_keeper_counts_bursts():
    assert_allclose(one_interval([0, 0, 0], [4, 4, 4]), prop.wilson(0, 3), rtol=1e-12)
    assert_allclose(one_interval([2], [4]), prop.wilson(0.5, 1), rtol=1e-12)


@pytest.mark.parametrize("n", [1, 3, 7, 20, 148, 999])
def test_the_interval_of_none_begins_at_nought_and_that_of_all_ends_at_one(n):
    none, every = prop.wilson(0, n), prop.wilson(n, n)
    assert (none[0], every[1]) == (0, 1)
    z = 1.959964
    assert_allclose([none[1], 1 - every[0]], z**2 / (n + z**2), rtol=1e-6)


def test_the_interval_of_unequal_bursts_by_hand():
    """Keepers 2, 0, 1 of 3, 2, 4 frames: residuals 1, -2/3, -1/3 about a third.

    D = 3/2 (14/9) / (1/3 x 2/3 x 9) = 7/6; the bursts are worth 81/29, so Student's t has 52/29 degrees.
    """
    shrink = (norm.ppf(0.975) / student.ppf(0.975, 52 / 29)) ** 2
    effective = 9 / (7 / 6) * shrink
    wanted = prop.wilson(effective / 3, effective)
    assert_allclose(one_interval([2, 0, 1], [3, 2, 4]), wanted, rtol=1e-9)
    # beside another group, and one that holds nothing
    low, high = prop.clustered_intervals([5, 2, 0, 1, 0], [5, 3, 2, 4, 7], [2, 0, 0, 0, 2], 3)
    assert_allclose([low[0], high[0]], wanted, rtol=1e-9)
    assert np.isnan([low[1], high[1]]).all()
    assert_allclose([low[2], high[2]], one_interval([5, 0], [5, 7]), rtol=1e-9)


@pytest.mark.parametrize(("bursts", "effect"), [(9, 1.0), (10, 0.1)])
def test_frames_are_believed_to_fare_apart_from_ten_bursts_on(bursts, effect):
    """One frame of each pair kept: more even than chance."""
    shrink = (norm.ppf(0.975) / student.ppf(0.975, bursts - 1)) ** 2
    effective = 2 * bursts / effect * shrink
    found = one_interval(np.ones(bursts), np.full(bursts, 2))
    assert_allclose(found, prop.wilson(effective / 2, effective), rtol=1e-9)


def test_two_bursts_of_which_one_was_kept_are_worth_little_and_one_counts_as_a_trial():
    """D = 2 (2 x 4/4) / (1/4 x 4) = 4 frames to a trial, Student's t of one degree."""
    shrink = (norm.ppf(0.975) / student.ppf(0.975, 1)) ** 2
    assert_allclose(one_interval([2, 0], [2, 2]), prop.wilson(shrink / 2, shrink), rtol=1e-9)
    assert_allclose(one_interval([3, 3], [3, 3]), prop.wilson(2, 2), rtol=1e-12)


def test_the_interval_of_a_weighted_quantile_by_hand():
    """Weights of 1 and 3, ten each, are worth 40^2 / 100 = 16 equal ones."""
    values, weights = np.arange(20.0), np.tile([1.0, 3.0], 10)
    for share in (0.5, 0.25):
        ends = prop.wilson(16 * share, 16, 0.8)
        share_below = np.cumsum(weights) / 40
        wanted = [values[np.searchsorted(share_below, end)] for end in ends]
        assert prop.weighted_quantile_interval(values, weights, share, 0.8) == tuple(wanted)


def test_a_place_that_was_not_tested_does_not_count_among_the_tests():
    found = prop.benjamini_hochberg([0.01, np.nan, 0.04])
    assert_allclose(found, [0.02, np.nan, 0.04])
