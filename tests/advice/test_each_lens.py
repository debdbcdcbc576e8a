"""From a frame table to the decision for each lens: whose presses it rests on, and what is said beside it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from auditor.advice import decide as module
from auditor.advice import paired as comparisons
from auditor.advice.as_json import advice_json, tuning_json
from auditor.advice.decide import _habit, _Lens, _row_of, _worth_of_walk, decide
from auditor.advice.decision import Decision
from auditor.advice.lens_decision import WalkWorth
from auditor.advice.paired import Paired, Setting, compare_settings
from auditor.advice.ring_settings import settings_on_ring
from auditor.evidence.blur_tolerance import fit_tolerances
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.intake.statements.session import Lens
from auditor.settings import Settings

ONE = ((8.0, 2.5),)
TWO = ((8.0, 2.5), (5.6, 3.0))
UNSTATED = Settings()


@pytest.fixture
def lens_of(archive):
    def make(n=40, lenses=(), settings=UNSTATED, **columns):
        return decide(frames_met(archive(n, **columns)), lenses, settings).lenses[0]

    return make


@pytest.fixture(scope="module")
def part(archive):
    """A lens on its way to a decision, with what it met."""

    def make(n=60, lenses=(), **columns):
        frames = frames_met(archive(n, **columns))
        met = gather_subjects(frames, Settings())
        return _Lens("lens A", frames, met, fit_tolerances(met, 1.32)[0], lenses, Settings(), 0)

    return make


def test_every_lens_has_its_own_decision_the_most_used_first(archive):
    frames = archive(60, lens=["lens A"] * 25 + ["lens B"] * 35, presets=TWO)
    decisions = decide(frames_met(frames), (), Settings())
    assert [(one.lens, one.measured) for one in decisions.lenses] == [("lens B", 35), ("lens A", 25)]
    assert decisions.of(" LENS a ") is decisions.lenses[1]
    assert decisions.of("lens") is None
    assert dict(decisions.lenses[0].habit) == pytest.approx(
        {Setting(5.6, 3.0): 30 / 35, Setting(8.0, 2.5): 5 / 35}
    )


def test_the_habit_counts_presses_and_pools_settings_whatever_they_are_called():
    frames = pd.DataFrame(
        [(1, 1, "arcade", 8.0, 2.5)] * 3
        + [(1, 2, "arcade", 8.0, 2.5), (2, 1, "arcade", 8.0, 2.5), (2, 2, "gate", 8.0, 2.5)]
        + [(2, 2, "wide", 5.6, np.inf)] * 2,
        columns=["session", "burst", "preset", "f_number", "focus_distance_m"],
    )
    assert _habit(frames) == ((Setting(8.0, 2.5), 0.8), (Setting(5.6, np.inf), 0.2))
    assert _habit(frames[:0]) == ()


@pytest.mark.parametrize(("verdicts", "few"), [(29, True), (30, False)])
def test_sharpness_is_what_a_decision_rests_on_from_thirty_verdicts_on(lens_of, verdicts, few):
    lens = lens_of(60, presets=TWO, sharp=(["yes", "no"] * 30)[:verdicts] + [None] * (60 - verdicts))
    assert ("few_verdicts" in lens.flags) == few
    assert (lens.decision.rests_on == "sharp") == (not few)


def test_keepers_are_what_it_rests_on_only_where_they_have_narrowed_the_tolerance(part):
    lens = part()
    for sd, rests_on in ((0.44, "keepers"), (0.46, "optics")):
        lens.tolerances = replace(lens.tolerances, sharp_sd=sd)
        assert lens.rule(None, lens.subjects, False, None).rests_on == rests_on


def test_limits_of_the_light_that_nobody_stated_are_said_to_be_inferred(lens_of):
    assert "limits_inferred" in lens_of().flags
    assert "limits_inferred" not in lens_of(settings=Settings(iso_max=3200)).flags


@pytest.mark.parametrize(("sun", "parts"), [(20, ["sun", "open shade"]), (19, []), (21, [])])
def test_each_light_with_twenty_subjects_is_decided_where_there_are_two_of_them(lens_of, sun, parts):
    """f/8 at 1/500 s: EV 15 at ISO 100, EV 12 at ISO 800."""
    lens = lens_of(40, presets=ONE, iso=[100.0] * sun + [800.0] * (40 - sun), session=[1, 2] * 20)
    assert [one.light for one in lens.situations] == parts
    assert all(one.preset is None and one.subjects.n == 20 for one in lens.situations)


def test_presets_are_decided_each_on_its_own_subjects_the_most_used_first(lens_of):
    lens = lens_of(40, presets=((8.0, 2.5), (5.6, 3.0), (5.6, 3.0)), iso=800.0)
    presets = [one for one in lens.situations if one.light is None]
    assert [one.preset for one in presets] == ["preset 0", "preset 1", "preset 2"]
    assert [one.subjects.n for one in presets] == [14, 13, 13]
    assert [one.decision.why for one in presets] == ["few_subjects"] * 3
    assert lens_of(40, presets=ONE, iso=800.0).situations == ()


@pytest.mark.parametrize(("anyone", "of_passers"), [(20, True), (19, False)])
def test_twenty_distances_pressed_at_anyone_stand_for_passers(archive, anyone, of_passers):
    table = archive(60, presets=TWO, pressed=["zone"] * (60 - anyone) + ["anyone"] * anyone, iso=800.0)
    frames = frames_met(table)
    lens = decide(frames, (), Settings()).lenses[0]
    assert lens.subjects.of_passers == of_passers
    assert (lens.subjects.n, lens.measured) == (anyone if of_passers else 60, 60)
    assert not any(one.subjects.of_passers for one in lens.situations)
    assert {one.subjects.presses_follow_ring for one in lens.situations} != {None}
    if of_passers:  # now is the habit's mixture for every passer, not what each was met with
        assert lens.subjects.presses_follow_ring is None
        met = gather_subjects(frames, Settings())
        number, ring = np.array([(one.f_number, one.focus_distance_m) for one, _ in lens.habit]).T
        shares = [share for _, share in lens.habit]
        answers = module.light_answers(frames, Settings())
        in_use = compare_settings(met.chosen(met.anyone), lens.tolerances, number, ring, answers, 1.32)
        assert lens.subjects.share_now == pytest.approx(np.array(shares) @ in_use.share, abs=1e-6)


@pytest.mark.parametrize("most", [60, 59, 25])
def test_what_is_worked_out_for_all_parts_at_once_is_what_each_would_find(archive, monkeypatch, most):
    """Of more subjects than are put through those drawn are compared, of a whole lens as of its parts."""
    frames = frames_met(archive(60, presets=TWO, iso=800.0))
    for one in (module, comparisons):
        monkeypatch.setattr(one, "MOST_SUBJECTS", most)
    lens = decide(frames, (), Settings()).lenses[0]
    met = gather_subjects(frames, Settings())
    ring, answers = settings_on_ring(frames, None, Settings()), module.light_answers(frames, Settings())
    assert lens.paired.subjects == most
    for found, subjects in [(lens.paired, met)] + [
        (one.paired, met.chosen(met.preset == met.presets.index(one.preset)))
        for one in lens.situations
        if one.preset
    ]:
        alone = compare_settings(subjects, lens.tolerances, *ring, answers, 1.32)
        assert found.share == pytest.approx(alone.share, abs=1e-6)
        assert (found.now, found.now_low) == pytest.approx((alone.now, alone.now_low), abs=1e-6)


def test_a_ring_without_an_engraving_to_use_leaves_nothing_to_compare(lens_of):
    lens = lens_of(lenses=(Lens("lens A", 28.0, ring_m=(0.1, 0.11)),))
    assert lens.paired is None
    assert (len(lens.settings), len(lens.stops)) == (0, 0)
    assert (lens.decision.kind, lens.walk_worth.purpose) == ("cannot_tell", "nothing")
    assert np.isnan([lens.subjects.share_now, lens.subjects.share_best]).all()


def test_a_statement_gives_the_shares_of_its_decision_and_else_of_the_best_tried(part):
    lens = part(presets=TWO)
    compared = lens.compare(lens.subjects, lens.spoken, mixed=False)
    decision = lens.rule(compared, lens.subjects, False, None)
    row = int(np.flatnonzero(compared.share != compared.share[compared.best_tried()])[0])
    for setting, place in ((compared.setting(row), row), (None, compared.best_tried())):
        stated = lens.state(lens.subjects, compared, replace(decision, setting=setting))
        told = (compared.share[place], compared.low[place], compared.high[place])
        assert (stated.share_best, stated.low, stated.high) == told
        assert (stated.share_now, stated.now_low, stated.now_high) == (
            compared.now, compared.now_low, compared.now_high,
        )  # fmt: skip
    nowhere = replace(compared, tried=np.zeros_like(compared.tried))
    stated = lens.state(lens.subjects, nowhere, replace(decision, setting=None))
    assert np.isnan(stated.share_best)
    assert stated.share_now == compared.now


def test_the_row_of_a_setting_is_that_of_its_stop_and_its_ring():
    stops, rings = np.array([5.6, 5.6, 8.0, 8.0]), np.array([2.0, 3.0, 2.0, 3.0])
    none, tried = np.zeros(4), np.array([False, True, True, False])
    four = Paired(stops, rings, np.array([0.9, 0.5, 0.6, 0.7]), none, none, 0.5, 0.4, 0.6, none, none, none,
                  none, tried, 4, none, none)  # fmt: skip
    assert [_row_of(four, four.setting(row)) for row in range(4)] == [0, 1, 2, 3]
    assert _row_of(four, None) == 2


def test_a_decision_from_distances_that_follow_the_ring_stands_only_where_the_pooled_ones_agree(part):
    lens = part(presets=TWO)
    compared = lens.compare(lens.subjects, lens.spoken, mixed=False)
    better = replace(
        compared, chance_better=np.ones_like(compared.share), gain=np.full(compared.share.shape, 2.0)
    )
    lens.tolerances = replace(lens.tolerances, nothing=0.0)
    own = lens.rule(better, lens.subjects, False, None)
    assert own.kind == "change"
    assert lens.rule(better, lens.subjects, False, own) == own
    for other in (replace(own, kind="keep"), replace(own, setting=Setting(1.4, 1.0))):
        unsure = lens.rule(better, lens.subjects, False, other)
        assert (unsure.kind, unsure.setting, unsure.latitude) == ("cannot_tell", None, ())
        assert (unsure.why, unsure.would_help_most) == ("presses_follow_ring", "anyone")
        assert lens.rule(better, lens.subjects, True, other).why == "gate_closed"
        lens.tolerances = replace(lens.tolerances, nothing=0.8)
        assert lens.rule(better, lens.subjects, False, other).why == "blur_decides_nothing"
        lens.tolerances = replace(lens.tolerances, nothing=0.0)


def test_pooled_distances_count_each_preset_alike_however_many_presses_it_stands_for(part):
    lens = part(presets=TWO)
    once = lens.pooled(False)
    first = lens.subjects.preset == 0
    lens.subjects = replace(lens.subjects, weight=np.where(first, 7.0, 0.2) * lens.subjects.weight)
    assert lens.pooled(False) == once
    lens.habit = (lens.habit[0],)
    assert lens.pooled(False).gain_ratio != once.gain_ratio, "now is the habit"


def test_a_walk_is_worth_what_knowing_all_would_bring_over_what_is_acted_on():
    """In two equally likely states the best share is 0.8 and 0.6, in the mean 0.7; by hand."""
    draws = np.array([[0.8, 0.4], [0.4, 0.6], [0.9, 0.9]])
    share, none = draws.mean(axis=1), np.zeros(3)
    two = Paired(np.full(3, 8.0), np.array([1.0, 2.0, 3.0]), share, none, none, 0.5, 0.4, 0.6, none, none,
                 none, none, np.array([True, True, False]), 60, draws, np.full(2, 0.5))  # fmt: skip
    unsure = Decision("cannot_tell", None, (), *[np.nan] * 4, "optics", "open", "too_uncertain", "distances")

    def worth(compared=two, **changes):
        return _worth_of_walk(compared, replace(unsure, **changes), flagged=False)

    assert worth() == WalkWorth("compare", pytest.approx(0.7 / 0.5 - 1))
    assert worth(kind="change", setting=two.setting(0)) == WalkWorth("compare", pytest.approx(0.7 / 0.6 - 1))
    assert worth(kind="change", setting=two.setting(1)) == WalkWorth("compare", pytest.approx(0.7 / 0.5 - 1))
    for now, purpose in ((0.66, "compare"), (0.67, "nothing")):  # 6 and 4 %
        near = replace(two, now=now)
        assert worth(near) == WalkWorth(purpose, pytest.approx(0.7 / now - 1))
    nothing = WalkWorth("nothing", 0.0)
    assert [worth(kind=kind) for kind in ("keep", "latitude", "not_focus")] == [nothing] * 3
    assert worth(None) == worth(replace(two, tried=np.zeros(3, bool))) == nothing
    better_now = replace(two, now_draws=np.array([0.9, 0.5]), now=0.7)
    assert worth(better_now) == WalkWorth("compare", pytest.approx((0.9 + 0.6) / 2 / 0.7 - 1))


@pytest.mark.parametrize(
    ("kind", "told_apart", "change"),
    [("change", True, True), ("keep", True, False), ("latitude", False, False), ("cannot_tell", False, False),
     ("not_focus", False, False)],
)  # fmt: skip
def test_json_says_whether_settings_can_be_told_apart_and_a_change_is_advised(
    lens_of, kind, told_apart, change
):
    lens = lens_of(presets=TWO, iso=800.0)
    said = advice_json(replace(lens, decision=replace(lens.decision, kind=kind)), ("lens B",))
    assert (said["distinguishable"], said["change_advised"]) == (told_apart, change)
    assert said["other_lenses"] == ["lens B"]


def test_json_gives_every_part_of_the_decision(lens_of):
    lens = lens_of(presets=TWO, iso=[100.0, 800.0] * 20)
    said = advice_json(lens)
    current = [(one["f_number"], one["focus_distance_m"], one["share_of_presses"]) for one in said["current"]]
    assert current == [(8.0, 2.5, 0.5), (5.6, 3.0, 0.5)]
    assert [(one["preset"], one["light"]) for one in said["situations"]] == [
        ("preset 0", None), ("preset 1", None), (None, "sun"), (None, "open shade"),
    ]  # fmt: skip
    assert len(said["settings"]) == lens.settings["within_experience"].sum() < len(lens.settings)
    assert said["level"]["presses"] == 40
    assert said["next_walk"] == {"presses": 60, "level": 0.9, "low": said["next_walk"]["low"],
                                 "high": lens.next_walk.high}  # fmt: skip
    assert advice_json(replace(lens, next_walk=None))["next_walk"] is None
    sun = replace(lens.situations[2], decision=replace(lens.decision, setting=Setting(11.0, 3.0)))
    preset = replace(lens.situations[0], decision=sun.decision)
    shade = replace(lens.situations[3], decision=replace(lens.decision, setting=None))
    stops = tuning_json(replace(lens, situations=(preset, sun, shade)))
    assert stops["prefer"] == {"sun": 11.0}
    assert [one["f_number"] for one in stops["stops"]] == lens.stops["f_number"].tolist()


def test_nothing_is_advised_where_counts_clash_or_verdicts_contradict_the_distances(archive):
    """Of presses at half a metre, where nobody stood, most were kept; or the blurred were called sharp."""
    table = archive(120, presets=((8.0, 0.5), (8.0, 2.5)), session=[1, 2, 3, 4] * 30)
    of_five = np.arange(120) // 4 % 5
    kept = np.where(of_five < np.where(np.arange(120) < 60, 3, 1), "keeper", "not kept")
    clash = decide(frames_met(table.assign(counted_as=kept)), (), UNSTATED).lenses[0]
    assert any(gate.clashes for gate in clash.gates)
    assert "verdicts_reversed" not in clash.flags
    one = archive(60, presets=ONE)
    blurred = one["blur_mm"] > one["blur_mm"].median()
    contrary = decide(frames_met(one.assign(sharp=np.where(blurred, "yes", "no"))), (), UNSTATED).lenses[0]
    assert not any(gate.clashes for gate in contrary.gates)
    assert "verdicts_reversed" in contrary.flags
    for lens in (clash, contrary):
        assert (lens.decision.gate, lens.decision.why) == ("closed", "gate_closed")
        assert all(part.decision.gate == "closed" for part in lens.situations)
