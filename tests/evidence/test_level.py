"""Level, spread between sessions and the next walk, against a published example and statsmodels."""

import numpy as np
import pytest
from scipy.special import expit, logsumexp

from auditor.evidence.level import SPREADS, fit_level, log_likelihood

# Operations and deaths in twelve hospitals, with the random-effects fit printed beside them (Spiegelhalter,
# Thomas, Best & Gilks, BUGS Examples Volume 1, "Surgical: institutional ranking"; numbers from memory).
OPERATIONS = [47, 148, 119, 810, 211, 196, 148, 215, 207, 97, 256, 360]
DEATHS = [0, 18, 8, 46, 8, 13, 9, 31, 14, 8, 29, 24]
PRINTED_MU, PRINTED_MU_SD, PRINTED_SIGMA, PRINTED_MEAN = -2.56, 0.15, 0.40, 0.073


def test_the_likelihood_gives_the_published_random_effects():
    levels, spreads = np.linspace(-3.5, -1.5, 161), np.linspace(0.02, 1.6, 80)
    likelihood = log_likelihood(DEATHS, OPERATIONS, levels, spreads)
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
    likelihood = log_likelihood(hits, np.full(sessions, presses), levels, spreads)
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


def test_the_interval_over_sessions_by_hand():
    """Cochran (1977), 6.3: a ratio of sums over four sessions, t with three degrees of freedom, as logits."""
    from scipy.stats import t

    hits, presses = np.array([3, 5, 2, 8]), np.array([50, 60, 40, 70])
    rate = 18 / 220
    variance = 4 / 3 * ((hits - rate * presses) ** 2).sum() / 220**2
    half = t.ppf(0.975, 3) * np.sqrt(max(variance, rate * (1 - rate) / 220)) / (rate * (1 - rate))
    found = fit_level(hits, presses, 0.95)
    middle = np.log(rate / (1 - rate))
    assert found.low == pytest.approx(1 / (1 + np.exp(half - middle)))
    assert found.high == pytest.approx(1 / (1 + np.exp(-half - middle)))
