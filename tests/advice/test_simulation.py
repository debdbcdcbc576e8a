"""The short form of tests/bench/bench_advice.py: the same targets for fewer photographers."""

import pytest

from auditor.evidence.proportions import wilson


@pytest.fixture(scope="module")
def plain(bench):
    return bench.run(bench.one_archive, "plain", 14, 7)


def test_regret_is_small_and_far_below_naive_rules(bench, plain):
    verdicts = bench.judge_archives(plain)
    assert verdicts["mean regret at most 0.015"]
    assert verdicts["90th percentile at most 0.04"]
    assert verdicts["at most half the best naive rule"]


def test_intervals_hold_the_truth_about_as_often_as_they_say(plain):
    # With so few archives only gross errors show: the 95 % limits of the share must meet 90 to 98 %.
    low, high = wilson(plain["holds"].sum(), len(plain))
    assert low <= 0.98
    assert high >= 0.90


@pytest.mark.parametrize("kind", ["plain", "pressing only inside the zone", "presets tied to light"])
def test_hardly_a_change_where_the_setting_is_good_already(bench, kind):
    rows = bench.run(bench.one_good_setting, kind, 4, 9)
    assert rows["change"].sum() <= 1


def test_a_cold_start_is_warm_after_two_rounds(bench):
    rows = bench.run(bench.one_cold_start, "plain", 2, 10)
    assert rows["regret_2"].mean() <= 0.05
