"""Presses at a line: the longest time against hand arithmetic, where subjects stood, and who was too slow."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from auditor.evidence.bursts import count_frames
from auditor.evidence.distances_met import distances_met
from auditor.evidence.line_presses import LinePresses, line_presses, longest_time_s
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.ring_check import find_shift
from auditor.show.words import line as words


def test_the_longest_time_uses_up_the_criterion_and_no_more() -> None:
    """By hand: 50 mm at f/8 on 5 m from the sensor, u = 4.949 m from the lens, so m = 0.0102.

    Airy 2.4393 x 0.00055 x 8 x 1.0102 = 0.0108 mm leaves sqrt(0.03^2 - 0.0108^2) = 0.02798 mm of a smear of
    0.0102 x 0.7071 x 1320 = 9.526 mm a second: 2.94 ms.
    """
    assert float(longest_time_s(50, 8, 5.0, 5.0, 1.32, 0.03)) == pytest.approx(0.00294, rel=0.005)
    for at in (4.2, 5.0, 6.5):
        time = float(longest_time_s(50, 8, 5.0, at, 1.32, 0.03))
        parts = defocus_mm(50, 8, 5.0, at), motion_mm(50, at, 1.32, time), airy_mm(8, 50 / (1000 * at - 100))
        assert math.hypot(*map(float, parts)) == pytest.approx(0.03, rel=1e-3)
    assert math.isnan(longest_time_s(50, 8, 5.0, 1.0, 1.32, 0.03)), "out of the zone no time is short enough"
    assert math.isinf(longest_time_s(50, 8, 5.0, 5.0, 0.0, 0.03)), "who stands may be exposed for ever"


def test_a_ring_that_a_tape_found_off_leaves_less_time_at_its_mark() -> None:
    """35 mm at f/8, the mark 2 m focuses at 2.5 m: as with a true ring at 2.5 m, for a walker at 2 m."""
    shift = find_shift(35, [2.0], [2.5]).shift_mm
    marked = float(longest_time_s(35, 8, 2.0, 2.0, 1.32, 0.03, shift))
    assert marked == pytest.approx(float(longest_time_s(35, 8, 2.5, 2.0, 1.32, 0.03)), rel=1e-9)
    assert marked < 0.9 * float(longest_time_s(35, 8, 2.0, 2.0, 1.32, 0.03))


@pytest.fixture
def at_the_gate(frame_table: Callable[..., Any]) -> LinePresses:
    """Sixty presses at a line at 5 m: 12 nearer than the zone, none beyond.

    A third at 1/60 s, another at what a camera calls the longest time, 1/340 s: a little over it.
    """
    subject = np.r_[np.full(12, 3.0), np.full(28, 4.6), np.full(20, 5.2)]
    table = frame_table(
        np.arange(60) % 2, preset="gate", focal_length_mm=50.0, f_number=8.0, focus_distance_m=5.0,
        coc_mm=0.03, near_limit_m=4.0, far_limit_m=6.7, subject_distance_m=subject,
        side=np.where(subject < 4, "near", "in"), in_zone=subject > 4,
        exposure_time_s=np.tile([1 / 60, 1 / 330, 1 / 1000], 20),
    )  # fmt: skip
    counted = count_frames(table)
    (one,) = line_presses(counted, distances_met(counted), {"gate", "unused"}, 1.32, 0.95)
    return one


def test_presses_are_counted_on_either_side_and_by_their_time(at_the_gate: LinePresses) -> None:
    assert (at_the_gate.line_m, at_the_gate.bursts, at_the_gate.median_m) == (5.0, 60, 4.6)
    assert at_the_gate.before[0] == pytest.approx(0.2)
    assert at_the_gate.behind[0] == 0
    assert (at_the_gate.timed, at_the_gate.slower) == (60, 20)
    assert len(at_the_gate.frames) == 60
    assert at_the_gate.edge["longest_s"].max() >= at_the_gate.longest_s


def test_a_press_by_flash_counts_by_the_flash_and_not_at_all_where_nobody_said(
    frame_table: Callable[..., Any],
) -> None:
    table = frame_table(
        [0, 1] * 10, preset="gate", focal_length_mm=50.0, f_number=8.0, focus_distance_m=5.0, coc_mm=0.03,
        near_limit_m=4.0, far_limit_m=6.7, subject_distance_m=5.0, side="in", exposure_time_s=1 / 60,
        flash=True, flash_duration_s=[1 / 1000] * 15 + [np.nan] * 5,
    )  # fmt: skip
    counted = count_frames(table)
    (one,) = line_presses(counted, distances_met(counted), {"gate"}, 1.32, 0.95)
    assert (one.timed, one.slower) == (15, 0)
    assert one.frames["exposure_time_s"].tolist() == [1 / 1000] * 15


def test_sooner_or_later_is_said_only_where_the_interval_shows_it(at_the_gate: LinePresses) -> None:
    early = replace(at_the_gate, median_m=4.34, low_m=4.2, high_m=4.8)
    assert words.lead(early, "m").startswith("That is 0.66 m nearer than the line, 0.5 s at a walk: press")
    assert "sooner at those who come towards you, later at those" in words.lead(early, "m")
    late = replace(at_the_gate, median_m=5.66, low_m=5.2, high_m=5.9)
    assert "later at those who come towards you" in words.lead(late, "m")
    assert "neither surely" in words.lead(replace(at_the_gate, low_m=4.9, high_m=5.1), "m")


def test_the_time_is_said_with_how_many_were_slower(at_the_gate: LinePresses) -> None:
    assert words.shutter(at_the_gate).endswith(
        "up to 1/340 s; 20 of 60 frames were slower: go faster where light allows."
    )
    assert "open the lens" in words.shutter(replace(at_the_gate, longest_s=math.nan))
    assert (
        "with the ring on 5 m, the middle subject of 60 measured presses stood at 15.1 ft"
        in words.say_where(at_the_gate, "m", "ft")
    )
    assert "barriers" in words.say_where(at_the_gate, "m", "ft")


def test_a_press_up_to_a_twentieth_over_the_longest_time_was_in_time(frame_table: Callable[..., Any]) -> None:
    longest = float(longest_time_s(50.0, 8.0, 5.0, 5.0, 1.32, 0.03))
    times = [longest * 1.04, longest * 1.06, longest / 2, longest * 2]
    table = frame_table(
        [1, 0, 0, 1], preset="gate", focal_length_mm=50.0, f_number=8.0, focus_distance_m=5.0, coc_mm=0.03,
        near_limit_m=4.0, far_limit_m=np.inf, subject_distance_m=[4.5, 5.0, 30.0, np.nan],
        side=["in", "in", "far", None], exposure_time_s=times,
    )  # fmt: skip
    counted = count_frames(table)
    (one,) = line_presses(counted, distances_met(counted), {"gate"}, 1.32, 0.95)
    assert one.longest_s == pytest.approx(longest)
    assert (one.timed, one.slower) == (4, 2)
    assert one.frames["kept"].tolist() == [True, False, False]
    assert one.behind[0] == pytest.approx(1 / 3)
    reach = one.edge["distance_m"]
    assert reach.iloc[0] == pytest.approx(4.0)
    assert reach.iloc[-1] < 4 * 5.0
    wide = table.assign(coc_mm=0.2)
    (one,) = line_presses(count_frames(wide), distances_met(count_frames(wide)), {"gate"}, 1.32, 0.95)
    assert one.edge["distance_m"].iloc[-1] == pytest.approx(4 * 5.0), "four times the line is far enough"
    unset = table.assign(focus_distance_m=np.inf)
    assert line_presses(count_frames(unset), distances_met(counted), {"gate"}, 1.32, 0.95) == ()
    unzoned = table.assign(near_limit_m=np.nan)
    assert line_presses(count_frames(unzoned), distances_met(counted), {"gate"}, 1.32, 0.95) == ()
