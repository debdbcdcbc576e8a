"""Shares of a drawn sample, against the printed output of a survey package."""

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from auditor.evidence.proportions import clustered_intervals, wilson
from auditor.evidence.weighted_shares import Sampled, ratio_variance, share_ratio, weighted_shares

SAMPLE = Path(__file__).parents[1] / "authorities" / "samples" / "school_performance.csv"
SCHOOLS = {"E": 4421, "M": 1018, "H": 755}


def one_interval(keepers, frames):
    """The interval of a single group of bursts."""
    low, high = clustered_intervals(keepers, frames, np.zeros(len(frames), dtype=int), 1)
    return float(low[0]), float(high[0])


@pytest.fixture(scope="module")
def schools():
    """Level, score and award of the sampled schools, and how they were drawn."""
    with SAMPLE.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    level = np.array([row["level"] for row in rows])
    score = np.array([float(row["score"]) for row in rows])
    award = np.array([row["award"] == "Y" for row in rows])
    weight = np.array([SCHOOLS[name] / (level == name).sum() for name in level])
    stratum = np.unique(level, return_inverse=True)[1]
    return score, award, Sampled(weight, stratum, np.arange(len(rows)))


def ratio(y, x, sampled):
    """A ratio of weighted sums and its standard error under the draw."""
    total = float(sampled.weight @ x)
    value = float(sampled.weight @ y) / total
    domain = np.where(x > 0, 0, -1)
    return value, ratio_variance(y - value * x, np.array([total]), domain, sampled)[0] ** 0.5


# Lumley's package survey for R, design svydesign(id=~1, strata=~stype, weights=~pw, fpc=~fpc, data=apistrat):
# svymean(~api00) prints 662.29 and SE 9.4089 (printed in many places); svymean(~awards) gives for Yes
# 0.638936067 and SE 0.034405918, svyby(~api00, ~awards, svymean) 633.734912 (SE 15.334771) for No and
# 678.422406 (11.856631) for Yes, as recorded in the reference data of a package that tests itself against it.
def test_mean_and_error_as_a_survey_package_prints_them(schools):
    score, _, sampled = schools
    assert_allclose(ratio(score, np.ones(200), sampled), [662.287364, 9.408941], rtol=1e-7)


@pytest.mark.parametrize(
    ("given", "mean", "error"), [(False, 633.734912, 15.334771), (True, 678.422406, 11.856631)]
)
def test_means_of_domains_as_a_survey_package_prints_them(schools, given, mean, error):
    score, award, sampled = schools
    own = (award == given).astype(float)
    assert_allclose(ratio(score * own, own, sampled), [mean, error], rtol=1e-7)


def test_share_and_its_error_as_a_survey_package_prints_them(schools):
    _, award, sampled = schools
    found = weighted_shares(award, np.zeros(200, dtype=int), 1, sampled)
    assert_allclose(found.rate, 0.638936067, rtol=1e-8)
    own = found.rate * (1 - found.rate) / 6194  # the schools themselves as a draw
    assert_allclose(np.sqrt(found.variance - own), 0.034405918, rtol=1e-6)
    assert_allclose(found.stands_for, 6194)
    number = found.rate * (1 - found.rate) / found.variance
    assert_allclose([found.low, found.high], wilson(found.rate * number, number))


def test_everything_known_leaves_the_frames_as_a_draw():
    kept = np.repeat([True, False], [30, 90])
    whole = Sampled(np.ones(120), (~kept).astype(int), np.arange(120))
    found = weighted_shares(kept, np.zeros(120, dtype=int), 1, whole)
    assert_allclose([found.low[0], found.high[0]], wilson(30, 120))


def test_frames_of_a_burst_that_fare_alike_widen_the_interval():
    """Pairs kept or dropped together, all known: the clustered interval, but for its t of few bursts."""
    kept = np.repeat(np.arange(400) % 5 == 0, 2)
    pairs = Sampled(np.ones(800), (~kept).astype(int), np.repeat(np.arange(400), 2))
    found = weighted_shares(kept, np.zeros(800, dtype=int), 1, pairs)
    assert_allclose([found.low[0], found.high[0]], one_interval([2 * (b % 5 == 0) for b in range(400)],
                                                                      [2] * 400), atol=5e-4)  # fmt: skip
    assert_allclose([found.low[0], found.high[0]], wilson(80, 400), atol=5e-4)


def test_nothing_kept_counts_as_many_frames_as_the_weights_are_worth():
    weight = np.array([1.0] * 5 + [20.0] * 5)
    drawn = Sampled(weight, np.repeat([0, 1], 5), np.arange(10))
    found = weighted_shares(np.zeros(10, dtype=bool), np.zeros(10, dtype=int), 1, drawn)
    assert_allclose([found.low[0], found.high[0]], wilson(0, 105**2 / (5 + 5 * 400)))
    one = weighted_shares(np.zeros(3, dtype=bool), np.zeros(3, dtype=int), 1,
                          Sampled(np.ones(3), np.zeros(3, dtype=int), np.zeros(3, dtype=int)))  # fmt: skip
    assert_allclose(one.high[0], wilson(0, 1)[1])  # three frames of one burst
    assert one.variance[0] == 0


def test_a_domain_without_frames_is_unknown():
    drawn = Sampled(np.ones(2), np.zeros(2, dtype=int), np.arange(2))
    found = weighted_shares([True, False], [0, -1], 2, drawn)
    assert np.isnan([found.rate[1], found.low[1], found.high[1]]).all()


# 900 frames, inside the zone kept three times as often as outside; half of a sample of 60 are keepers.
def test_intervals_hold_what_was_drawn_from():
    rng = np.random.default_rng(13)
    held = times_held = 0
    archives = 600
    for _ in range(archives):
        inside = rng.random(900) < 0.6
        chance = np.where(inside, 0.10, 0.03)
        kept = rng.random(900) < chance
        chosen = np.concatenate([
            rng.choice(np.flatnonzero(kept == mark), min(30, (kept == mark).sum()), replace=False)
            for mark in (True, False)
        ])  # fmt: skip
        size = np.bincount(kept[chosen].astype(int), minlength=2)
        weight = (np.bincount(kept.astype(int), minlength=2) / np.maximum(size, 1))[kept[chosen].astype(int)]
        drawn = Sampled(weight, kept[chosen].astype(int), np.arange(chosen.size))
        found = weighted_shares(kept[chosen], np.where(inside[chosen], 0, 1), 2, drawn)
        held += found.low[0] <= 0.10 <= found.high[0]
        _, low, high = share_ratio(kept[chosen], inside[chosen], ~inside[chosen], drawn)
        times_held += not (low > 0.10 / 0.03 or high < 0.10 / 0.03)
    assert 0.92 <= held / archives <= 0.98
    assert 0.92 <= times_held / archives <= 0.985


# Doll & Hill's cohort as quoted in textbooks is about a ratio of rates; here the plain 2 x 2 formula
# exp(log RR -+ z sqrt((1 - R1)/x1 + (1 - R0)/x0)) (Katz et al. 1978, Biometrics 34:469; from memory).
def test_ratio_of_shares_without_a_draw_is_the_plain_one():
    kept = np.repeat([1, 0, 1, 0], [20, 80, 10, 190])
    inside = np.repeat([True, False], [100, 200])
    whole = Sampled(np.ones(300), kept.astype(int), np.arange(300))
    half = 1.959964 * np.sqrt(0.8 / 20 + 0.95 / 10)
    assert_allclose(
        share_ratio(kept, inside, ~inside, whole), [4.0, 4 * np.exp(-half), 4 * np.exp(half)], rtol=1e-6
    )


def test_few_bursts_that_fare_alike_by_hand():
    """Three pairs, one kept whole: residuals of 2/3 and -1/3, summed 4/3 and -2/3 twice.

    The design effect is 3/2 (16/9 + 8/9) / (8/9 + 4/9) = 3, so the variance 3 x 1/3 x 2/3 / 6 = 1/9.
    """
    kept, burst = np.repeat([True, False, False], 2), np.repeat([0, 1, 2], 2)
    found = weighted_shares(
        kept, np.zeros(6, dtype=int), 1, Sampled(np.ones(6), np.zeros(6, dtype=int), burst)
    )
    assert_allclose([found.rate[0], found.variance[0]], [1 / 3, 1 / 9])
    assert_allclose([found.low[0], found.high[0]], wilson(2 / 3, 2))
    other = np.r_[np.zeros(6, dtype=int), np.ones(4, dtype=int)]  # another domain of the same bursts
    both = Sampled(np.ones(10), np.zeros(10, dtype=int), np.r_[burst, [0, 1, 2, 3]])
    found = weighted_shares(np.r_[kept, [True, False, False, False]], other, 2, both)
    assert_allclose(found.variance, [1 / 9, 1 / 4 * 3 / 4 / 4])


@pytest.mark.parametrize(("bursts", "effect"), [(9, 1.0), (10, 0.1)])
def test_frames_of_a_burst_are_believed_to_fare_apart_from_ten_bursts_on(bursts, effect):
    """One of each pair is kept, so that every burst sums to nought."""
    kept, burst = np.tile([True, False], bursts), np.repeat(np.arange(bursts), 2)
    drawn = Sampled(np.ones(2 * bursts), np.zeros(2 * bursts, dtype=int), burst)
    found = weighted_shares(kept, np.zeros(2 * bursts, dtype=int), 1, drawn)
    assert_allclose(found.variance, effect * 0.25 / (2 * bursts))


def test_the_variance_of_a_draw_by_hand():
    """Two of five frames of one stratum, one of four of another, all three of a third; total 12.

    The first: (1 - 2/5) 2/1 ((2.5 x 0.4)^2 + 1^2 - (1 - 1)^2 / 2) / 144; the second, alone, around nought:
    (1 - 1/4) (4 x 0.5)^2 / 144; of the third nothing was left to chance.
    """
    drawn = Sampled(np.array([2.5, 2.5, 4, 1, 1, 1]), np.array([0, 0, 1, 2, 2, 2]), np.arange(6))
    residual = np.array([0.4, -0.4, 0.5, 0.3, -0.2, 0.1])
    found = ratio_variance(residual, np.array([12.0]), np.zeros(6, dtype=int), drawn)
    assert_allclose(found, (0.6 * 2 * 2 + 0.75 * 4) / 144)
    first = ratio_variance(residual, np.array([12.0, 6.0]), np.array([0, 1, 1, -1, -1, -1]), drawn)
    # in a domain that holds one frame of a stratum's two the other counts as nought
    assert_allclose(first, [0.6 * 2 * (1 - 1 / 2) / 144, (0.6 * 2 * (1 - 1 / 2) + 0.75 * 4) / 36])
    assert ratio_variance(np.zeros(0), np.ones(1), np.zeros(0, dtype=int), NOBODY).tolist() == [0]


NOBODY = Sampled(np.zeros(0), np.zeros(0, dtype=int), np.zeros(0, dtype=int))


def test_where_nothing_was_sampled_every_domain_is_unknown():
    found = weighted_shares(np.zeros(0, dtype=bool), np.zeros(0, dtype=int), 2, NOBODY)
    assert np.isnan([*found.rate, *found.low, *found.high]).all()
    assert found.stands_for.tolist() == [0, 0]


def test_the_interval_of_a_ratio_of_drawn_frames_by_hand():
    """Of 40 keepers 20 were drawn, of 160 others 20; each stands for 2 or 8 frames.

    Inside are 12 keepers and 8 others, so 24 of 88 are kept there and 16 of 112 outside.
    """
    kept, inside = np.repeat([True, False], 20), np.r_[np.arange(20) < 12, np.arange(20) < 8]
    weight = np.where(kept, 2.0, 8.0)
    rate = np.where(inside, 24 / 88, 16 / 112)
    share = np.where(inside, 1, -1) * (kept - rate) / np.where(inside, 24, 16)
    draw = sum(
        (1 - 20 / size) * 20 * np.var(weight[one] * share[one], ddof=1)
        for one, size in ((kept, 40), (~kept, 160))
    )
    half = 1.959964 * np.sqrt(draw + weight @ share**2)
    times = 24 / 88 / (16 / 112)
    drawn = Sampled(weight, (~kept).astype(int), np.arange(40))
    found = share_ratio(kept, inside, ~inside, drawn)
    assert_allclose(found, [times, times * np.exp(-half), times * np.exp(half)], rtol=1e-6)
    pairs = Sampled(weight, (~kept).astype(int), np.arange(40) // 2)
    # pairs fare alike by 20/19 of what their sums vary more than the frames
    effect = 20 / 19 * ((weight * share).reshape(-1, 2).sum(axis=1) ** 2).sum() / (weight**2 @ share**2)
    assert effect > 1
    half = 1.959964 * np.sqrt(draw + effect * (weight @ share**2))
    found = share_ratio(kept, inside, ~inside, pairs)
    assert_allclose(found, [times, times * np.exp(-half), times * np.exp(half)], rtol=1e-6)


@pytest.mark.parametrize(
    ("kept", "inside", "times"),
    [([0, 1], [1, 0], 0.0), ([1, 0], [1, 0], np.nan), ([0, 0], [1, 0], np.nan), ([1, 0], [1, 1], np.nan),
     ([1, 0], [0, 0], np.nan)],
)  # fmt: skip
def test_a_ratio_to_nothing_is_unknown_and_that_of_nothing_is_nought(kept, inside, times):
    inside = np.array(inside, dtype=bool)
    drawn = Sampled(np.ones(2), np.zeros(2, dtype=int), np.arange(2))
    assert_allclose(share_ratio(kept, inside, ~inside, drawn), [times, np.nan, np.nan])


def test_everything_kept_counts_as_many_frames_as_the_weights_are_worth():
    drawn = Sampled(np.array([1.0] * 5 + [20.0] * 5), np.repeat([0, 1], 5), np.arange(10))
    found = weighted_shares(np.ones(10, dtype=bool), np.zeros(10, dtype=int), 1, drawn)
    number = 105**2 / (5 + 5 * 400)
    assert_allclose([found.low[0], found.high[0]], wilson(number, number))
