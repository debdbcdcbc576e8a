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
from auditor.evidence.subjects import frames_met, gather_subjects, weigh_by_mark
from auditor.evidence.tolerance import fit_tolerance
from auditor.settings import Settings


def lens_of(table):
    return decide(frames_met(table), (), Settings()).lenses[0]


def without_marks(table, later):
    """Nobody has chosen from these walks yet."""
    return table.assign(
        keeper=table["keeper"].mask(later), counted_as=table["counted_as"].mask(later, "left out")
    )


def weights(marks, distance):
    one_preset = np.zeros(len(marks), dtype=int)
    weight, _, drawn = weigh_by_mark(pd.DataFrame({"counted_as": marks}), one_preset, np.isfinite(distance))
    return weight[np.isfinite(weight)], drawn[0]


def test_frames_of_a_walk_without_marks_stand_for_that_walk_alone():
    """Two of four kept frames, one of two others, and two of three that do not count have a distance."""
    marks = ["keeper"] * 4 + ["not kept"] * 2 + ["left out"] * 3
    weight, drawn = weights(marks, [2.0, 2.0, np.nan, np.nan, 3.0, np.nan, 4.0, np.nan, 5.0])
    assert weight == pytest.approx([2, 2, 2, 1.5, 1.5])
    assert drawn == pytest.approx([1 / 2, 2 / 4, 2 / 3])  # not kept, kept, not counted


def test_the_only_one_measured_of_a_long_walk_without_marks_stands_for_no_more_than_others():
    """It would speak for 90 frames, and alone make up most of what is said."""
    marks = ["not kept"] * 6 + ["left out"] * 90
    weight, _ = weights(marks, [2.0, 2.0, *[np.nan] * 4, 4.0, *[np.nan] * 89])
    assert weight == pytest.approx([3, 3, 3])
    weight, _ = weights(marks, [*[np.nan] * 6, 4.0, *[np.nan] * 89])
    assert weight == pytest.approx([90]), "but where none other was measured"


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
    seen = [judged_frames(frames_met(table)) for table in walked]
    assert len(seen[0].frames) == len(seen[1].frames)
    most = [one.sampled.weight.max() for one in seen]
    assert most[1] <= most[0] * 1.5, "and no verdict drowns the others"


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


def test_verdicts_the_wrong_way_round_are_found_on_walks_without_marks(walked):
    """Whoever judged the other way round says so there too: no eye rests on it."""
    whole, _ = walked
    judged = whole["sharp"].isin(["yes", "no"])
    turned = whole["sharp"].mask(
        judged, np.where(whole["blur_mm"] > whole.loc[judged, "blur_mm"].median(), "yes", "no")
    )
    half = without_marks(whole.assign(sharp=turned), np.ones(len(whole), bool))
    assert "verdicts_reversed" in lens_of(half).flags
    assert "verdicts_reversed" in fit_tolerance(half, Settings()).flags


def test_nothing_is_called_kept_where_nothing_was(walked):
    """Verdicts too few to speak, and no keeper: what is usual speaks, not "what you keep"."""
    whole, _ = walked
    judged = np.flatnonzero(whole["sharp"].notna())
    few = whole.assign(sharp=whole["sharp"].mask(np.isin(np.arange(len(whole)), judged[29:])))
    lens = lens_of(without_marks(few, np.ones(len(few), bool)))
    assert lens.tolerances.keep.count == 0
    assert lens.decision.rests_on == "optics"
    assert "too_wide" in fit_tolerance(without_marks(few, np.ones(len(few), bool)), Settings()).flags
