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
