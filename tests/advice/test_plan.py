"""The next walk in blocks: which settings, in which order, under which names, with how many presses."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from auditor.advice.decide import decide
from auditor.advice.lens_decision import WalkWorth
from auditor.advice.next_walk import plan_walk
from auditor.advice.paired import Setting
from auditor.evidence.subjects import frames_met
from auditor.settings import Settings

USUAL = Setting(8.0, 2.5)


@pytest.fixture(scope="module")
def lens(archive):
    """Two settings in use, the second less; nothing decided yet, and worth a walk that compares."""
    frames = frames_met(archive(60, presets=((8.0, 2.5), (8.0, 2.5), (5.6, 3.0)), iso=800.0))
    found = decide(frames, (), Settings()).lenses[0]
    decision = replace(found.decision, kind="cannot_tell", setting=None)
    return replace(found, decision=decision, walk_worth=WalkWorth("compare", 0.2))


@pytest.fixture(scope="module")
def frames():
    rows = [("arcade", 28.0, 8.0, 2.5)] * 2 + [("gate", 28.0, 8.0, 2.5)] + [("wide", 35.0, 11.0, 3.0)] * 5
    return pd.DataFrame(rows, columns=["preset", "focal_length_mm", "f_number", "focus_distance_m"])


def decided_for(lens, setting):
    return replace(lens, decision=replace(lens.decision, setting=setting))


def test_two_settings_are_compared_as_a_b_b_a_under_the_names_they_have(lens, frames):
    plan = plan_walk(decided_for(lens, Setting(11.0, 3.0)), frames, 61)
    assert [(block.preset, block.setting.f_number) for block in plan.blocks] == [
        ("arcade", 8.0), ("f/11 at 3 m", 11.0), ("f/11 at 3 m", 11.0), ("arcade", 8.0),
    ]  # fmt: skip
    assert [block.presses for block in plan.blocks] == [15, 15, 16, 15]
    assert {block.pressed for block in plan.blocks} == {"zone"}
    assert (plan.purpose, plan.presses, plan.lens) == ("compare", 61, "lens A")


def test_a_walk_pressed_at_anyone_keeps_to_the_usual_setting(lens, frames):
    plan = plan_walk(replace(lens, walk_worth=WalkWorth("anyone", np.nan)), frames, 60)
    (block,) = plan.blocks
    assert (block.preset, block.setting, block.presses, block.pressed) == ("arcade", USUAL, 60, "anyone")


def test_without_anything_to_test_there_is_no_plan(lens, frames):
    assert plan_walk(replace(lens, walk_worth=WalkWorth("nothing", 0.0)), frames) is None
    assert plan_walk(replace(lens, habit=()), frames) is None
    assert plan_walk(replace(lens, habit=(), walk_worth=WalkWorth("nothing", 0.0)), frames) is None
    assert plan_walk(replace(lens, paired=None), frames) is None
    untried = replace(lens.paired, tried=np.zeros_like(lens.paired.tried))
    assert plan_walk(replace(lens, paired=untried), frames) is None


def test_the_usual_setting_is_held_against_the_best_other_one_tried(lens, frames):
    """The best of four is the usual one, the next was not tried; to decide for the usual one is no other."""
    own = lens.paired
    rows = np.arange(4)
    four = replace(
        own, f_number=np.full(4, 8.0), focus_distance_m=np.array([1.0, 5.0, 3.0, 2.5]),
        share=np.array([0.2, 0.6, 0.7, 0.9]), tried=rows != 2,
    )  # fmt: skip
    for setting in (None, USUAL):
        plan = plan_walk(decided_for(replace(lens, paired=four), setting), frames)
        assert plan.blocks[1].setting == Setting(8.0, 5.0)
    plan = plan_walk(decided_for(replace(lens, paired=None), Setting(4.0, 2.5)), frames)
    assert plan.blocks[1].setting == Setting(4.0, 2.5)


def test_a_preset_lends_its_name_only_to_its_own_lens(lens, frames):
    """At 35 mm f/11 and 3 m are called wide; within 3 % a focal length is the same."""
    names = {33.9: "f/11 at 3 m", 34.0: "wide", 36.0: "wide", 36.1: "f/11 at 3 m"}
    for focal_mm, name in names.items():
        own = replace(lens, focal_length_mm=focal_mm, habit=((Setting(11.0, 3.0), 1.0),))
        plan = plan_walk(replace(own, walk_worth=WalkWorth("anyone", np.nan)), frames)
        assert plan.blocks[0].preset == name, focal_mm
