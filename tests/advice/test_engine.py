"""The short form of tests/bench/bench_engine.py: a few people, and only what is sure."""

import numpy as np
import pytest
from worlds.people import World, draw_archive

from auditor.advice.decide import decide
from auditor.evidence.subjects import frames_met
from auditor.settings import Settings

pytestmark = pytest.mark.slow
SEEDS = range(1, 13)


@pytest.fixture(scope="module")
def people():
    archives = [draw_archive(seed, World(verdicts=60)) for seed in SEEDS]
    return [(archive, decide(frames_met(archive.table), (), Settings()).lenses[0]) for archive in archives]


def test_what_is_advised_is_better_in_sharp_and_in_kept_frames(people):
    lost, kept, worse = [], [], 0
    for archive, lens in people:
        setting = lens.decision.setting
        acted = archive.rates(setting.f_number, setting.focus_distance_m) if setting else archive.habit
        best = archive.grid["kept_press"].max()
        lost.append(1 - acted["kept_press"] / best)
        kept.append(1 - archive.habit["kept_press"] / best)
        worse += acted["sharp_press"] < archive.habit["sharp_press"]
    assert np.mean(lost) < 0.6 * np.mean(kept)
    assert worse <= 1


def test_most_archives_come_to_a_decision(people):
    assert sum(lens.decision.kind != "cannot_tell" for _, lens in people) >= 8


def test_the_intervals_hold_the_truth(people):
    sharp = [
        lens.tolerances.sharp.low < a.person.tau_sharp < lens.tolerances.sharp.high for a, lens in people
    ]
    errors = [np.log(lens.tolerances.sharp.blur_mm / a.person.tau_sharp) for a, lens in people]
    now = [lens.subjects.now_low < a.habit["sharp_press"] < lens.subjects.now_high for a, lens in people]
    assert sum(sharp) >= 9
    assert sum(now) >= 9
    assert np.sqrt(np.mean(np.square(errors))) < 0.35


def test_where_blur_decides_nothing_no_change_is_advised():
    world = World(verdicts=60, blur_decides=False)
    kinds = [
        decide(frames_met(draw_archive(seed, world).table), (), Settings()).lenses[0].decision.kind
        for seed in (1, 2, 3)
    ]
    assert "change" not in kinds
    assert "not_focus" in kinds
