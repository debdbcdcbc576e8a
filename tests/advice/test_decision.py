"""The rule in its order, and what stands beside it: ring, gate, presses that follow the ring."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit
from scipy.stats import binom
from worlds.people import World, draw_archive

from auditor.advice import gate
from auditor.advice.at_another_stop import light_answers
from auditor.advice.decide import _worth_of_walk, decide
from auditor.advice.decision import alike, chance_of_any_gain, decide_by_rule
from auditor.advice.gate import _holm, _two_sided, check_gate, presses_follow_ring
from auditor.advice.lens_decision import WalkWorth
from auditor.advice.next_walk import _name, plan_walk
from auditor.advice.paired import Paired, Setting, chance_above, compare_settings, sharp_as_taken
from auditor.advice.ring_settings import settings_on_ring
from auditor.evidence.blur_tolerance import DRAWS, LAPSE, fit_tolerances
from auditor.evidence.level import SPREADS, fit_level, session_counts
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.intake.statements.session import Lens
from auditor.settings import Settings

KNOWN = {
    "subjects": 60, "nothing": 0.1, "gate_closed": False, "verdicts": 0, "rests_on": "optics", "worth": 0.1,
}  # fmt: skip


def paired(shares, now, sd=0.0, tried=None):
    """A comparison with these mean shares; draws differ by a common and an own normal error."""
    rng = np.random.default_rng(0)
    shares = np.asarray(shares, float)
    draws = np.clip(shares[:, None] + sd * rng.standard_normal((len(shares), 400)), 0.01, 1)
    at_now = np.clip(now + sd * rng.standard_normal(400), 0.01, 1)
    low, high = np.quantile(draws, [0.025, 0.975], axis=1)
    return Paired(
        f_number=np.full(len(shares), 8.0), focus_distance_m=2.0 + np.arange(len(shares)),
        share=draws.mean(axis=1), low=low, high=high, now=float(at_now.mean()), now_low=0.0, now_high=1.0,
        gain=draws.mean(axis=1) / at_now.mean(), gain_low=low / now, gain_high=high / now,
        chance_better=chance_above(draws, at_now, 0.0),
        tried=np.ones(len(shares), bool) if tried is None else np.array(tried), subjects=60,
        draws=draws, now_draws=at_now,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("comparison", "known", "kind", "why"),
    [
        (paired([0.9, 0.5], 0.5), {"gate_closed": True}, "cannot_tell", "gate_closed"),
        (paired([0.9, 0.5], 0.5), {"subjects": 19}, "cannot_tell", "few_subjects"),
        (None, {}, "cannot_tell", "few_subjects"),
        (paired([0.9, 0.5], 0.5), {"nothing": 0.75}, "not_focus", "blur_decides_nothing"),
        (paired([0.9, 0.5], 0.5), {}, "change", "surely_better"),
        (paired([0.9, 0.5], 0.5, tried=[False, True]), {}, "keep", "nothing_gains"),
        (paired([0.9, 0.5], 0.5, tried=[False, False]), {}, "cannot_tell", "no_setting"),
        (paired([0.80, 0.79], 0.78), {}, "latitude", "cannot_be_told_apart"),
        (paired([0.80, 0.60], 0.78), {}, "keep", "nothing_gains"),
        (paired([0.57, 0.50], 0.50, sd=0.1), {}, "cannot_tell", "too_uncertain"),
        (paired([0.53, 0.40], 0.50), {}, "keep", "nothing_gains"),
        (paired([0.53, 0.40], 0.50), {"worth": 0.05}, "change", "surely_better"),
    ],
)
def test_the_first_rule_that_holds_decides(comparison, known, kind, why):
    decision = decide_by_rule(comparison, **(KNOWN | known))
    assert (decision.kind, decision.why) == (kind, why)
    assert (decision.setting is not None) == (kind == "change")
    assert (decision.gate == "closed") == known.get("gate_closed", False)


def test_what_knowing_all_would_bring_by_hand():
    """Of two equally likely states the best shares are 0.5 and 0.8, in the mean 0.65: 30 % over 0.5."""
    unsure = paired([0.57, 0.50], 0.50, sd=0.1)
    draws = np.array([[0.5, 0.3], [0.4, 0.8]])
    two = replace(unsure, draws=draws, share=draws.mean(axis=1), now=0.5, now_draws=np.array([0.5, 0.5]))
    decision = decide_by_rule(unsure, **KNOWN)
    assert _worth_of_walk(two, decision, flagged=False) == WalkWorth("compare", pytest.approx(0.3))
    as_good = replace(two, draws=np.full((2, 2), 0.5))
    assert _worth_of_walk(as_good, decision, flagged=False) == WalkWorth("nothing", pytest.approx(0.0))
    assert _worth_of_walk(two, decision, flagged=True).purpose == "anyone"


@pytest.mark.parametrize(
    ("counted", "total", "chance"), [(3, 60, 0.2), (12, 60, 0.2), (25, 60, 0.2), (0, 9, 0.1)]
)
def test_the_gates_p_value_is_the_mid_p_of_the_binomial(counted, total, chance):
    """Lancaster (1961), Biometrika 48:291: half of what equals the count goes to each tail."""
    at = binom.pmf(counted, total, chance) / 2
    tails = binom.cdf(counted - 1, total, chance) + at, binom.sf(counted, total, chance) + at
    assert _two_sided(counted, total, np.array([chance])) == pytest.approx(min(1.0, 2 * min(tails)))


def test_the_latitude_names_what_cannot_be_told_apart_best_first():
    decision = decide_by_rule(paired([0.74, 0.80, 0.79, 0.50], 0.79), **KNOWN)
    assert [s.focus_distance_m for s in decision.latitude] == [3.0, 4.0]


def test_of_settings_as_good_as_the_best_the_one_used_most_is_advised():
    """Rings on 2, 3, 4 and 5 m: 4 m is as good as the best, 5 m is surely better than now and not as good."""
    comparison = paired([0.50, 0.80, 0.79, 0.70], 0.55)
    for used_m, advised_m in ((4.0, 4.0), (4.1, 4.0), (5.0, 3.0), (2.0, 3.0), (7.0, 3.0)):
        decision = decide_by_rule(comparison, **KNOWN, used=Setting(8.0, used_m))
        assert decision.kind == "change"
        assert decision.setting == Setting(8.0, advised_m), used_m
        row = int(advised_m - 2)
        assert decision.gain_ratio == comparison.gain[row], "it promises its own gain"
        assert [one.focus_distance_m for one in decision.latitude] == [3.0, 4.0]
    other_stop = decide_by_rule(comparison, **KNOWN, used=Setting(11.0, 4.0))
    assert other_stop.setting == Setting(8.0, 3.0)
    unsure = replace(comparison, chance_better=np.array([0.0, 1.0, 0.5, 1.0]))
    assert decide_by_rule(unsure, **KNOWN, used=Setting(8.0, 4.0)).setting == Setting(8.0, 3.0)


def test_the_best_that_is_surely_better_is_advised_with_its_own_gain():
    unsure_best = replace(paired([0.9, 0.8, 0.7], 0.5), chance_better=np.array([0.5, 1.0, 1.0]))
    decision = decide_by_rule(unsure_best, **KNOWN)
    assert decision.setting == unsure_best.setting(1)
    assert decision.gain_ratio == unsure_best.gain[1]


def test_what_is_just_enough_is_enough():
    """A chance of nine in ten and a gain of a tenth; a share of 0.76, which is 5 % below 0.8; 20 subjects."""
    just = replace(paired([0.8, 0.76], 0.7), chance_better=np.array([0.9, 0.5]), gain=np.array([1.1, 1.0]))
    just = replace(just, share=np.array([0.8, 0.76]))
    decision = decide_by_rule(just, **(KNOWN | {"subjects": 20}))
    assert (decision.kind, decision.setting, decision.chance_better) == ("change", just.setting(0), 0.9)
    for few in ({"chance_better": np.array([0.89, 0.5])}, {"gain": np.array([1.09, 1.0])}):
        assert decide_by_rule(replace(just, **few), **KNOWN).kind != "change"
    assert [one.focus_distance_m for one in decision.latitude] == [2.0, 3.0]
    alike = replace(just, chance_better=np.zeros(2), now=0.76)
    assert decide_by_rule(alike, **KNOWN).kind == "latitude"
    assert decide_by_rule(replace(alike, now=0.75), **KNOWN).kind != "latitude"
    apart = decide_by_rule(replace(just, share=np.array([0.8, 0.75])), **KNOWN)
    assert [one.focus_distance_m for one in apart.latitude] == [2.0]


def test_shares_as_good_in_the_mean_are_told_apart_where_one_is_mostly_better():
    """Mean shares of 0.40 and 0.39; but in 23 of 25 states it is 0.40 against 0.35."""
    draws = np.where(np.arange(100) < 92, 0.35, 0.9)[None] * [[0.0], [1.0]] + [[0.4], [0.0]]
    mostly = replace(paired([0.4, 0.394], 0.3), draws=draws, share=draws.mean(axis=1))
    assert mostly.share == pytest.approx([0.4, 0.394])
    assert [one.focus_distance_m for one in alike(mostly, np.arange(2), 0)] == [2.0]


@pytest.mark.parametrize(("verdicts", "helps"), [(29, "verdicts"), (30, "distances")])
def test_from_thirty_verdicts_on_more_distances_help_most(verdicts, helps):
    unsure = paired([0.57, 0.50], 0.50, sd=0.1)
    assert decide_by_rule(unsure, **(KNOWN | {"verdicts": verdicts})).would_help_most == helps


def test_the_chance_of_any_gain_is_that_of_the_best_setting_in_each_state():
    """In each of four equally likely states another setting does best; 0.55 over 0.5 is just a tenth."""
    draws = np.full((3, 4), 0.5)
    draws[0, 0] = draws[1, 1] = 0.9
    draws[2, 2] = 0.55
    four = replace(paired([0.5] * 3, 0.5), draws=draws, now_draws=np.full(4, 0.5))
    assert chance_of_any_gain(four, np.arange(3), 0.1) == pytest.approx((1 + 1 + 0.5 + 0) / 4, abs=1e-3)
    assert chance_of_any_gain(four, np.array([0, 2]), 0.1) == pytest.approx((1 + 0 + 0.5 + 0) / 4, abs=1e-3)


def test_the_models_own_discrepancy_stands_on_the_ratio():
    assert chance_above(np.full((1, 9), 0.515), np.full(9, 0.5), 0.0)[0] == pytest.approx(0.84, abs=0.01)


def test_settings_stand_on_the_ring_in_the_unit_in_use_and_within_the_stops_used():
    frames = pd.DataFrame(
        {"f_number": [5.6] * 50 + [8.0] * 50, "focal_length_mm": 35.0, "focus_distance_m": 2.37}
    )
    stops, metres = settings_on_ring(frames, None, Settings())
    assert set(stops) == {5.6, 8.0}
    assert 2.5 in metres
    assert 2.37 not in metres
    _, feet = settings_on_ring(frames, None, Settings(units="ft"))
    assert np.round(np.unique(feet[np.isfinite(feet)]) / 0.3048, 6).tolist() == [
        2, 2.5, 3, 3.5, 4, 5, 7, 10, 15, 30,
    ]  # fmt: skip
    lens = Lens(focal_length_mm=35.0, f_stops=(4.0, 5.6, 6.3, 8.0, 11.0), ring_m=(1.0, 2.2, np.inf))
    stops, ring = settings_on_ring(frames, lens, Settings(f_number_max=11.0))
    assert set(stops) == {5.6, 6.3, 8.0, 11.0}
    assert set(ring) == {1.0, 2.2, np.inf}


def test_engravings_within_four_focal_lengths_are_left_out():
    frames = pd.DataFrame({"f_number": [8.0], "focal_length_mm": [135.0]})
    lens = Lens("lens A", 135.0, ring_m=(0.5, 0.54, 0.55, 1.0, np.inf))
    assert set(settings_on_ring(frames, lens, Settings())[1]) == {0.55, 1.0, np.inf}


def test_where_no_full_stop_was_used_those_used_are_tried(archive):
    number, _ = settings_on_ring(archive(30, f_number=np.tile([6.6, 6.8], 15)), None, Settings())
    assert sorted(set(number)) == [6.6, 6.8]
    few = np.where(np.arange(400) < 2, 1.2, np.tile([6.6, 6.8], 200))
    number, _ = settings_on_ring(archive(400, f_number=few), None, Settings())
    assert sorted(set(number)) == [6.6, 6.8], "two frames of 400 are a slip"
    number, _ = settings_on_ring(
        archive(30, f_number=6.7), None, Settings(f_number_min=6.7, f_number_max=6.9)
    )
    assert sorted(set(number)) == [6.7]


def test_a_stop_as_near_as_stops_are_set_lies_within_those_used(archive):
    """3 % below the smallest and above the largest, and no farther."""
    lens = Lens(focal_length_mm=28.0, f_stops=(9.6, 9.7, 10.3, 10.4))
    number, _ = settings_on_ring(archive(30, f_number=10.0), lens, Settings())
    assert set(number) == {9.7, 10.3}


def test_few_subjects_and_no_frames_are_told_apart():
    archive = draw_archive(1, World(distances=0))
    lens = decide(frames_met(archive.table), (), Settings()).lenses[0]
    assert (lens.decision.kind, lens.decision.why) == ("cannot_tell", "few_subjects")
    assert lens.decision.would_help_most == "distances"
    assert np.isnan(lens.subjects.share_now)
    assert lens.next_walk is not None
    assert decide(frames_met(archive.table.iloc[:0]), (), Settings()).lenses == ()


def test_the_gate_closes_where_counts_clash():
    """One of two presets is said to have been set at half a metre, and kept as well as ever."""
    archive = draw_archive(4, World(frames=1200, distances=300, keep=(0.35, 0.36), presets=2, session_sd=0.0))
    table = archive.table.copy()
    first = table["preset"] == table["preset"].iloc[0]

    tolerance = fit_tolerances(gather_subjects(frames_met(table), Settings()), 1.32)[0]

    def gates(changed):
        subjects = gather_subjects(frames_met(changed), Settings())
        return check_gate(changed, subjects, tolerance, fit_level(*session_counts(changed)), 1.32)

    found = gates(table)
    assert not any(gate.clashes for gate in found)
    both = [gate for gate in found if gate.by == "keepers"]
    assert sum(gate.predicted for gate in both) == pytest.approx(sum(gate.counted for gate in both))
    table.loc[first, "focus_distance_m"] = 0.5
    found = gates(table)
    assert any(gate.clashes for gate in found)
    near = next(gate for gate in found if gate.by == "keepers" and gate.preset == table["preset"].iloc[0])
    assert near.predicted < 0.3 * near.counted, "at half a metre hardly any would be sharp enough"


def test_what_the_gate_predicts_of_keepers_is_the_share_worked_out_here(monkeypatch):
    """Presses of a preset times the floor and what stands above it: without luck, whoever stands near."""
    monkeypatch.setattr(gate, "NEAR_SD", 0.0)
    archive = draw_archive(6, World(frames=1200, distances=500, keep=(0.35, 0.36), presets=2, session_sd=0.0))
    table = archive.table.copy()
    table.loc[table["preset"] == table["preset"].iloc[0], "focus_distance_m"] = 1.2
    subjects = gather_subjects(frames_met(table), Settings())
    tolerance = fit_tolerances(subjects, 1.32)[0]
    tolerance = replace(tolerance, floor=np.full_like(tolerance.floor, 0.3))
    left = sharp_as_taken(subjects, tolerance, 1.32, keep=True)
    clear = left.mean(axis=1) > np.median(left.mean(axis=1))
    subjects = replace(subjects, weight=np.where(clear == subjects.preset, 4.0, 1.0))
    level = fit_level(*session_counts(table))
    no_luck = np.where(SPREADS.min() == SPREADS, 0.0, -np.inf) - np.log(len(level.levels))
    level = replace(level, log_posterior=np.broadcast_to(no_luck, level.log_posterior.shape))
    found = check_gate(table, subjects, tolerance, level, 1.32)
    both = [one for one in found if one.by == "keepers"]
    expected = []
    for one in both:
        own = subjects.preset == subjects.presets.index(one.preset)
        share = subjects.weight[own] @ (0.3 + 0.7 * left[own]) / subjects.weight[own].sum()
        expected.append(one.presses * share)
    total = sum(one.counted for one in both)
    expected = (total * np.array(expected) / np.sum(expected, axis=0)).mean(axis=1)
    assert min(expected) < 0.5 * max(expected)
    assert [one.predicted for one in both] == pytest.approx(expected, rel=0.01)


@pytest.fixture(scope="module")
def all_sharp(archive):
    """Frames at two rings, what was met there, and an eye to which all is sharp enough, without any luck."""
    frames = frames_met(
        archive(60, presets=((8.0, 2.5), (8.0, 3.0)), exposure_time_s=np.nan, counted_as="not kept")
    )
    met = gather_subjects(frames, Settings())
    met = replace(met, log_sd=np.zeros(60), log_m=np.log(np.where(met.preset == 0, 2.0, 2.0 * np.e)))
    eye = fit_tolerances(met, 0.0)[0]
    eye = replace(
        eye, log_sharp=np.full(DRAWS, 9.0), log_keep=np.full(DRAWS, 9.0), kappa=np.full(DRAWS, 60.0)
    )
    return frames, met, eye


def with_spread(level, place):
    """That level with this one of the spreads between walks, for sure."""
    sure = np.where(np.arange(SPREADS.size) == place, 0.0, -np.inf) - np.log(len(level.levels))
    return replace(level, log_posterior=np.broadcast_to(sure, level.log_posterior.shape))


def keepers_at(frames, first, second):
    """The same frames with so many keepers at the first ring, and at the second."""
    kept = np.r_[np.arange(30) < first, np.arange(30) < second]
    return frames.assign(counted_as=np.where(kept, "keeper", "not kept"))


def test_near_subjects_may_interest_more_or_less_than_far_ones(all_sharp):
    """Kept at 2 m and a factor e farther: the shares of keepers are logit-normal with an sd of 0.7."""
    frames, met, eye = all_sharp
    frames = keepers_at(frames, 17, 3)
    level = with_spread(fit_level(*session_counts(frames)), 0)  # of the luck of one walk nothing remains
    found = [one for one in check_gate(frames, met, eye, level, 0.0) if one.by == "keepers"]
    assert [(one.counted, one.presses) for one in found] == [(17, 30), (3, 30)]
    z, weight = np.polynomial.hermite_e.hermegauss(61)
    share = expit(0.7 * z)
    tail = (binom.sf(16, 20, share) + binom.sf(17, 20, share)) / 2 @ weight / weight.sum()
    assert found[0].p_value == pytest.approx(2 * 2 * tail, rel=0.2), "twice for Holm, twice for two sides"
    assert found[0].predicted == pytest.approx(10, abs=1)


def test_a_preset_used_on_many_walks_has_the_mean_of_their_luck(all_sharp):
    """Thirty walks at one ring and one at the other: the mean of lognormal lucks lies above their median."""
    frames, met, eye = all_sharp
    met = replace(met, log_m=np.zeros(60))
    frames = keepers_at(frames, 10, 10).assign(session=np.r_[1:31, np.full(30, 31)])
    level = with_spread(fit_level(*session_counts(frames)), SPREADS.size - 1)
    found = [one for one in check_gate(frames, met, eye, level, 0.0) if one.by == "keepers"]
    luck = np.exp(SPREADS[-1] * np.random.default_rng(5).standard_normal((31, 20_000)))
    many = luck[:30].mean(axis=0)
    expected = 20 * (many / (many + luck[30])).mean()
    assert expected > 15
    assert [one.predicted for one in found] == pytest.approx([expected, 20 - expected], abs=0.6)


@pytest.mark.parametrize(("subjects", "presets"), [(5, 2), (4, 0)])
def test_keepers_are_shared_out_among_presets_of_five_subjects_that_count(all_sharp, subjects, presets):
    frames, met, eye = all_sharp
    frames = keepers_at(frames, 10, 10)
    level = fit_level(*session_counts(frames))
    few = met.chosen(np.arange(60) < 30 + subjects)
    assert len(check_gate(frames, few, eye, level, 0.0)) == presets
    assert check_gate(frames[:30], met, eye, level, 0.0) == ()


@pytest.mark.parametrize(
    ("yes", "of", "p_value", "clashes"),
    [
        (118, 200, 0.0110, False),  # surely not by chance, and yet only 18 % apart
        (125, 200, 0.0004, True),
        (75, 200, 0.0004, True),
        (5, 6, 0.1250, False),  # 67 % apart, and yet by chance; by hand: 2 (6 / 2 + 1) / 64
    ],
)
def test_a_gate_clashes_where_counts_are_far_apart_and_not_by_chance(all_sharp, yes, of, p_value, clashes):
    """Every other subject was certainly blurred: a lapse aside half should be judged sharp."""
    frames, met, eye = all_sharp
    half = met.chosen(np.arange(of) % 30)
    far = np.where(np.arange(of) % 2, np.log(2.5), np.log(50.0))
    half = replace(half, log_m=far, verdict=(np.arange(of) < yes).astype(float))
    strict = replace(eye, log_sharp=np.full(DRAWS, np.log(0.8)))
    (found,) = check_gate(frames[:30], half, strict, fit_level([0], [30]), 0.0)
    assert (found.by, found.counted, found.presses, found.clashes) == ("sharp", yes, of, clashes)
    assert found.predicted == pytest.approx(of / 2, rel=1e-3)
    assert found.p_value == pytest.approx(p_value, abs=6e-4)


def test_of_what_is_certainly_sharp_a_lapse_calls_some_soft(all_sharp):
    """In each preset with at least five verdicts; of other subjects nobody was asked."""
    frames, met, eye = all_sharp
    asked = np.r_[np.arange(30) < 9, np.arange(30) < 5]
    verdict = np.where(asked, np.r_[np.ones(30), np.arange(30) % 2], np.nan)
    level = fit_level([0], [60])

    def found(verdict, eye=eye):
        gates = check_gate(frames, replace(met, verdict=verdict), eye, level, 0.0)
        return [(one.preset, one.counted, one.presses, one.predicted) for one in gates if one.by == "sharp"]

    assert found(verdict) == [
        ("preset 0", 9, 9, pytest.approx(9 * (1 - LAPSE), rel=1e-6)),
        ("preset 1", 2, 5, pytest.approx(5 * (1 - LAPSE), rel=1e-6)),
    ]
    blind = replace(eye, log_sharp=np.full(DRAWS, -9.0))
    assert [one[3] for one in found(verdict, blind)] == pytest.approx([9 * LAPSE, 5 * LAPSE], rel=1e-6)
    verdict[34] = np.nan
    assert [one[0] for one in found(verdict)] == ["preset 0"]
    assert found(np.full(60, np.nan)) == []


@pytest.mark.parametrize("p_values", [[0.04], [0.01, 0.04, 0.03], [0.9, 0.001, 0.5, 0.02]])
def test_several_gates_are_corrected_as_holm_has_it(p_values):
    """Against statsmodels (Holm, Scandinavian Journal of Statistics 6, 1979)."""
    multitest = pytest.importorskip("statsmodels.stats.multitest")
    assert _holm(np.array(p_values)) == pytest.approx(multitest.multipletests(p_values, method="holm")[1])


@pytest.mark.slow
def test_presses_that_follow_the_ring_are_flagged():
    def flagged(presses):
        tables = [draw_archive(seed, World(presses=presses)).table for seed in range(1, 13)]
        return sum(bool(presses_follow_ring(gather_subjects(frames_met(one), Settings()))) for one in tables)

    assert flagged("zone") >= 6
    assert flagged("all") <= 2
    one = gather_subjects(frames_met(draw_archive(1, World(presets=1)).table), Settings())
    assert presses_follow_ring(one) is None


def test_a_ring_takes_part_from_five_presses_on():
    two = gather_subjects(frames_met(draw_archive(1, World(presets=2)).table), Settings())
    two = replace(two, hit=np.zeros(len(two), dtype=bool))
    first, second = (np.flatnonzero(two.preset == code) for code in (0, 1))
    for count, known in ((5, True), (4, False)):
        few = two.chosen(np.concatenate([first[:9], second[:count]]))
        assert (presses_follow_ring(few) is not None) == known, count


@pytest.mark.parametrize(("every", "follow"), [(8, False), (3, True)])
def test_keepers_near_the_ring_say_nothing_of_whom_was_pressed_at_where_they_are_rare(every, follow):
    """Who was kept stood where the ring was; the others stood anywhere, whatever the ring."""
    drawn = gather_subjects(frames_met(draw_archive(1, World(presets=2)).table), Settings())
    hit = np.arange(len(drawn)) % every == 0
    rings = np.log(drawn.focus_distance_m)
    anywhere = np.random.default_rng(0).permutation(np.linspace(rings.min(), rings.max(), len(drawn)))
    stated = np.where(hit, rings, anywhere)
    assert presses_follow_ring(replace(drawn, hit=hit, stated_log_m=stated)) is follow


@pytest.mark.parametrize(("keepers", "follow"), [(8, False), (9, True)])
def test_up_to_a_fifth_of_keepers_is_rare(keepers, follow):
    """Of 40: whoever was kept stood where the ring was, the others all at one distance."""
    drawn = gather_subjects(frames_met(draw_archive(1, World(presets=2)).table), Settings()).chosen(slice(40))
    hit, far = np.arange(40) < keepers, np.arange(40) % 2
    met = replace(drawn, hit=hit, stated_log_m=np.where(hit, far, 0.0), weight=np.ones(40), preset=far,
                  presets=("a", "b"), focus_distance_m=2.0 + far, anyone=np.zeros(40, bool))  # fmt: skip
    assert presses_follow_ring(met) is follow


def test_rings_as_good_as_infinite_are_one():
    two = gather_subjects(frames_met(draw_archive(1, World(presets=2)).table), Settings())
    two = replace(two, hit=np.zeros(len(two), dtype=bool))
    for rings, known in (((5000.0, np.inf), False), ((50.0, np.inf), True)):
        ring = np.where(two.preset == 0, *rings)
        assert (presses_follow_ring(replace(two, focus_distance_m=ring)) is not None) == known


@pytest.mark.slow
def test_distances_that_follow_the_ring_change_nothing_alone():
    lens = decide(frames_met(draw_archive(4, World(presses="zone")).table), (), Settings()).lenses[0]
    assert lens.subjects.presses_follow_ring
    assert "presses_follow_ring" in lens.flags
    assert lens.walk_worth.purpose == "anyone"
    for decision in (lens.decision, *(one.decision for one in lens.situations)):
        if decision.why == "presses_follow_ring":
            assert (decision.kind, decision.would_help_most) == ("cannot_tell", "anyone")


@pytest.mark.slow
def test_a_stretch_pressed_at_anyone_stands_for_passers():
    table = draw_archive(4, World(presses="zone", anyone=60)).table
    lens = decide(frames_met(table), (), Settings()).lenses[0]
    assert lens.subjects.of_passers
    assert lens.subjects.n >= 55
    # As it is now: the habit's settings in their shares for every passer, not what each was met with.
    subjects = gather_subjects(frames_met(table), Settings())
    number, ring = np.array([(setting.f_number, setting.focus_distance_m) for setting, _ in lens.habit]).T
    in_use = compare_settings(
        subjects.chosen(subjects.anyone),
        lens.tolerances,
        number,
        ring,
        light_answers(table, Settings()),
        1.32,
    )
    assert lens.subjects.share_now == pytest.approx(
        np.array([s for _, s in lens.habit]) @ in_use.share, abs=1e-6
    )
    assert "presses_follow_ring" not in lens.flags


@pytest.mark.slow
def test_the_same_table_gives_the_same_decision():
    frames = frames_met(draw_archive(2, World(verdicts=60)).table)
    once, again = (decide(frames, (), Settings()).lenses[0].decision for _ in range(2))
    assert once == again


@pytest.mark.parametrize(
    ("other", "same"),
    [
        ((8.0, 2.5), True),
        ((8.1, 2.55), True),
        ((8.0, 3.0), False),
        ((5.6, 2.5), False),
        ((8.0, np.inf), False),
    ],
)
def test_a_setting_has_a_presets_name_only_where_both_its_numbers_are_its_own(other, same):
    frames = pd.DataFrame(
        {"focal_length_mm": [28.0], "preset": ["arcade"], "f_number": [8.0], "focus_distance_m": [2.5]}
    )
    assert (_name(frames, 28.0, Setting(*other)) == "arcade") == same


@pytest.mark.slow
def test_the_next_walk_adds_up_and_uses_the_names_that_presets_have():
    table = draw_archive(4, World(presses="zone")).table
    lens = decide(frames_met(table), (), Settings()).lenses[0]
    plan = plan_walk(lens, table.assign(preset="corner"), 61)
    assert plan.purpose == "anyone"
    assert {block.pressed for block in plan.blocks} == {"anyone"}
    assert {block.preset for block in plan.blocks} == {"corner"}
    assert sum(block.presses for block in plan.blocks) == plan.presses == 61
    unsure = replace(lens, walk_worth=WalkWorth("compare", 0.12))
    first, second, third, fourth = plan_walk(unsure, table).blocks
    assert first.setting == fourth.setting == lens.habit[0][0]
    assert second.setting == third.setting != first.setting
    assert first.preset in set(table["preset"])
    assert plan_walk(replace(lens, walk_worth=WalkWorth("nothing", 0.0)), table) is None


@pytest.mark.slow
def test_optics_speak_without_any_mark():
    """Distances alone: the same subjects, the same shares as with marks, and nothing is said of keepers."""
    table = draw_archive(3, World(frames=600, distances=200)).table
    marked = decide(frames_met(table), [], Settings()).lenses[0]
    unmarked = decide(frames_met(table.assign(counted_as="left out", keeper=None)), [], Settings()).lenses[0]
    used = table["preset"].value_counts().index.tolist()
    assert [one.preset for one in marked.situations if one.preset is not None] == used
    lights = [one for one in marked.situations if one.light is not None]
    assert len(lights) > 1
    assert sum(one.subjects.n for one in lights) <= marked.measured
    assert unmarked.subjects.n >= marked.subjects.n
    assert unmarked.subjects.share_now == pytest.approx(marked.subjects.share_now, abs=0.12)
    assert unmarked.next_walk is None
    assert unmarked.level.presses == 0
    assert unmarked.decision.gate == "open"
    assert unmarked.decision.rests_on == "optics"
