"""Presets compared within sessions and light."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from auditor.evidence.bursts import count_frames
from auditor.evidence.comparisons import claim_level, compare_presets, scene_ev
from auditor.evidence.mantel_haenszel import difference_by_runs, stratified_difference
from auditor.evidence.proportions import wilson
from auditor.settings import Settings

BENCH = Path(__file__).parents[1] / "bench"


@pytest.fixture(scope="module")
def bench():
    sys.path.insert(0, str(BENCH))
    try:
        import bench_evidence_comparisons

        yield bench_evidence_comparisons
    finally:
        sys.path.remove(str(BENCH))


def two_presets(frame_table, hits_a, n_a, hits_b, n_b, session_a=0, session_b=0, **columns):
    kept = [1] * hits_a + [0] * (n_a - hits_a) + [1] * hits_b + [0] * (n_b - hits_b)
    return frame_table(
        kept,
        preset=["a"] * n_a + ["b"] * n_b,
        session=[session_a] * n_a + [session_b] * n_b,
        lens="one lens",
        **columns,
    )


def in_turns(frame_table, rate_a, rate_b, runs, bursts=10, **columns):
    """Presets a and b by turns, each run with the same share of hits in tenths."""
    one = {"a": [1] * rate_a + [0] * (bursts - rate_a), "b": [1] * rate_b + [0] * (bursts - rate_b)}
    preset = list("ab") * runs
    kept = [hit for name in preset for hit in one[name]]
    return frame_table(kept, preset=np.repeat(preset, bursts), session=0, lens="one lens", **columns)


def test_one_setting_under_two_names_is_not_compared_with_itself(frame_table):
    setting = {"focal_length_mm": 28.0, "f_number": 8.0, "focus_distance_m": 2.5}
    pair = compare_presets(count_frames(in_turns(frame_table, 6, 3, 10, **setting)), Settings()).iloc[0]
    assert pair["status"] == "same_setting"
    assert not isinstance(pair["better"], str)
    other = in_turns(frame_table, 6, 3, 10, **setting)
    other["f_number"] = other["f_number"].mask(other["preset"] == "b", 5.6)
    assert compare_presets(count_frames(other), Settings()).loc[0, "better"] == "a"


def test_presets_used_in_one_go_each_are_not_ranked(frame_table):
    """Nothing tells the preset from the place where it was used, however many bursts there are."""
    pair = compare_presets(count_frames(two_presets(frame_table, 60, 100, 30, 100)), Settings()).iloc[0]
    assert np.isnan(pair["p_value"])
    assert not isinstance(pair["better"], str)


def test_runs_that_differ_among_themselves_widen_the_difference(frame_table):
    """Rates of 60 and 30 % over ten runs each; where runs scatter as much as presets, nothing is claimed."""
    rng = np.random.default_rng(8)
    steady = compare_presets(count_frames(in_turns(frame_table, 6, 3, 10)), Settings()).iloc[0]
    assert steady["better"] == "a"
    kept = []
    for run in range(20):
        share = (0.45 + 0.15 * (-1) ** run) + (0.4 if run % 4 < 2 else -0.3)
        kept += list(rng.random(10) < share)
    scattered = frame_table(
        np.array(kept, dtype=int), preset=np.repeat(list("ab") * 10, 10), session=0, lens="one lens"
    )
    pair = compare_presets(count_frames(scattered), Settings()).iloc[0]
    assert pair["high"] - pair["low"] > 1.3 * (steady["high"] - steady["low"])
    assert_allclose(pair["high"] - pair["difference"], pair["difference"] - pair["low"], rtol=1e-9)


def test_the_level_of_claims_is_never_looser_than_5_percent(frame_table):
    table = in_turns(frame_table, 4, 3, 4)
    low = compare_presets(count_frames(table), Settings().changed(confidence=0.5))
    assert claim_level(Settings().changed(confidence=0.5)) == 0.05
    assert not isinstance(low.loc[0, "better"], str)
    assert claim_level(Settings().changed(confidence=0.99)) == pytest.approx(0.01)


def test_difference_by_runs_against_weighted_least_squares():
    """statsmodels' WLS with a level for each outing and clustered (HC1) variance."""
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    outing = np.repeat([0, 1, 2], [6, 4, 8])
    is_a = np.arange(18) % 2 == 0
    n = rng.integers(4, 30, 18)
    hits = rng.binomial(n, 0.3 + 0.1 * is_a + 0.05 * outing)
    ours = difference_by_runs(hits, n, is_a, outing)
    design = np.column_stack([is_a, *(outing == o for o in range(3))]).astype(float)
    theirs = sm.WLS(hits / n, design, weights=n).fit(cov_type="HC1", use_t=True)
    assert_allclose(ours.difference, theirs.params[0], rtol=1e-10)
    assert_allclose(ours.p_value, theirs.pvalues[0], rtol=1e-8)
    assert_allclose([ours.low, ours.high], theirs.conf_int()[0], rtol=1e-8)
    lone = np.r_[outing, 3], np.r_[is_a, True], np.r_[n, 9], np.r_[hits, 9]
    assert difference_by_runs(lone[3], lone[2], lone[1], lone[0]) == ours  # an outing without b says nothing
    assert np.isnan(difference_by_runs([5, 2], [10, 10], [True, False], [0, 0]).p_value)
    assert difference_by_runs([5, 2, 5, 2], [10] * 4, [True, False] * 2, [0] * 4).p_value < 1e-9


def test_one_session_by_hand(frame_table):
    pair = compare_presets(count_frames(in_turns(frame_table, 6, 3, 10)), Settings()).iloc[0]
    expected = stratified_difference([60], [100], [30], [100])
    assert_allclose(pair["difference"], 0.3, rtol=1e-12)
    assert_allclose([pair["low"], pair["high"], pair["p_value"]],
                    [expected.low, expected.high, expected.p_value], rtol=1e-9)  # fmt: skip
    assert pair["better"] == "a"
    assert pair["status"] == "compared"


def test_different_outings_are_not_ranked(frame_table):
    table = two_presets(frame_table, 90, 100, 10, 100, session_b=1)
    pair = compare_presets(count_frames(table), Settings()).iloc[0]
    assert pair["status"] == "different_outings"
    assert not isinstance(pair["better"], str)
    assert np.isnan(pair["difference"])


def test_different_light_is_not_ranked(frame_table):
    light = np.repeat([1 / 1000, 1 / 60], 100)
    table = two_presets(frame_table, 90, 100, 10, 100, exposure_time_s=light, f_number=8.0, iso=400.0)
    assert compare_presets(count_frames(table), Settings()).loc[0, "status"] == "different_light"


def test_other_lenses_are_not_compared(frame_table):
    table = two_presets(frame_table, 90, 100, 10, 100).assign(lens=["x"] * 100 + ["y"] * 100)
    assert compare_presets(count_frames(table), Settings()).empty


def test_simpson(frame_table):
    """Each outing favours a; all bursts together favour b."""
    kept, preset, session = [], [], []
    for outing, (hits_a, n_a, hits_b, n_b) in enumerate([(9, 90, 0, 10), (10, 10, 70, 90)]):
        kept += [1] * hits_a + [0] * (n_a - hits_a) + [1] * hits_b + [0] * (n_b - hits_b)
        preset += ["a"] * n_a + ["b"] * n_b
        session += [outing] * (n_a + n_b)
    pair = compare_presets(
        count_frames(frame_table(kept, preset=preset, session=session, lens="x")), Settings()
    ).iloc[0]
    assert pair["rate_a"] < pair["rate_b"]
    assert pair["difference"] > 0


# Sun, f/16 at 1/ISO: EV 14.64 at 1/100 s and ISO 100 (US Navy, NAVEDTRA 14209, p. 4-21).
def test_light_published(frame_table):
    table = frame_table([1, 1], f_number=16.0, exposure_time_s=[0.01, 0.0025], iso=[100.0, 400.0])
    assert_allclose(scene_ev(table), [14.64, 14.64], atol=0.005)


def test_bursts_count_once(frame_table):
    table = two_presets(frame_table, 60, 100, 30, 100, burst=np.repeat(np.arange(40), 5))
    pair = compare_presets(count_frames(table), Settings()).iloc[0]
    assert (pair["bursts_a"], pair["bursts_b"]) == (20, 20)


def test_the_bursts_that_are_still_needed_by_hand(frame_table):
    """Rates of 0.4 and 0.3, level 0.05, power 0.8: Fleiss (1981), eq. 3.14, asks for 356 of each.

    (1.95996 sqrt(2 x 0.35 x 0.65) + 0.84162 sqrt(0.4 x 0.6 + 0.3 x 0.7))^2 / 0.1^2 = 355.94; there are 60 of
    each, and where every other run of b is left out, 60 and 30, which tell as much as 40 of each.
    """
    even = in_turns(frame_table, 4, 3, 6)
    assert compare_presets(count_frames(even), Settings()).loc[0, "more_bursts"] == 296
    run = np.repeat(np.arange(12), 10)
    fewer = even[~np.isin(run, [1, 5, 9])].reset_index(drop=True)
    # 60 bursts of 0.4 and 30 of 0.3 have a common rate of 11/30: 363.36 of each, of which 40 are there
    assert compare_presets(count_frames(fewer), Settings()).loc[0, "more_bursts"] == 324
    clear = compare_presets(count_frames(in_turns(frame_table, 9, 1, 6)), Settings())
    assert clear.loc[0, "more_bursts"] == 0
    alike = compare_presets(count_frames(in_turns(frame_table, 3, 3, 6)), Settings())
    assert alike["more_bursts"].isna().all(), "no number shows a difference that is not there"


def test_more_bursts_are_enough(bench):
    shown, bursts = bench.power_reached(3000, seed=1)
    assert bursts > 1000
    low, high = wilson(shown, 3000)
    assert low < 0.81
    assert high > 0.78


@pytest.mark.slow
@pytest.mark.parametrize("tie", ["tied to outings", "tied to light"])
def test_false_claims_are_rare_where_a_plain_comparison_errs(bench, tie):
    ours, plain = bench.false_claims(tie, 25, seed=3)
    assert ours <= 4
    assert plain >= 10


def three_in_turns(frame_table, rates, runs=8, bursts=10):
    """Presets a, b and c by turns, each run with the same share of hits in tenths."""
    kept = [hit for _ in range(runs) for rate in rates for hit in [1] * rate + [0] * (bursts - rate)]
    preset = np.tile(np.repeat(list("abc"), bursts), runs)
    return frame_table(kept, preset=preset, session=0, lens="one lens")


def test_of_three_pairs_each_must_show_at_a_third_of_the_level(frame_table):
    """Rates of 0.5, 0.4 and 0.3, eighty of each: Fleiss (1981), eq. 3.14, at a level of 0.05 / 3."""
    pairs = compare_presets(count_frames(three_in_turns(frame_table, (5, 4, 3))), Settings())
    z = norm.ppf(1 - 0.05 / 6), norm.ppf(0.8)
    wanted = []
    for a, b in ((0.5, 0.4), (0.5, 0.3), (0.4, 0.3)):
        middle = (a + b) / 2
        root = z[0] * np.sqrt(2 * middle * (1 - middle)) + z[1] * np.sqrt(a * (1 - a) + b * (1 - b))
        wanted.append(int(np.ceil((root / (a - b)) ** 2 - 80)))
    assert pairs["more_bursts"].tolist() == wanted


def test_the_better_one_may_be_the_first_or_the_second(frame_table):
    pairs = compare_presets(count_frames(three_in_turns(frame_table, (2, 8, 8))), Settings())
    found = {(row.preset_a, row.preset_b): row.better for row in pairs.itertuples()}
    assert (found["a", "b"], found["a", "c"]) == ("b", "c")
    assert not isinstance(found["b", "c"], str)
    assert pairs["difference"].tolist() == pytest.approx([-0.6, -0.6, 0])


def test_a_gain_just_worth_it_is_told_and_one_of_nothing_is_not(frame_table):
    """Rates of 3/4 and 1/4: a gap of as much as their mean."""
    even = in_turns(frame_table, 6, 2, 4, bursts=8)
    worth = [
        compare_presets(count_frames(even), Settings().changed(worth=w)).loc[0, "more_bursts"]
        for w in (1.0, 1.01)
    ]
    assert worth == [0, pd.NA]
    none = compare_presets(count_frames(in_turns(frame_table, 0, 0, 4)), Settings())
    assert none["more_bursts"].isna().all()
    assert not isinstance(none.loc[0, "better"], str)


def test_five_bursts_of_each_are_tested_and_four_are_not(frame_table):
    preset = list("aababbabab")
    table = frame_table([1, 1, 0, 1, 0, 0, 1, 0, 1, 1], preset=preset, session=0, lens="one lens")
    five = compare_presets(count_frames(table), Settings()).loc[0]
    assert (five["shared_a"], five["shared_b"]) == (5, 5)
    assert 0 < five["p_value"] < 1
    assert np.isnan(compare_presets(count_frames(table.head(9)), Settings()).loc[0, "p_value"])


def test_the_interval_of_a_difference_ends_at_one(frame_table):
    pair = compare_presets(count_frames(in_turns(frame_table, 10, 1, 2)), Settings()).loc[0]
    assert -1 <= pair["low"] < pair["difference"] < pair["high"] <= 1
    odd = frame_table(
        [1] * 5 + [0] * 5 + [1] * 4 + [0] + [0] * 5, preset=np.repeat(list("abab"), 5), session=0, lens="x"
    )
    pair = compare_presets(count_frames(odd), Settings()).loc[0]
    assert (pair["difference"], pair["high"]) == (pytest.approx(0.9), 1)
    swapped = odd.assign(preset=odd["preset"].map({"a": "b", "b": "a"}))
    assert compare_presets(count_frames(swapped), Settings()).loc[0, "low"] == -1


def test_frames_count_beside_bursts_and_must_agree(frame_table):
    """Of a every burst holds one keeper among four frames, of b half hold four: more bursts, fewer frames."""
    kept = {"a": [1, 0, 0, 0], "b": [1, 1, 1, 1], "none": [0, 0, 0, 0]}
    bursts = [["a", "b" if turn % 2 else "none"] for turn in range(80)]
    marks = [mark for pair in bursts for name in pair for mark in kept[name]]
    preset = np.tile(np.repeat(["a", "b"], 4), 80)
    table = frame_table(marks, burst=np.repeat(np.arange(160), 4), preset=preset, session=0, lens="one lens")
    pair = compare_presets(count_frames(table), Settings()).loc[0]
    assert (pair["rate_a"], pair["rate_b"]) == (1.0, 0.5)
    assert pair["difference"] == pytest.approx(0.5)
    assert pair["frame_difference"] == pytest.approx(-0.25)
    assert pair["p_value"] < 0.001
    assert not isinstance(pair["better"], str)
