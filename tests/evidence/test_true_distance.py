"""Guessed distances pulled toward those met, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.evidence.true_distance import likely_log_distance


def test_a_guess_is_pulled_by_how_much_the_distances_met_differ():
    """Carroll, Ruppert, Stefanski & Crainiceanu (2006), ch. 4, with two presets of four presses each.

    The first preset meets log distances of 0, 1, 1, 2, the second always 1: the mean is 1 in both. Errors of
    0.2 leave a pooled variance of 2/8 - 0.04 = 0.21, to which each preset's own is drawn as by 20 presses.
    """
    guess = np.array([0.0, 1, 1, 2, 1, 1, 1, 1])
    group = np.repeat([0, 1], 4)
    mean, sd = likely_log_distance(guess, np.full(8, 0.2), np.ones(8), group)
    pooled = 2 / 8 - 0.04
    variance = [(2 - 0.16 + 20 * pooled) / 24, (0 - 0.16 + 20 * pooled) / 24]
    trust = np.array([v / (v + 0.04) for v in variance])
    assert mean == pytest.approx(1 + trust[group] * (guess - 1))
    assert sd == pytest.approx(0.2 * np.sqrt(trust[group]))


def test_the_mean_of_a_preset_is_drawn_to_that_of_all_as_by_two_presses():
    """Log distances 0, 0, 0 and 2, 0.5 over all: means of (0 + 2 * 0.5) / 5 and (2 + 2 * 0.5) / 3."""
    mean, sd = likely_log_distance(
        np.array([0.0, 0, 0, 2]), np.full(4, 0.5), np.ones(4), np.array([0, 0, 0, 1])
    )
    squares, presses = np.array([3 * 0.2**2, 1.0]), np.array([3, 1])  # around 0.2 and 1
    pooled = (squares.sum() - 4 * 0.25) / 4
    variance = (squares - presses * 0.25 + 20 * pooled) / (presses + 20)
    trust = np.maximum(variance / (variance + 0.25), 0.1)
    assert mean == pytest.approx(np.array([0.2 * (1 - trust[0])] * 3 + [1 + trust[1]]))
    assert sd == pytest.approx(0.5 * np.sqrt(trust[[0, 0, 0, 1]]))


def test_what_is_measured_or_far_stays_as_it_is():
    guess = np.log([1.0, 4.0, 60.0, 2.0])
    mean, sd = likely_log_distance(guess, np.array([0.0, 0.2, 0.2, 0.2]), np.ones(4), np.zeros(4, int))
    assert mean[[0, 2]] == pytest.approx(guess[[0, 2]])
    assert sd[[0, 2]].tolist() == [0, 0]
    assert abs(mean[1] - guess[[0, 1, 3]].mean()) < abs(guess[1] - guess[[0, 1, 3]].mean())
    alone, none = likely_log_distance(np.log([60.0]), np.array([0.2]), np.ones(1), np.zeros(1, int))
    assert (alone.tolist(), none.tolist()) == (np.log([60.0]).tolist(), [0])
    # where the errors explain all that the distances differ by, and more
    mean, sd = likely_log_distance(np.log([1.0, 1.1]), np.array([0.0, 1.0]), np.ones(2), np.zeros(2, int))
    assert (mean[0], sd[0]) == (0, 0)
    assert sd[1] == pytest.approx(np.sqrt(0.1)), "a tenth of a guess is always believed"
