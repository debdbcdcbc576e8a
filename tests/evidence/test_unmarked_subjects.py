"""Frames whose marks do not count yet: optics and verdicts need no mark, the tolerance of keeping does."""

import numpy as np
import pandas as pd
import pytest
from worlds.people import World, draw_archive

from auditor.advice.decide import decide
from auditor.advice.gate import check_gate
from auditor.evidence.blur_tolerance import fit_tolerances
from auditor.evidence.bursts import zone_focused
from auditor.evidence.level import fit_level, session_counts
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met, gather_subjects, stratum_weights
from auditor.settings import Settings


def lens_of(table):
    return decide(frames_met(table), (), Settings()).lenses[0]


def without_marks(table, later):
    """Nobody has chosen from these walks yet."""
    return table.assign(
        keeper=table["keeper"].mask(later), counted_as=table["counted_as"].mask(later, "left out")
    )


def test_frames_of_a_walk_without_marks_stand_for_that_walk_alone():
    """Two of four kept frames, one of two others, and one of three that do not count have a distance."""
    marks = ["keeper"] * 4 + ["not kept"] * 2 + ["left out"] * 3
    distance = [2.0, 2.0, np.nan, np.nan, 3.0, np.nan, 4.0, np.nan, np.nan]
    frames = pd.DataFrame({"counted_as": marks, "subject_distance_m": distance}).assign(
        preset="a", pressed="zone"
    )
    weight, _, drawn = stratum_weights(frames)
    assert weight[np.isfinite(weight)] == pytest.approx([2, 2, 2, 3])
    assert drawn[0] == pytest.approx([1 / 2, 2 / 4, 1 / 3])  # not kept, kept, not counted


@pytest.fixture(scope="module")
def walked():
    """An archive, and the same with half of its walks not chosen from; both measured and judged alike."""
    table = draw_archive(4, World(verdicts=60)).table
    return table, without_marks(table, table["session"] > 3)


def test_distances_and_verdicts_speak_though_nobody_chose_from_their_walk(walked):
    whole, half = (lens_of(table) for table in walked)
    assert half.subjects.n == whole.subjects.n
    assert half.tolerances.sharp.count == whole.tolerances.sharp.count
    assert dict(half.habit) == pytest.approx(dict(whole.habit)), "what was set is known without marks"
    assert half.level.presses < whole.level.presses, "and rates are of marked frames only"
    seen = [len(judged_frames(frames_met(table)).frames) for table in walked]
    assert seen[0] == seen[1]


def test_the_tolerance_of_keeping_hears_the_marks_that_count_and_no_others(walked):
    """Whatever was kept in a walk that does not count, the eye of keeping stays."""
    _, half = walked
    later = half["session"] > 3
    subjects = gather_subjects(frames_met(half), Settings())
    assert 0 < len(subjects.marked) < len(subjects)
    assert (subjects.marked.session <= 3).all()
    assert not subjects.hit[subjects.session > 3].any()
    unjudged = half.assign(sharp=half["sharp"].mask(later))  # verdicts reach keeping through the other eye
    alone = unjudged[~later].reset_index(drop=True)
    with_later, without = (
        fit_tolerances(gather_subjects(frames_met(table), Settings()), 1.32)[0].keep
        for table in (unjudged, alone)
    )
    assert with_later.blur_mm == pytest.approx(without.blur_mm, rel=0.03)
    assert with_later.high / with_later.low == pytest.approx(without.high / without.low, rel=0.05)


def test_counts_of_keepers_are_held_against_the_subjects_of_marked_walks(walked):
    """Far subjects of a walk that nobody chose from say nothing of what should be kept in the others."""
    _, half = walked
    later = (half["session"] > 3).to_numpy()
    used = half["preset"].value_counts().index[0]
    distance = half["subject_distance_m"]
    there = later & half["preset"].eq(used) & distance.notna()
    far = half.assign(subject_distance_m=distance.mask(there, 30.0))
    met = {
        name: gather_subjects(frames_met(table), Settings()) for name, table in (("far", far), ("near", half))
    }
    eye = fit_tolerances(met["near"], 1.32)[0]
    counted = zone_focused(half)
    level = fit_level(*session_counts(counted), 0.95)
    predicted = [
        [gate.predicted for gate in check_gate(counted, one, eye, level, 1.32) if gate.by == "keepers"]
        for one in met.values()
    ]
    assert len(predicted[0]) > 1
    assert predicted[0] == pytest.approx(predicted[1], rel=0.03), "but for what they do to likely distances"
