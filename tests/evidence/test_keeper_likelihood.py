"""Marks of many presses: alike ones put together, and what weighs how much."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import norm

from auditor.evidence.keeper_likelihood import (
    FLOOR_WEIGHTS,
    FLOORS,
    keeper_log_likelihood,
    put_alike_together,
)

LEFT = np.array([[0.9, 0.2], [0.8, 0.5], [0.4, 0.7], [0.1, 0.6]])
HIT = np.array([True, False, False, True])
ODDS, LOG_M = np.array([0.8, 0.3, 0.5, 0.0]), np.array([0.2, 0.9, 1.4, 2.0])
FRAMES = np.array([1.0, 4.0, 2.0, 3.0])


def test_a_row_that_speaks_for_several_presses_counts_as_these():
    count = np.array([1, 3, 2, 4])
    rows = np.repeat(np.arange(4), count)
    together, plain = keeper_log_likelihood(LEFT, HIT, ODDS, LOG_M, FRAMES, count.astype(float))
    one_by_one, same = keeper_log_likelihood(
        LEFT[rows], HIT[rows], ODDS[rows], LOG_M[rows], FRAMES[rows], np.ones(10)
    )
    assert together == pytest.approx(one_by_one, rel=1e-6)
    assert plain == pytest.approx(same, rel=1e-6)


@pytest.mark.parametrize("kept", [1, 199])
def test_hardly_any_and_nearly_all_are_summed_over_levels_that_hold_the_rate(kept):
    """One distance, one frame each: the sum over eleven levels from 1.2 below the rate to 3.6 above, or 4."""
    hit, same = np.arange(200) < kept, np.zeros(200)
    found, _ = keeper_log_likelihood(np.full((200, 1), 0.5), hit, same, same, same + 1, np.ones(200))
    rate = min(kept / 200, 0.9)
    middle = np.log(rate / (1 - rate))
    levels = np.linspace(middle - 1.2, min(middle + 3.6, 4), 11)
    weight = norm.pdf((levels - np.log(0.12 / 0.88)) / 1.5)
    for place, floor in enumerate(FLOORS):
        chance = expit(levels) * (floor + (1 - floor) * 0.5)
        each = kept * np.log(chance) + (200 - kept) * np.log(1 - chance)
        assert found[0, place] == pytest.approx(logsumexp(each, b=weight / weight.sum()), abs=0.01)


def test_floors_are_five_places_of_a_normal_logit():
    at = np.log(FLOORS / (1 - FLOORS))
    assert at == pytest.approx(-1.8 + 1.8 * np.array([-1.8, -0.9, 0, 0.9, 1.8]))
    assert pytest.approx(norm.pdf((at + 1.8) / 1.8) / norm.pdf((at + 1.8) / 1.8).sum()) == FLOOR_WEIGHTS


def test_three_hundred_presses_stay_as_they_are_and_one_more_is_put_with_its_like():
    shares = np.eye(3, dtype=np.float32)[np.arange(301) % 2]
    classes = np.array([0.0, 1.0, 2.0])
    column = np.where(np.arange(301) < 100, 0.0, np.where(np.arange(301) < 200, 0.1, 0.2))
    few, (same,), ones = put_alike_together(shares[:300], classes, column[:300])
    assert np.array_equal(few, shares[:300])
    assert (len(same), ones.tolist()) == (300, [1.0] * 300)
    together, (means,), count = put_alike_together(shares, classes, column)
    # blur of two kinds; of the column 0 and 0.1 are nearest to 0, 0.2 to a quarter
    assert sorted(count.tolist()) == [50, 51, 100, 100]
    assert sorted(means.tolist()) == pytest.approx([0.05, 0.05, 0.2, 0.2])
    assert together.sum(axis=1) == pytest.approx(np.ones(4))
    assert count @ together == pytest.approx([151, 150, 0])
    soft = np.linspace(0.05, 0.13, 301)  # blurs that differ by less than 0.15
    mixed = np.stack([soft, 1 - soft], axis=1).astype(np.float32)
    (one,), _, of_one = put_alike_together(mixed, np.array([0.0, 1.0]), np.zeros(301))
    assert (one.tolist(), of_one.tolist()) == (pytest.approx([0.09, 0.91], abs=1e-4), [301])
