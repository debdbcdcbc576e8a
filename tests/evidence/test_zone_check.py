"""Zone against keepers, and the verdict on the criterion."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from auditor.evidence.blur_tolerance import Eye
from auditor.evidence.bursts import count_frames
from auditor.evidence.tolerance import fit_tolerance
from auditor.evidence.zone_check import check_zone, odds_ratio, verdict_on
from auditor.settings import Settings


def zone_table(frame_table, in_kept, in_not, out_kept, out_not, **columns):
    counts = [in_kept, in_not, out_kept, out_not]
    kept = np.repeat([1, 0, 1, 0], counts)
    inside = np.repeat([True, True, False, False], counts)
    return frame_table(kept, in_zone=inside, side=np.where(inside, "in", "far"), preset="a", coc_mm=0.03,
                       coc_criterion="handbook", subject_distance_m=2.0, **columns)  # fmt: skip


def check(table):
    return check_zone(count_frames(table), fit_tolerance(table, Settings()))


def test_the_allowance_leaves_the_usual_diffraction_and_motion_out(frame_table):
    """Of 0.05 mm beside 0.03 mm of diffraction and no motion, 0.04 mm; 0 where nothing is left."""
    rng = np.random.default_rng(3)
    table = zone_table(frame_table, 20, 60, 10, 90, diffraction_mm=0.03, motion_mm=np.nan, blur_mm=0.04)
    plain = fit_tolerance(table, Settings())
    fitted = replace(plain, used="sharp", sharp=Eye(0.05, 0.02, 0.06, 50), bursts=9, flags=())
    found = check_zone(count_frames(table), fitted)
    assert_allclose([found.allowance_mm, found.allowance_low], [0.04, 0.0], atol=1e-12)
    moving = table.assign(motion_mm=rng.permutation(np.linspace(0.02, 0.04, len(table))))
    left = check_zone(count_frames(moving), fitted).allowance_mm
    assert_allclose(left, np.sqrt(0.05**2 - 2 * 0.03**2), rtol=1e-9)


# Cornfield's smoking and lung cancer table after Doll & Hill (1950), Br. Med. J. 2:739, men: 647 of 649 cases
# and 622 of 649 controls smoked; odds ratio 14.04, 95 % limits 3.33 to 59.30 by Woolf's method (from memory;
# recomputed).
def test_odds_ratio_published(frame_table):
    result = check(zone_table(frame_table, 647, 622, 2, 27))
    assert_allclose(result.odds_ratio, 14.04, atol=0.005)
    assert_allclose([result.low, result.high], [3.33, 59.3], rtol=0.01)
    assert (result.in_kept, result.in_not_kept, result.out_kept, result.out_not_kept) == (647, 622, 2, 27)


def test_bursts_against_statsmodels():
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(2)
    sizes = rng.integers(1, 7, 300)
    burst = np.repeat(np.arange(300), sizes)
    inside = (rng.random(300) < 0.6)[burst]
    kept = (rng.random(300) < np.where(inside[np.unique(burst, return_index=True)[1]], 0.4, 0.2))[burst]
    design = np.column_stack([np.ones(burst.size), inside])
    gee = sm.GEE(kept.astype(float), design, groups=burst, family=sm.families.Binomial()).fit()
    ratio, low, high = odds_ratio(inside, kept, burst)
    assert_allclose(np.log(ratio), gee.params[1], atol=1e-6)
    assert_allclose(np.log(high / low) / 2 / 1.959964, gee.bse[1], rtol=0.01)


def test_empty_cell_is_finite(frame_table):
    result = check(zone_table(frame_table, 10, 20, 0, 15))
    assert math.isfinite(result.odds_ratio)
    assert result.low > 0
    assert result.kept_outside == 0


def test_one_side_only_is_unknown(frame_table):
    assert math.isnan(check(zone_table(frame_table, 10, 20, 0, 0)).odds_ratio)


def test_share_of_keepers_outside(frame_table):
    result = check(zone_table(frame_table, 30, 20, 10, 40))
    assert_allclose(result.kept_outside, 0.25)
    assert result.kept_outside_low < 0.25 < result.kept_outside_high


def test_fitted_criterion_is_not_used_on_its_own_frames(frame_table):
    """Measured zone says all inside; the handbook's 0.030 mm puts a quarter of them outside."""
    table = zone_table(frame_table, 20, 20, 0, 0).assign(
        coc_criterion="measured", coc_mm=0.09, sensor_width_mm=36.0, sensor_height_mm=24.0,
        defocus_mm=np.tile([0.01, 0.01, 0.02, 0.05], 10),
    )  # fmt: skip
    result = check(table)
    assert result.criterion == "handbook"
    assert result.out_kept + result.out_not_kept == 10


@pytest.mark.parametrize(
    ("interval", "verdict"),
    [
        ((0.05, 0.04, 0.06), "too strict"),
        ((0.02, 0.01, 0.025), "too generous"),
        ((0.031, 0.025, 0.04), "about right"),
        ((0.031, 0.01, 0.09), "cannot tell"),
        ((math.nan,) * 3, "cannot tell"),
    ],
)
def test_verdict(interval, verdict):
    assert verdict_on(0.03, *interval) == verdict


@pytest.mark.parametrize(
    ("interval", "verdict"),
    [
        ((0.05, 0.03, 0.06), "about right"),  # an interval that touches the criterion says nothing against it
        ((0.02, 0.01, 0.03), "cannot tell"),  # and one of three times its lower end says nothing at all
        ((0.025, 0.0125, 0.03), "about right"),
        ((0.03, math.nan, math.nan), "cannot tell"),
        ((0.05, 0.03125, 0.09375), "too strict"),
    ],
)
def test_the_verdict_where_the_interval_just_reaches(interval, verdict):
    assert verdict_on(0.03, *interval) == verdict
    assert verdict_on(math.nan, *interval) == "cannot tell"


def test_counts_and_rates_of_either_side(frame_table):
    found = check(zone_table(frame_table, 30, 20, 10, 40))
    assert (found.in_kept, found.in_not_kept, found.out_kept, found.out_not_kept) == (30, 20, 10, 40)
    assert_allclose([found.in_rate, found.out_rate, found.times], [0.6, 0.2, 3])
    for rate, low, high in (("in_rate", "in_low", "in_high"), ("out_rate", "out_low", "out_high")):
        assert 0 < getattr(found, low) < getattr(found, rate) < getattr(found, high) < 1
    assert (found.criterion, found.coc_mm) == ("handbook", 0.03)
    unknown = zone_table(frame_table, 30, 20, 10, 40)
    unknown["in_zone"] = unknown["in_zone"].mask(unknown.index < 25)
    found = check(unknown)
    assert (found.in_kept, found.in_not_kept, found.out_kept, found.out_not_kept) == (5, 20, 10, 40)


def test_a_point_that_blurs_to_just_the_handbook_criterion_is_inside(frame_table):
    """Of a 30 x 40 mm sensor the criterion is 50 / 1442 mm; unknown sensors and defocus stay out."""
    coc = 50 / 1442
    table = zone_table(frame_table, 3, 3, 0, 0).assign(
        coc_criterion="measured", sensor_width_mm=[30.0] * 5 + [np.nan], sensor_height_mm=40.0,
        defocus_mm=[coc, coc * 1.001, coc, coc * 1.001, np.nan, 0.01],
    )  # fmt: skip
    found = check(table)
    assert (found.in_kept, found.in_not_kept, found.out_kept, found.out_not_kept) == (2, 0, 1, 1)
    assert found.coc_mm == pytest.approx(coc)


def test_the_odds_ratio_by_hand():
    """30 of 50 inside against 10 of 50 outside; robust variance of lone frames is Woolf's times n / (n - 1).

    Inside half a frame is added to each cell where one is empty, whatever number of frames each stands for.
    """
    inside = np.repeat([True, False], 50)
    kept = np.r_[np.arange(50) < 30, np.arange(50) < 10]
    half = 1.959964 * np.sqrt((1 / 30 + 1 / 20 + 1 / 10 + 1 / 40) * 100 / 99)
    assert_allclose(odds_ratio(inside, kept, np.arange(100)), 6 * np.exp([0, -half, half]), rtol=1e-6)
    none = np.arange(100) < 30
    found = odds_ratio(inside, none, np.arange(100))
    assert_allclose(found[0], 30.5 * 50.5 / (20.5 * 0.5))
    assert_allclose(odds_ratio(inside, none, np.arange(100), 0.95, np.full(100, 7.0)), found)
    one = odds_ratio(inside, kept, np.zeros(100, dtype=int))
    assert_allclose(one, [6, 6, 6]), "the sums of one burst alone do not vary"


@pytest.mark.parametrize("empty", ["inside", "outside", "kept", "not kept"])
def test_the_odds_ratio_needs_both_sides_and_both_marks(empty):
    inside, kept = np.array([True, True, False, False]), np.array([True, False, True, False])
    if empty in ("inside", "outside"):
        inside = np.full(4, empty == "outside")
    else:
        kept = np.full(4, empty == "not kept")
    assert np.isnan(odds_ratio(inside, kept, np.arange(4))).all()
