"""Which tolerance speaks, and the groups drawn beside its curve, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from auditor.evidence.blur_tolerance import Eye, Tolerances
from auditor.evidence.bursts import count_frames
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.tolerance import describe_tolerance


def curves(verdicts):
    """A fit of three equal curves of steepness 2: half sharp at 0.06 mm, half kept at 0.03 mm."""
    one = np.ones(3)
    return Tolerances(
        handbook_mm=0.03, sharp=Eye(0.06, 0.05, 0.07, verdicts), keep=Eye(0.03, 0.025, 0.035, 20),
        sharp_sd=0.1, nothing=0.0, log_sharp=np.log(2) * one, log_keep=0 * one,
        kappa=2 * one, walking=one, floor=0 * one,
    )  # fmt: skip


def of_table(table, fits):
    return describe_tolerance(count_frames(table), judged_frames(table), fits, 0.95)


@pytest.fixture
def described(frame_table):
    """Forty frames of 0.01 to 0.40 mm, every other one kept; the first 26 judged, those to 0.20 mm sharp."""

    def describe(verdicts):
        sharp = ["yes"] * 20 + ["no"] * 6 + ["unsure"] * 7 + [None] * 7
        table = frame_table([1, 0] * 20, blur_mm=np.arange(1, 41) / 100, sharp=sharp, subject_distance_m=3.0)
        return of_table(table, {"lens A": (curves(verdicts), 40)})

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


def fit_of(verdicts, **changed):
    return replace(curves(verdicts), **changed)


@pytest.fixture
def flags(frame_table):
    table = frame_table([1, 0] * 20, blur_mm=np.arange(1, 41) / 100, subject_distance_m=3.0)

    def flags(fit, presses=40):
        return of_table(table, {"lens A": (fit, presses)}).flags

    return flags


def test_a_tolerance_more_than_six_times_as_high_as_low_is_too_wide(flags):
    six, more = (Eye(0.03, 0.125, high, 20) for high in (0.75, 0.7501))
    assert "too_wide" not in flags(fit_of(0, keep=six))
    assert "too_wide" in flags(fit_of(0, keep=more))
    assert "too_wide" not in flags(fit_of(30, keep=more)), "verdicts speak, and they are narrow"
    assert flags(fit_of(0, keep=more), presses=0) == ("no_distances", "few_verdicts")


def test_blur_decides_nothing_is_said_of_keepers_from_three_in_four_on(flags):
    assert "blur_decides_nothing" not in flags(fit_of(0, nothing=0.7499))
    assert "blur_decides_nothing" in flags(fit_of(0, nothing=0.75))
    assert flags(fit_of(30, nothing=0.9)) == ()
    assert flags(fit_of(0, nothing=0.9), presses=0) == ("no_distances", "few_verdicts")


def test_the_level_of_the_curve_is_that_of_the_frames(frame_table):
    """One frame in five is kept: floors and tolerances differ, the mean of the chances never does."""
    blur = np.tile([0.01, 0.02, 0.03, 0.05, 0.09], 8)
    table = frame_table([1, 0, 0, 0, 0] * 8, blur_mm=blur, subject_distance_m=3.0)
    floor, times = np.array([0.0, 0.1, 0.2]), np.array([1.0, 2.0, 0.8])
    found = of_table(table, {"lens A": (fit_of(0, floor=floor, log_keep=np.log(times)), 40)})
    falls = (1 / (1 + (blur[:, None] / (0.03 * times)) ** 2)).mean(axis=0)
    ceiling = 0.2 / (floor + (1 - floor) * falls)
    assert found.draws[:, 0] == pytest.approx(0.03 * times)
    assert found.draws[:, 2] == pytest.approx(ceiling, rel=0.01)
    assert found.draws[:, 3] == pytest.approx(floor * ceiling, rel=0.01)
    assert found.chance(blur).mean(axis=1) == pytest.approx([0.2] * 3, rel=0.01)
    assert found.chance(0.0)[:, 0] == pytest.approx(found.draws[:, 2])
    unweighed = of_table(table.assign(sample_weight=0.0), {"lens A": (fit_of(0), 40)})
    assert np.isnan(unweighed.draws[:, 2:]).all()
    assert unweighed.draws[:, 0] == pytest.approx([0.03] * 3)


def test_a_tolerance_is_fitted_where_any_subject_has_a_distance(frame_table):
    table = frame_table([1, 0] * 20, blur_mm=np.arange(1, 41) / 100, subject_distance_m=3.0)
    none, one = (of_table(table, {"lens A": (fit_of(30), presses)}) for presses in (0, 1))
    assert (none.fitted, none.carries) == (False, False)
    assert (one.fitted, one.carries) == (True, True)


def test_verdicts_on_frames_of_unknown_blur_are_in_no_group(frame_table):
    blur = np.r_[np.arange(1, 25) / 100, np.inf, np.nan, 0.0]
    table = frame_table([0] * 27, blur_mm=blur, subject_distance_m=3.0, sharp=["yes"] * 12 + ["no"] * 15)
    groups = of_table(table, {"lens A": (curves(30), 27)}).calibration
    assert groups["frames"].tolist() == [12, 12]
    assert groups["rate"].tolist() == [1, 0]


def test_each_lens_that_carries_a_tolerance_has_its_own_where_there_are_several(frame_table):
    table = frame_table([1, 0] * 20, blur_mm=np.arange(1, 41) / 100, subject_distance_m=3.0)
    wide = fit_of(0, keep=Eye(0.03, 0.01, 0.1, 20))

    def lenses(**fits):
        found = of_table(table, fits)
        return found.bursts, {name: one.bursts for name, one in found.by_lens.items()}

    assert lenses(a=(fit_of(0), 30), b=(fit_of(0), 10)) == (40, {"a": 30, "b": 10})
    assert lenses(a=(fit_of(0), 30), b=(fit_of(0), 0)) == (30, {})
    assert lenses(a=(fit_of(0), 30), b=(wide, 10)) == (40, {})
    assert lenses(a=(fit_of(0), 30), b=(wide, 10), c=(fit_of(0), 5)) == (45, {"a": 30, "c": 5})


def test_there_are_at_most_eight_groups_of_at_least_twelve(frame_table):
    for frames, groups in ((11, 1), (23, 1), (24, 2), (95, 7), (96, 8), (200, 8)):
        table = frame_table([1, 0] * (frames // 2) + [1] * (frames % 2), subject_distance_m=3.0,
                            blur_mm=np.arange(1, frames + 1) / 100)  # fmt: skip
        found = of_table(table, {"lens A": (curves(0), frames)}).calibration
        assert (len(found), found["frames"].sum()) == (groups, frames)
