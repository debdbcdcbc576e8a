"""The change along a line through the walks, by numpy's fit, and when it is said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import t as student

from auditor.evidence.drift import FALSE, find_drifts, line_through

KEPT_OF = np.array([40, 60, 30, 80, 50, 70, 45, 65])
KEPT = np.array([12, 15, 6, 18, 8, 10, 5, 6])
ZONE_OF = np.array([10, 20, 15, 12, 30, 18, 25, 16])
PRESSES = np.array([50.0, 62, 44, 85, 55, 71, 64, 80])
DISTANCE = np.log([2.0, 2.4, 2.2, 2.9, 2.7, 3.1, 3.0, 3.6])
F_NUMBER = np.log([8.0, 7.0, 8.0, 6.5, 6.0, 5.6, 5.0, 4.5])
VERGENCE = 1 / np.array([2.0, 2.1, 2.5, 2.4, 3.0, 3.2, 3.1, 4.0])


def walks(**columns):
    base = {"kept": KEPT, "kept_of": KEPT_OF, "zone_of": ZONE_OF, "presses": PRESSES,
            "log_distance": DISTANCE, "log_f_number": F_NUMBER, "vergence": VERGENCE}  # fmt: skip
    return pd.DataFrame(base | columns)


def drifts(**columns):
    return {one.what: one for one in find_drifts(walks(**columns))}


def line(value, weight, level):
    """Ends of the weighted line, and the interval of the change: numpy's covariance, Student's t."""
    at = np.arange(len(value))
    (slope, start), scatter = np.polyfit(at, value, 1, w=np.sqrt(weight), cov=True)
    half = student.ppf(0.5 + level / 2, len(value) - 2) * np.sqrt(scatter[0, 0]) * at[-1]
    change = slope * at[-1]
    return start, change, change - half, change + half


@pytest.mark.parametrize(
    ("what", "value", "weight"),
    [
        ("distance", DISTANCE, ZONE_OF / (ZONE_OF + 7)),
        ("f_number", F_NUMBER, np.ones(8)),
        ("ring", -np.log(VERGENCE), np.ones(8)),
        ("presses", np.log(PRESSES), np.ones(8)),
    ],
)
def test_what_is_on_a_log_scale_changes_by_a_factor(what, value, weight):
    found = drifts()[what]
    start, change, low, high = line(value, weight, 1 - FALSE[what])
    assert_allclose([found.first, found.last], np.exp([start, start + change]), rtol=1e-9)
    assert_allclose([found.low, found.high], np.exp([low, high]), rtol=1e-9)
    assert (found.level, found.walks) == (1 - FALSE[what], 8)
    assert found.shown == (not low <= 0 <= high)


def test_the_share_kept_changes_by_a_difference_on_its_own_scale():
    angle = np.arcsin(np.sqrt((KEPT + 0.375) / (KEPT_OF + 0.75)))
    start, change, low, high = line(angle, KEPT_OF / (KEPT_OF + 30), 1 - FALSE["kept"])
    found = drifts()["kept"]
    assert_allclose([found.first, found.last], np.sin([start, start + change]) ** 2, rtol=1e-9)
    middle = start + change / 2
    ends = [np.sin(middle + end / 2) ** 2 - np.sin(middle - end / 2) ** 2 for end in (low, high)]
    assert_allclose([found.low, found.high], ends, rtol=1e-9)
    assert found.shown
    assert found.high < 0


def test_a_share_never_leaves_nought_to_one():
    none = drifts(kept=np.array([24, 9, 0, 0, 0, 0, 0, 0]), kept_of=np.full(8, 40))["kept"]
    every = drifts(kept=np.array([16, 31, 40, 40, 40, 40, 40, 40]), kept_of=np.full(8, 40))["kept"]
    assert none.last == 0 < none.first < 1
    assert 0 < every.first < every.last == 1


def test_six_walks_of_which_something_is_known_may_drift_and_fewer_never():
    assert {one.what for one in find_drifts(walks().head(6))} == set(FALSE)
    assert find_drifts(walks().head(5)) == ()
    unset = {one.what for one in find_drifts(walks().head(6).assign(zone_of=[0, *ZONE_OF[1:6]]))}
    assert unset == set(FALSE) - {"distance"}
    unknown = drifts(log_distance=[np.nan, *DISTANCE[1:]])["distance"]
    start, change, _, _ = line(DISTANCE[1:], ZONE_OF[1:] / (ZONE_OF[1:] + 7), 0.95)
    assert unknown.walks == 7
    assert_allclose([unknown.first, unknown.last], np.exp([start, start + change]), rtol=1e-9)


def test_a_change_that_reads_as_none_is_not_said_however_sure_it_is():
    """Lines without any scatter: half a hundredth is not said, two hundredths are, up as well as down."""
    for factor, shown in ((1.005, False), (1 / 1.005, False), (1.02, True), (1 / 1.02, True)):
        assert drifts(log_f_number=np.linspace(2, 2 + np.log(factor), 8))["f_number"].shown == shown
    for last, shown in ((206, False), (194, False), (240, True), (160, True)):
        kept = np.round(np.linspace(200, last, 8))
        assert drifts(kept=kept, kept_of=np.full(8, 1000))["kept"].shown == shown


def test_the_line_begins_at_its_first_place_wherever_that_lies():
    at = np.array([5.0, 6, 8, 9, 13])
    value = 2 + 0.5 * at
    start, change, error = line_through(at, value, np.array([1.0, 2, 1, 3, 1]))
    assert (start, change) == pytest.approx((4.5, 4))
    assert error == pytest.approx(0, abs=1e-12)
    scattered = value + np.array([0.1, -0.2, 0.3, 0.0, -0.1])
    assert_allclose(line_through(at, scattered, np.ones(5)), line_through(at - 5, scattered, np.ones(5)))
