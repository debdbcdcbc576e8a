"""Level, spread between sessions and the next walk, against a published example and statsmodels."""

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import binom

from auditor.evidence.level import SPREADS, fit_level, log_likelihoods, shortest_interval, walk_cdf

# Operations and deaths in twelve hospitals, with the random-effects fit printed beside them (Spiegelhalter,
# Thomas, Best & Gilks, BUGS Examples Volume 1, "Surgical: institutional ranking"; numbers from memory).
OPERATIONS = [47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360]
DEATHS = [0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24]
PRINTED_MU, PRINTED_MU_SD, PRINTED_SIGMA, PRINTED_MEAN = -2.56, 0.15, 0.40, 0.073


def test_the_likelihood_gives_the_published_random_effects():
    levels, spreads = np.linspace(-3.5, -1.5, 161), np.linspace(0.02, 1.6, 80)
    likelihood = log_likelihoods(DEATHS, OPERATIONS, levels, spreads).sum(axis=0)
    posterior = np.exp(likelihood - logsumexp(likelihood))
    mu = posterior.sum(axis=1) @ levels
    sd = np.sqrt(posterior.sum(axis=1) @ (levels - mu) ** 2)
    assert mu == pytest.approx(PRINTED_MU, abs=0.05)
    assert sd == pytest.approx(PRINTED_MU_SD, abs=0.04)
    assert posterior.sum(axis=0) @ spreads == pytest.approx(PRINTED_SIGMA, abs=0.08)
    assert posterior.sum(axis=1) @ expit(levels) == pytest.approx(PRINTED_MEAN, abs=0.004)


@pytest.mark.slow
def test_it_agrees_with_statsmodels_on_simulated_sessions():
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    rng = np.random.default_rng(4)
    sessions, presses, sigma = 60, 40, 0.8
    hits = rng.binomial(presses, expit(-1.2 + sigma * rng.standard_normal(sessions)))
    outcome = np.concatenate([np.repeat([1, 0], [h, presses - h]) for h in hits])
    walk = np.repeat(np.eye(sessions), presses, axis=0)
    model = BinomialBayesMixedGLM(outcome, np.ones((len(outcome), 1)), walk, np.zeros(sessions, int), vcp_p=2)
    theirs = model.fit_vb()
    levels, spreads = np.linspace(-2, -0.4, 81), np.linspace(0.2, 1.6, 71)
    likelihood = log_likelihoods(hits, np.full(sessions, presses), levels, spreads).sum(axis=0)
    level, spread = np.unravel_index(likelihood.argmax(), likelihood.shape)
    assert levels[level] == pytest.approx(theirs.fe_mean[0], abs=0.08)
    assert spreads[spread] == pytest.approx(np.exp(theirs.vcp_mean[0]), abs=0.1)


def test_few_sessions_fall_back_on_the_model_and_none_counted_is_unknown():
    assert fit_level([3, 4], [60, 70]).low < 7 / 130 < fit_level([3, 4], [60, 70]).high
    nothing = fit_level([], [])
    assert np.isnan(nothing.rate)
    assert np.isnan(nothing.low)


def test_sessions_that_differ_widen_interval_and_next_walk():
    even = fit_level([6] * 6, [60] * 6)
    uneven = fit_level([0, 1, 2, 5, 12, 16], [60] * 6)
    assert even.rate == uneven.rate
    assert uneven.high - uneven.low > 2 * (even.high - even.low)
    assert uneven.next_walk().high > even.next_walk().high
    spreads = [np.exp(one.log_posterior).sum(axis=0) @ SPREADS for one in (uneven, even)]
    assert spreads[0] > spreads[1]


def test_the_next_walk_holds_as_often_as_it_says():
    rng = np.random.default_rng(7)
    held = []
    for _ in range(150):
        level, size = rng.uniform(-3.5, -1), rng.integers(20, 80, 6)
        hits = rng.binomial(size, expit(level + 0.7 * rng.standard_normal(6)))
        walk = fit_level(hits, size).next_walk(60, 0.9)
        held.append(walk.low <= rng.binomial(60, expit(level + 0.7 * rng.standard_normal())) <= walk.high)
    assert 0.82 <= np.mean(held) <= 0.97


@pytest.mark.parametrize("hits", [[3, 5, 2, 8], [0, 2, 2, 14]])
def test_the_interval_over_sessions_by_hand(hits):
    """Cochran (1977), 6.3: a ratio of sums over four sessions, t with three degrees of freedom, as logits."""
    from scipy.stats import t

    hits, presses = np.array(hits), np.array([50, 60, 40, 70])
    rate = 18 / 220
    variance = 4 / 3 * ((hits - rate * presses) ** 2).sum() / 220**2
    half = t.ppf(0.975, 3) * np.sqrt(max(variance, rate * (1 - rate) / 220)) / (rate * (1 - rate))
    found = fit_level([*hits, 0], [*presses, 0], 0.95)
    middle = np.log(rate / (1 - rate))
    assert found.sessions == 4, "a session without a press says nothing"
    assert found.low == pytest.approx(1 / (1 + np.exp(half - middle)))
    assert found.high == pytest.approx(1 / (1 + np.exp(-half - middle)))


def test_sessions_that_do_not_differ_have_the_binomial_likelihood():
    levels = np.log([0.3 / 0.7, 0.1 / 0.9])
    found = log_likelihoods([3, 0], [10, 5], levels, np.array([1e-9])).sum(axis=0)[:, 0]
    assert found == pytest.approx([binom.logpmf([3, 0], [10, 5], rate).sum() for rate in (0.3, 0.1)])


def test_the_interval_of_the_model_by_hand():
    """Quantiles of the mean rate over walks, each cell of the grid averaged over its normal luck."""
    luck = np.linspace(-6, 6, 401)
    density = np.exp(-0.5 * luck**2)
    found = fit_level([3, 4], [60, 70], 0.8)
    rate = expit(found.levels[:, None, None] + SPREADS[:, None] * luck) @ density / density.sum()
    order = np.argsort(rate, axis=None)
    total = np.cumsum(np.exp(found.log_posterior).ravel()[order])
    ends = [rate.ravel()[order][np.searchsorted(total, end)] for end in (0.1, 0.9)]
    assert [found.low, found.high] == pytest.approx(ends, rel=0.02)


@pytest.mark.parametrize("sessions", [1, 5])
def test_where_all_or_none_were_kept_the_interval_holds_what_was_seen(sessions):
    none, every = (fit_level([hits] * sessions, [12] * sessions) for hits in (0, 12))
    assert none.low == 0 < none.high < 0.3
    assert 0.3 < every.low < every.high == 1


def test_the_levels_reach_four_standard_deviations_and_more():
    found = fit_level([99], [500])
    assert found.levels[-1] - found.levels[0] == pytest.approx(2 * (4 / 10 + 1.5))


def test_the_next_walk_is_the_shortest_interval():
    walk = fit_level([30] * 6, [60] * 6).next_walk(60)
    assert 10 < walk.low < 25
    assert 35 < walk.high < 50


def test_without_a_press_the_priors_come_back():
    """Level normal around 12 in 100 with 1.5 logits, log spread normal around log 0.5 with 0.5."""
    prior = fit_level([], [])
    level = -0.5 * ((prior.levels - np.log(0.12 / 0.88)) / 1.5) ** 2
    spread = -0.5 * (np.log(SPREADS / 0.5) / 0.5) ** 2
    wanted = level[:, None] + spread
    assert prior.log_posterior == pytest.approx(wanted - logsumexp(wanted))


def test_the_levels_reach_as_far_where_most_were_kept():
    assert np.ptp(fit_level([401], [500]).levels) == pytest.approx(2 * (4 / 10 + 1.5))
    nothing = fit_level([], [])
    assert [nothing.levels[0], nothing.levels[-1]] == pytest.approx([-5.5, 5.5]), (
        "0.5 of 1 and 4 + 1.5 logits"
    )


@pytest.mark.parametrize(("hits", "presses"), [(1, 200), (199, 200)])
def test_what_was_seen_in_one_session_is_within_however_narrow_the_interval(hits, presses):
    """The prior expects 12 of 100, so that half of the posterior lies to one side of what was seen."""
    found = fit_level([hits], [presses], 0.5)
    assert found.low <= found.rate <= found.high
    assert found.rate == hits / presses
    assert 0 < found.low < found.high < 1


def test_the_chances_of_a_further_walk_are_sums_over_level_luck_and_count():
    found = fit_level([3, 4], [60, 70])
    luck = np.linspace(-6, 6, 61)
    density = np.exp(-0.5 * luck**2)
    rate = expit(found.levels[:, None, None] + SPREADS[:, None] * luck)
    weight = np.exp(found.log_posterior)[..., None] * density / density.sum()
    wanted = [(weight * binom.cdf(k, 20, rate)).sum() for k in range(21)]
    assert walk_cdf(found.log_posterior, found.levels, 20) == pytest.approx(wanted, abs=1e-3)


@pytest.mark.parametrize(
    ("chances", "level", "interval"),
    [
        ([1, 2, 3, 1, 1], 5 / 8, (1, 2)),
        ([1, 2, 3, 1, 1], 6 / 8, (0, 2)),  # two of them are as short: the first
        ([1, 2, 3, 1, 1], 7 / 8, (0, 3)),
        ([2, 2, 4], 4 / 8, (2, 2)),
        ([7, 1, 0], 7 / 8, (0, 0)),
        ([0, 1, 7], 7 / 8, (2, 2)),
    ],
)
def test_the_fewest_counts_that_hold_a_level_by_hand(chances, level, interval):
    assert shortest_interval(np.cumsum(chances) / 8, level) == interval
