"""Which frames belong together, and which of them carry a blur."""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.evidence.bursts import (
    burst_codes,
    combined_codes,
    count_frames,
    count_presses,
    is_counted,
    number_runs,
    zone_focused,
)


def test_a_press_with_one_keeper_is_a_hit_and_one_without_is_not(frame_table):
    table = frame_table([0, 1, 0, 0, 1, 0], burst=[1, 1, 1, 2, 3, 3], session=[4, 4, 4, 4, 7, 7])
    hit, session, first = count_presses(table)
    assert hit.tolist() == [True, False, True]
    assert session.tolist() == [0, 0, 1]
    assert first.tolist() == [0, 3, 4]


def test_blur_counts_where_it_is_known_above_nought_and_has_a_distance(frame_table):
    table = frame_table(
        [1, 0, 0, 0, 0, 0], burst=[1, 1, 2, 3, 4, 5], preset="a",
        blur_mm=[0.03, 0.04, np.inf, np.nan, 0.0, 0.03], subject_distance_m=[2.0, 2.0, 2.0, 2.0, 2.0, 0.0],
    )  # fmt: skip
    blurred = count_frames(table).blurred
    assert blurred["file"].tolist() == ["F00000.JPG", "F00001.JPG"]
    assert blurred["burst_hit"].tolist() == [True, True], "its sibling was kept"
    assert blurred["kept"].tolist() == [True, False]
    without = frame_table([0, 1], burst=[1, 2], preset="a", blur_mm=0.03, subject_distance_m=2.0)
    assert count_frames(without).blurred["burst_hit"].tolist() == [False, True]


def test_every_combination_has_a_number_of_its_own_in_order_of_appearance():
    first, second = np.repeat([0, 1, 2, 3], 3), np.tile([5, 6, 7], 4)
    assert combined_codes(first, second).tolist() == list(range(12))
    assert combined_codes(second[::-1], first[::-1]).tolist() == list(range(12))
    unknown_too = np.array(["b", "a", "b", None, None], dtype=object)
    assert combined_codes(unknown_too).tolist() == [0, 1, 0, 2, 2]
    assert combined_codes(pd.Series([], dtype=float), pd.Series([], dtype="str")).tolist() == []


def test_bursts_of_two_sessions_are_two_and_an_unknown_one_is_of_one_frame(frame_table):
    table = frame_table([0] * 7, burst=[1, 1, 1, pd.NA, pd.NA, 1, 1],
                        session=[1, 1, 2, 2, 2, pd.NA, pd.NA])  # fmt: skip
    assert burst_codes(table).tolist() == [0, 0, 1, 2, 3, 4, 4]
    halves = table.assign(preset=["p", "q", "p", "p", "p", "p", "p"])
    assert burst_codes(halves, "preset").tolist() == [0, 1, 2, 3, 4, 5, 5], "another preset is another burst"


def test_zone_focused_frames_count_unless_they_were_left_out_or_nobody_counted_them(frame_table):
    table = frame_table(
        [1, 0, -1, 1, 0], in_preset=pd.array([True, True, True, False, None], dtype="boolean")
    )
    assert zone_focused(table)["file"].tolist() == ["F00000.JPG", "F00001.JPG"]
    assert is_counted(table).tolist() == [True, True, False, True, True]
    uncounted = table.assign(counted_as=pd.Series([None, "keeper", None, None, None], dtype="str"))
    assert is_counted(uncounted).tolist() == [False, True, False, False, False]


def test_a_run_ends_at_another_group_session_or_camera(frame_table):
    """Of body A: a a b a, then a in the next session; body B in between does not end a run of body A."""
    table = frame_table([0] * 7, session=[1, 1, 1, 1, 1, 1, 2], camera=["A", "B", "A", "B", "A", "A", "A"])
    group = np.array([0, 0, 0, 0, 1, 0, 0])
    assert number_runs(table, group).tolist() == [0, 4, 0, 4, 1, 2, 3]
    late = table.assign(captured_at=table["captured_at"].mask(table.index == 0))
    assert number_runs(late, group).tolist()[0] == 4, "a frame without a time comes last of its camera"
