"""The instruction in words, for each kind of decision; figures are the decision's own."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np
import pytest

from auditor.advice.lens_decision import LensDecision
from auditor.advice.next_walk import plan_walk
from auditor.advice.paired import Setting
from auditor.evidence.level import fit_level
from auditor.journey import Audit
from auditor.optics.scales import engraved_for
from auditor.optics.sensors import measured, parse_criterion
from auditor.show.decided import Decided, gather_decision
from auditor.show.words import next_time, steps
from auditor.show.words.plain import one_in, times_more

NAN = float("nan")


@pytest.fixture
def told(walked: Audit) -> Decided:
    return gather_decision(walked, walked.decisions.lenses[0].lens)


def decided(told: Decided, kind: str, **changes: Any) -> Decided:
    """The same lens under another decision."""
    own: LensDecision = told.weighed  # type: ignore[assignment]
    facts = {"kind": kind, "setting": None, "latitude": (), "would_help_most": ""} | changes
    decision = replace(own.decision, **facts)  # type: ignore[arg-type]
    setting = facts["setting"]
    to_set = told.now
    if isinstance(setting, Setting):
        to_set = replace(told.now, f_number=setting.f_number, focus_distance_m=setting.focus_distance_m)  # type: ignore[type-var]
    return replace(told, weighed=replace(own, decision=decision), to_set=to_set)


def test_each_kind_of_decision_gives_its_instruction(told: Decided) -> None:
    now = next_time.setting_name(told.now, "m")  # type: ignore[arg-type]
    assert next_time.headline(decided(told, "keep")) == f"Keep the {told.lens} at {now}"
    new = Setting(11.0, 3.0)
    said = next_time.headline(decided(told, "change", setting=new))
    assert said == f"Next time, set the {told.lens} to f/11, ring on 3 m"
    wide = (Setting(8.0, 2.5), Setting(11.0, 2.5))
    said = next_time.headline(decided(told, "latitude", latitude=wide))
    assert said == f"Anything from f/8 to f/11, ring on 2.5 m, will do for the {told.lens}"
    assert "leave the ring" in next_time.headline(decided(told, "not_focus"))


@pytest.mark.parametrize("step", [step for step in steps.STEPS if step])
def test_what_would_help_most_is_the_headline_where_nothing_can_be_told(told: Decided, step: str) -> None:
    none = replace(told, known=replace(told.known, frames=400, measured=0, judged=0))
    said = next_time.headline(decided(none, "cannot_tell", would_help_most=step))
    assert said == f"{steps.STEPS[step].instruction} to learn what to set"
    many = replace(told, known=replace(told.known, frames=400, measured=100, judged=100))
    more = next_time.headline(decided(many, "cannot_tell", would_help_most=step))
    assert more == said.replace("sixty", "sixty more"), "a hundred have an answer already"


@pytest.mark.parametrize(("frames", "measured", "said"), [
    (3, 0, "Measure all 3 distances"), (2, 0, "Measure both distances"),
    (99, 90, "Measure the other 9 distances"),
    (300, 299, "Measure the last distance"), (40, 40, "Walk once more"),
])  # fmt: skip
def test_where_few_frames_are_left_these_are_asked_for(
    told: Decided, frames: int, measured: int, said: str
) -> None:
    few = replace(told, known=replace(told.known, frames=frames, measured=measured))
    assert next_time.headline(decided(few, "cannot_tell", would_help_most="distances")).startswith(said)


def test_a_change_says_now_and_its_promise_with_the_interval(told: Decided) -> None:
    change = decided(
        told, "change", setting=Setting(11.0, 3.0), gain_ratio=1.47, gain_low=1.12, gain_high=1.9
    )
    said = next_time.instead(change)
    assert said.startswith(f"Now mostly {next_time.setting_name(told.now, 'm')} (")  # type: ignore[arg-type]
    assert "Against all your settings together the change promises 47 %" in said
    assert "47 % more sharp presses (likely 12 to 90 %)" in said


def test_the_next_walk_is_told_as_its_file_lays_it_out(told: Decided, walked: Audit) -> None:
    change = decided(told, "change", setting=Setting(22.0, 5.0))
    own: LensDecision = change.weighed  # type: ignore[assignment]
    own = replace(own, walk_worth=replace(own.walk_worth, purpose="compare"))
    plan = plan_walk(own, walked.table)
    assert plan is not None
    runs = [sum(one.presses for one in run) for _, run in groupby(plan.blocks, key=lambda one: one.preset)]
    said = next_time.next_walk(replace(change, weighed=own))
    assert [int(presses) for presses in re.findall(r"(\d+)(?: presses)? with", said)] == runs
    assert "with f/22, ring on 5 m; 15 with the first again." in said


def test_nothing_is_advised_for_a_light_where_the_lens_cannot_be_told(told: Decided) -> None:
    assert next_time.by_light(decided(told, "cannot_tell").weighed, "m") == []  # type: ignore[arg-type]


def test_a_closed_gate_says_what_clashes(told: Decided) -> None:
    closed = decided(told, "cannot_tell", gate="closed", why="gate_closed", would_help_most="ring_check")
    assert "counts or verdicts and optics contradict each other" in next_time.instead(closed)
    assert next_time.next_walk(closed) == "Nothing to test yet: first do what helps most."
    nothing_helps = decided(told, "cannot_tell", gate="closed", why="gate_closed")
    full = replace(nothing_helps, known=replace(told.known, judged=90, keepers=90))
    assert next_time.next_walk(full) == "Nothing to test yet."


def test_of_a_few_presses_no_share_is_said(told: Decided) -> None:
    """The only press may hold a keeper and the next walk few: a share would deny the walk."""
    own: LensDecision = told.weighed  # type: ignore[assignment]
    one = replace(told, weighed=replace(own, level=fit_level(np.array([1.0]), np.array([1.0]), 0.95)))
    few = "Of presses that count, 1 of 1 held a keeper so far: too few to say how often."
    assert next_time.expect(one).startswith(few)
    many = replace(told, weighed=replace(own, level=fit_level(np.array([4.0]), np.array([10.0]), 0.95)))
    assert (
        next_time.expect(many).lower().startswith(("so far about two", "about one press", "so far about one"))
    )


@pytest.mark.parametrize(
    ("share", "wanted"),
    [
        (0.34, "about one press in three"), (0.05, "about one press in 20"), (0.99, "nearly every press"),
        (0.012, "about one press in 85"), (0.5, "about one press in two"), (0.001, "hardly any press"),
        (0.66, "about two presses in three"),
    ],
)  # fmt: skip
def test_shares_are_said_as_people_say_them(share: float, wanted: str) -> None:
    assert one_in(share, "press") == wanted
    assert times_more(1.1) == "10 % more"


def test_blur_is_said_with_its_main_cause_and_the_exposure() -> None:
    of_100 = {"not_explained_by_blur": 80, "subject_motion": 12, "beyond_zone": 8}
    said = next_time.blur_costs(of_100, 0.002)
    assert said.startswith(
        "About one frame in five you left would be a keeper but for it, mostly people who walk, at 1/500 s"
    )
    assert "Hardly any" in next_time.blur_costs({"not_explained_by_blur": 98, "diffraction": 2}, NAN)
    assert next_time.blur_costs({}, NAN) == ""


def test_whose_eye_calls_a_subject_sharp_is_named(told: Decided) -> None:
    assert told.weighed is not None
    own = replace(told.weighed.decision, rests_on="optics")
    fitted = told.weighed.tolerances
    unasked = replace(fitted, sharp=replace(fitted.sharp, count=0))
    unknown = replace(told.weighed, decision=own, tolerances=unasked)
    assert "were sharp to a usual eye as you set it" in next_time.subjects(unknown)
    by_marks = replace(unknown, decision=replace(own, rests_on="keepers"))
    assert "sharp by what you keep" in next_time.subjects(by_marks)
    judged = replace(unknown, tolerances=replace(fitted, sharp=replace(fitted.sharp, count=60)))
    assert "sharp to your eye" in next_time.subjects(judged)


def test_distances_on_the_ring_are_written_as_engraved(told: Decided) -> None:
    now = replace(told.now, focus_distance_m=7 * 0.3048)  # type: ignore[type-var]
    said = next_time.headline(
        replace(decided(told, "keep"), bench=replace(told.bench, units="ft"), to_set=now)
    )
    assert said.endswith("ring on 7 ft")


def test_commands_quote_the_sources(told: Decided) -> None:
    step = steps.step(decided(told, "cannot_tell", would_help_most="settings"), ["my walk", "b"])
    assert step.command == "auditor prepare 'my walk' b"


def test_where_nobody_stood_near_a_zone_the_ring_is_to_be_moved(told: Decided) -> None:
    nowhere = decided(told, "cannot_tell", why="no_setting", would_help_most="distances")
    assert next_time.headline(nowhere) == "Set the ring where people stand to learn what to set"
    assert "people stood" in steps.step(nowhere, ["walk"]).sentence


def test_a_tolerance_that_is_hardly_known_or_goes_against_the_optics_is_no_fact(told: Decided) -> None:
    assert told.weighed is not None
    own = told.weighed.tolerances
    own = replace(own, sharp=replace(own.sharp, count=80, low=0.01, high=0.1))
    wide = replace(told, weighed=replace(told.weighed, tolerances=own))
    assert "hardly known" in next_time.strictness(wide)
    contrary = replace(told, weighed=replace(told.weighed, flags=("verdicts_reversed",)))
    assert next_time.strictness(contrary).startswith("The more blur")


def test_the_engraved_scale_is_read_for_this_eye(told: Decided) -> None:
    """sqrt(0.045^2 - Airy^2) over 0.030 mm: a more tolerant eye reads a higher number."""
    assert told.now is not None
    one = replace(told.now, f_number=8.0, focus_distance_m=3.0)
    own = replace(
        told, to_set=one, motion_mm=0.0, bench=replace(told.bench, criterion=measured(0.045, (0.03, 0.07)))
    )
    said = next_time.engraved_scale(own)
    assert "made for 0.030 mm, assumed): shoot f/8, read f/11." in said
    assert "not known better yet" in said
    airy = 2.4393 * 550e-6 * 8
    assert own.bench.read_range(8.0, 0.0437)[0] == pytest.approx(8 * 0.0437 / 0.030)
    assert float(own.bench.coc_mm(8.0, np.inf)) == pytest.approx(math.sqrt(0.045**2 - airy**2), rel=1e-6)
    assert (
        next_time.engraved_scale(
            replace(own, bench=replace(told.bench, criterion=parse_criterion("handbook")))
        )
        == ""
    )
    stated = replace(
        own.bench, criterion=parse_criterion("0.03mm"), scale=engraved_for(28, [8], [3.0], [1.9], [7.2])
    )
    assert "read off it" in next_time.engraved_scale(replace(own, bench=stated))
    blunt = replace(own.bench, criterion=measured(0.005))
    assert next_time.engraved_scale(replace(own, bench=blunt)) == "", "diffraction takes all"
