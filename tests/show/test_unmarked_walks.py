"""An archive whose later walks nobody chose from yet: what the page says agrees with what it draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from auditor.journey import Audit
from auditor.show.page.view import lens_views
from auditor.show.words import next_time
from auditor.show.words import tolerance as tolerance_words

pytestmark = pytest.mark.slow


@pytest.fixture
def half(frames_of: Callable[..., pd.DataFrame], audit_of: Callable[..., Audit]) -> Audit:
    """Of 200 frames those of the later sessions have distances and verdicts, and no mark."""
    frames = frames_of(200)
    later = frames["captured_at"] > "2024-05-05"
    off = (1 / frames["subject_distance_m"] - 1 / frames["focus_distance_m"]).abs()
    blurred = np.where(off > 0.12, "no", "yes")
    return audit_of(frames.assign(keeper=frames["keeper"].mask(later), sharp=pd.Series(blurred).where(later)))


def test_every_measured_frame_is_drawn_and_counted_alike(half: Audit) -> None:
    table = half.table
    assert (table["counted_as"] == "left out").sum() > 50
    measured = table["subject_distance_m"].notna() & table["in_preset"]
    views = lens_views(half)
    for view in views:
        own = measured & (table["lens"] == view.name)
        chips = [chip for chip in view.chips if not chip.label.startswith("as advised")]
        assert sum(len(chip.marks) for chip in chips) == own.sum() == view.decided.known.measured
        assert not any("No frame here" in chip.finding for chip in chips)
        assert f"{own.sum()} has a distance" in next_time.rests_on(view.decided.known) or (
            f"{own.sum()} have a distance" in next_time.rests_on(view.decided.known)
        )


def test_verdicts_of_these_walks_are_in_presets_bands_and_the_chart_of_blur(half: Audit) -> None:
    judged = int((half.table["sharp"].isin(["yes", "no"]) & half.table["in_preset"]).sum())
    assert judged >= 30
    assert half.presets["sharp_judged"].sum() == judged
    assert half.distances.loc[half.distances["preset"].isna(), "sharp_judged"].sum() == judged
    assert half.tolerance.used == "sharp"
    assert half.tolerance.calibration["frames"].sum() == judged
    assert f"({half.tolerance.sharp.count} judged presses" in tolerance_words.finding(half.tolerance)


def test_keepers_are_held_against_marked_presses(half: Audit) -> None:
    counted = half.table["counted_as"] != "left out"
    assert 0 < half.tolerance.marked <= int((counted & half.table["subject_distance_m"].notna()).sum())
    assert half.tolerance.marked < half.tolerance.bursts
