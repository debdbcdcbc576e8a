"""What was usual before a walk: against the same law summed without the package, and at its edges."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import expit
from scipy.stats import binom, norm
from scipy.stats import t as student

from auditor.evidence.usual import usual_counts, usual_shares


def further_walk(hits, of, presses):
    """Chance of at most 0, 1, ... hits: even levels, log spreads around log 0.7, normal luck."""
    middle = np.log((sum(hits) + 0.5) / (sum(of) - sum(hits) + 0.5))
    levels = np.linspace(middle - 3, middle + 3, 61)[:, None, None]
    spreads = np.exp(np.log(0.5) + 0.5 * np.linspace(-3, 3, 13))[:, None]
    luck = np.linspace(-5, 5, 31)
    chance = expit(levels + spreads * luck)
    density = norm.pdf(luck) / norm.pdf(luck).sum()
    weight = norm.pdf(np.log(spreads), np.log(0.7), 0.5)[:, 0] * np.ones((61, 1))
    for y, n in zip(hits[:-1], of[:-1], strict=True):
        weight = weight * (binom.pmf(y, n, chance) @ density)
    weight = weight / weight.sum()
    return np.cumsum([(weight * (binom.pmf(k, presses, chance) @ density)).sum() for k in range(presses + 1)])


@pytest.mark.parametrize(
    ("hits", "of"),
    [
        ([6, 2, 9, 4, 7], [30, 30, 40, 20, 25]),
        ([0, 0, 0, 0, 0], [20, 25, 20, 30, 15]),
        ([20, 25, 20, 30, 15], [20, 25, 20, 30, 15]),
        ([1, 14, 3, 11, 5], [20, 20, 20, 20, 18]),
    ],
)
def test_the_band_leaves_a_twentieth_of_further_walks_at_either_end(hits, of):
    cdf = further_walk(hits, of, of[-1])
    last = usual_shares(hits, of).iloc[-1]
    assert round(last["low"] * of[-1]) == np.argmax(cdf > 0.05)
    assert round(last["high"] * of[-1]) == np.argmax(cdf >= 0.95)


def test_a_walk_at_the_end_of_its_band_is_usual_and_one_beyond_is_not():
    before, of = [8, 12, 10, 9, 11], [30] * 6
    band = usual_shares([*before, 10], of).iloc[-1]
    low, high = round(30 * band["low"]), round(30 * band["high"])
    assert 0 < low < high < 30
    said = {own: usual_shares([*before, own], of).place.iloc[-1] for own in (low - 1, low, high, high + 1)}
    assert list(said.values()) == ["less", "usual", "usual", "more"]
    share = np.full(6, 0.3)
    for own, place in ((low / 30, "usual"), (low / 30 - 0.01, "less"), (high / 30 + 0.01, "more")):
        share[-1] = own
        assert usual_shares([*before, 10], of, share=share).place.iloc[-1] == place


def test_a_walk_of_none_tells_nothing_and_has_no_place():
    found = usual_shares([5, 6, 0, 4, 5, 6], [20, 20, 0, 20, 20, 20])
    assert found.place.tolist() == ["no_usual", "no_usual", "", "no_usual", "no_usual", "usual"]
    assert_allclose(found.low.iloc[-1], usual_shares([5, 6, 4, 5, 6], [20] * 5).low.iloc[-1])
    few = usual_shares([5, 0, 4, 5, 6], [20, 0, 20, 20, 20])
    assert few.place.tolist() == ["no_usual", "", "no_usual", "no_usual", "no_usual"]
    counts = usual_counts([50, 70, 0, 60, 90, 200])
    assert counts.place.tolist() == ["no_usual", "no_usual", "", "no_usual", "no_usual", "more"]
    assert_allclose(counts.high.iloc[-1], usual_counts([50, 70, 60, 90, 200]).high.iloc[-1])


def test_only_the_newest_walks_are_placed_where_so_few_are_asked_for():
    hits, of = [5, 6, 4, 5, 6, 7, 5], [20] * 7
    assert usual_shares(hits, of, 2).low.notna().tolist() == [False] * 5 + [True] * 2
    assert_allclose(usual_shares(hits, of, 2).high.iloc[5:], usual_shares(hits, of).high.iloc[5:])


def test_presses_of_a_further_walk_by_students_t_to_either_side():
    before = np.log([50.0, 70, 60, 90, 55])
    half = student.ppf(0.95, 4) * before.std(ddof=1) * np.sqrt(1 + 1 / 5)
    last = usual_counts([50, 70, 60, 90, 55, 20]).iloc[-1]
    assert_allclose([last.low, last.high], np.exp([before.mean() - half, before.mean() + half]))
    assert last.place == "less"
    low, high = (round(end) for end in np.exp([before.mean() - half, before.mean() + half]))
    for own, place in ((low - 1, "less"), (low, "usual"), (high, "usual"), (high + 1, "more")):
        assert usual_counts([50, 70, 60, 90, 55, own]).place.iloc[-1] == place
