"""Several subjects in one frame: the worked case of the trade, 50 mm, one at 6 ft, another at 13 ft."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.company import company_by_preset, count_company, held_in_zone
from auditor.optics.lens import sharp_zone
from auditor.show.words.fallout import company

FOOT = 0.3048


def held(near, far, first, others):
    return held_in_zone(
        pd.DataFrame(
            {
                "near_limit_m": near,
                "far_limit_m": far,
                "subject_distance_m": first,
                "other_subjects_m": others,
            }
        )
    ).tolist()


def test_two_at_a_table_wide_open_and_at_f16():
    """Common practice, no source: f/16 set between them holds both, wide open holds the first only."""
    zone = sharp_zone(50, [2, 16], [6 * FOOT, 8.2 * FOOT], 0.03)
    first, other = np.full(2, 6 * FOOT), [f"{13 * FOOT:.6g}"] * 2
    said = held(zone.near_limit_m, zone.far_limit_m, first, other)
    assert said == ["only_first_in_zone", "all_in_zone"]


@pytest.mark.parametrize(
    ("first", "others", "said"),
    [(2.0, "3", "all"), (2.0, "3|4", "all"), (2.0, "3|5", "only_first"), (2.0, "5", "only_first"),
     (1.0, "3|5", "only_others"), (1.0, "5", "none"), (5.0, "3", "only_others"), (5.0, "1|6", "none"),
     (1.5, "4", "all"), (4.0, "1.5", "all"), (2.0, "", None), (np.nan, "3", None)],
)  # fmt: skip
def test_each_case(first, others, said):
    assert held(1.5, 4.0, first, [others]) == [said and f"{said}_in_zone"]


def test_one_subject_and_unknown_zones_are_told_apart_from_none():
    column = pd.Series([None, "3"], dtype="str")
    assert held([1.0, np.nan], [5.0, np.nan], 2.0, column) == [None, None]
    assert held(1.0, np.inf, 2.0, ["300"]) == ["all_in_zone"]


def test_frames_are_counted_by_what_the_zone_held():
    frames = pd.DataFrame({
        "near_limit_m": [1.5] * 5, "far_limit_m": [4.0] * 5,
        "subject_distance_m": [2.0, 2.0, 1.0, 1.0, 2.0],
        "other_subjects_m": ["3", "5", "3", "5", None],
    })  # fmt: skip
    assert count_company(frames) == {
        "all_in_zone": 1, "only_first_in_zone": 1, "only_others_in_zone": 1, "none_in_zone": 1,
    }  # fmt: skip


def test_each_preset_has_its_own_count():
    frames = pd.DataFrame({
        "preset": ["table", "table", "gate", "gate", None], "near_limit_m": 1.5, "far_limit_m": 4.0,
        "subject_distance_m": 2.0, "other_subjects_m": ["3", "5", "3.5", None, "3"],
    })  # fmt: skip
    found = company_by_preset(frames)
    assert list(found) == ["gate", "table"]
    assert found["table"] == {
        "all_in_zone": 1, "only_first_in_zone": 1, "only_others_in_zone": 0, "none_in_zone": 0,
    }  # fmt: skip
    said = company(count_company(frames.head(4)), found)
    assert said == (
        "Of 3 frames with several subjects the zone held all of them in 2 and only the first in 1. "
        "All of them by preset: gate 1 of 1 and table 1 of 2."
    )
    assert company(count_company(frames.tail(2)), {}).count("preset") == 0
