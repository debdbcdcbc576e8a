"""Which tolerance speaks, and the groups drawn beside its curve, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.bursts import count_frames
from auditor.evidence.tolerance import describe_tolerance


def curves(verdicts):
    """A fit of three equal curves of steepness 2: half sharp at 0.06 mm, half kept at 0.03 mm."""
    one = np.ones(3)
    return Tolerances(
        handbook_mm=0.03, sharp_mm=0.06, sharp_low=0.05, sharp_high=0.07, keep_mm=0.03, keep_low=0.025,
        keep_high=0.035, sharp_sd=0.1, nothing=0.0, verdicts=verdicts, keepers=20, log_sharp=np.log(2) * one,
        log_keep=0 * one, kappa=2 * one, walking=one, floor=0 * one,
    )  # fmt: skip


@pytest.fixture
def described(frame_table):
    """Forty frames of 0.01 to 0.40 mm, every other one kept; the first 26 judged, those to 0.20 mm sharp."""

    def describe(verdicts):
        sharp = ["yes"] * 20 + ["no"] * 6 + ["unsure"] * 7 + [None] * 7
        table = frame_table([1, 0] * 20, blur_mm=np.arange(1, 41) / 100, sharp=sharp, subject_distance_m=3.0)
        return describe_tolerance(count_frames(table), {"lens A": (curves(verdicts), 40)}, 0.95)

    return describe


def test_from_thirty_verdicts_on_sharpness_speaks(described):
    found = described(30)
    assert (found.used, found.eye) == ("sharp", found.sharp)
    assert found.times_handbook == pytest.approx(2)
    assert found.chance([0.03, 0.06, 0.12]) == pytest.approx(np.tile([1 / 1.25, 1 / 2, 1 / 5], (3, 1)))
    # 26 verdicts are two groups of at least twelve
    groups = found.calibration
    assert groups["frames"].tolist() == [13, 13]
    assert groups["rate"].tolist() == pytest.approx([1, 7 / 13])
    assert groups["blur_mm"].tolist() == pytest.approx([0.07, 0.20])
    first = np.mean([1 / (1 + (k / 6) ** 2) for k in range(1, 14)])
    assert groups["expected"][0] == pytest.approx(first)


def test_below_that_the_keepers_do(described):
    found = described(29)
    assert (found.used, found.eye) == ("keepers", found.keep)
    assert "few_verdicts" in found.flags
    assert found.times_handbook == pytest.approx(1)
    # the level of the curve is that of the frames: half are kept, but no frame surely
    shares = 1 / (1 + (np.arange(1, 41) / 3) ** 2)
    ceiling = min(0.5 / shares.mean(), 0.99)
    assert found.ceiling == pytest.approx(ceiling, rel=1e-3)
    assert found.chance(0.06) == pytest.approx(ceiling / 5 * np.ones((3, 1)), rel=1e-3)
    # all forty, in three groups
    assert found.calibration["frames"].tolist() == [14, 13, 13]
    assert found.calibration["rate"].tolist() == pytest.approx([7 / 14, 7 / 13, 6 / 13])
