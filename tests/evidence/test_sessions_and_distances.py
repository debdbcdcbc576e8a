"""Hit rates over time, and the distances met."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import kruskal
from scipy.stats import t as student

from auditor.evidence.bursts import count_frames
from auditor.evidence.distances_met import distances_met
from auditor.evidence.over_time import control_limits, overdispersion, rates_over_time, trend, z_scores
from auditor.evidence.presets import count_sessions
from auditor.evidence.proportions import wilson


def sessions_table(frame_table, hits, n):
    kept = np.concatenate([np.r_[np.ones(h), np.zeros(m - h)] for h, m in zip(hits, n, strict=True)])
    session = np.repeat(np.arange(len(n)), n)
    start = pd.Timestamp("2024-05-04 10:00") + pd.to_timedelta(session * 24, unit="h")
    return frame_table(
        kept, session=session, captured_at=start + pd.to_timedelta(np.arange(len(kept)), unit="s")
    )


# Beetle mortality, Bliss with Dobson's fit: slope 34.270326 (2.912134); the count of the seventh dose is 61.
def test_trend_published():
    dose = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
    n = np.array([59, 60, 62, 56, 63, 59, 62, 60.0])
    killed = np.array([6, 13, 18, 28, 52, 53, 61, 60.0])
    slope, p_value = trend(dose, killed, n)
    assert_allclose(slope, 34.270326, atol=1e-4)
    assert p_value < 1e-3


def test_trend_against_statsmodels():
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(1)
    n = rng.integers(20, 90, 14)
    hits = rng.binomial(n, rng.beta(4, 10, 14))
    place = np.arange(14.0)
    fit = sm.GLM(np.column_stack([hits, n - hits]), sm.add_constant(place), family=sm.families.Binomial())
    theirs = fit.fit()
    slope, p_value = trend(place, hits.astype(float), n.astype(float))
    widened = theirs.pearson_chi2 / theirs.df_resid
    assert widened > 1
    assert_allclose(slope, theirs.params[1], rtol=1e-5)
    ratio = theirs.params[1] / theirs.bse[1] / np.sqrt(widened)
    assert_allclose(p_value, 2 * student.sf(abs(ratio), theirs.df_resid), rtol=1e-4)


def test_limits_hold_a_point_of_their_own_z():
    n = np.array([15.0, 40.0, 300.0])
    low, high = control_limits(n, 0.2, 1.7)
    for limit in (low[1:], high):
        size = n[-len(limit) :]
        assert_allclose(np.abs(z_scores(limit * size, size, 0.2)) / np.sqrt(1.7), 3.0902, atol=1e-3)
    assert (low >= 0).all()
    assert (np.diff(high - low) < 0).all()


def held_over_time(table):
    counted = count_frames(table)
    return rates_over_time(counted, count_sessions(counted, 0.95))


def test_scores_of_chance_alone_are_standard():
    rng = np.random.default_rng(7)
    z = z_scores(rng.binomial(40, 0.15, 20_000).astype(float), np.full(20_000, 40.0), 0.15)
    assert_allclose(z.std(), 1.0, atol=0.03)
    assert_allclose(z.mean(), 0.0, atol=0.06)  # the skewness of 40 trials at 0.15 is left


def test_overdispersion_leaves_outliers_out():
    rng = np.random.default_rng(7)
    z = rng.normal(0, 2, 4000)
    spoiled = np.concatenate([z, np.full(80, 60.0)])
    assert overdispersion(spoiled) < 1.1 * overdispersion(z)
    assert overdispersion(rng.normal(0, 0.3, 50)) == 1.0


def test_an_outlying_session_is_named(frame_table):
    hits, n = [12, 9, 14, 10, 11, 40, 12, 9], [60] * 8
    result = held_over_time(sessions_table(frame_table, hits, n))
    assert result.sessions["outside"].tolist() == [False] * 5 + [True] + [False] * 2
    assert not result.drifts


def test_a_drift_is_named(frame_table):
    result = held_over_time(sessions_table(frame_table, [4, 7, 10, 14, 18, 21, 26, 30], [60] * 8))
    assert result.drifts
    assert result.drift_per_session > 0


@pytest.mark.slow
def test_no_wolf(frame_table):
    """Equal sessions, and sessions that scatter: hardly one in a hundred archives names anything."""
    rng = np.random.default_rng(3)
    named = drifts = 0
    for archive in range(40):
        level = np.full(10, 0.2) if archive % 2 else rng.beta(4, 16, 10)
        n = rng.integers(20, 80, 10)
        result = held_over_time(sessions_table(frame_table, rng.binomial(n, level), n))
        named += result.sessions["outside"].any()
        drifts += result.drifts
    assert named <= 2
    assert drifts <= 2


def test_few_sessions_have_no_limits(frame_table):
    result = held_over_time(sessions_table(frame_table, [5, 30], [40, 40]))
    assert result.sessions["limit_low"].isna().all()
    assert not result.sessions["outside"].any()


def test_distances_against_plain_quantiles(frame_table):
    rng = np.random.default_rng(5)
    distance = np.exp(rng.normal(1, 0.4, 200))
    preset = np.array(["a", "b"], dtype=object)[np.arange(200) % 2]
    table = frame_table(np.zeros(200), subject_distance_m=distance, preset=preset, in_zone=distance < 3)
    result = distances_met(count_frames(table))
    everything = result.presets.iloc[0]
    assert_allclose(everything["median_m"], np.quantile(distance, 0.5, method="inverted_cdf"), rtol=1e-12)
    assert_allclose(everything["in_zone"], np.mean(distance < 3), rtol=1e-12)
    assert_allclose(result.p_value, kruskal(distance[::2], distance[1::2]).pvalue, rtol=1e-12)
    assert result.presets["preset"].isna().tolist() == [True, False, False]


def test_a_burst_counts_once_however_many_of_its_frames_were_measured(frame_table):
    """Three bursts of four frames at 2 m, every frame measured, and four lone frames at 5 m: most are far."""
    near = frame_table(np.zeros(16), burst=[0] * 4 + [1] * 4 + [2] * 4 + [3, 4, 5, 6], preset="a",
                       subject_distance_m=[2.0] * 12 + [5.0] * 4)  # fmt: skip
    assert distances_met(count_frames(near)).presets.loc[0, "median_m"] == 5.0


def test_the_share_in_the_zone_has_its_n_and_an_interval_that_allows_for_bursts(frame_table):
    inside = np.tile([True, True, True, False, False, False], 20)
    settings = {"preset": "a", "subject_distance_m": np.where(inside, 2.0, 9.0), "in_zone": inside}
    alone = distances_met(count_frames(frame_table(np.zeros(120), **settings))).presets.iloc[1]
    assert_allclose([alone["zone_low"], alone["zone_high"]], wilson(60, 120), atol=0.006)
    bursts = frame_table(np.zeros(120), burst=np.arange(120) // 3, **settings)
    alike = distances_met(count_frames(bursts)).presets.iloc[1]
    assert alike["zone_frames"] == 120
    assert_allclose(alike["in_zone"], 0.5)
    assert_allclose([alike["zone_low"], alike["zone_high"]], wilson(20, 40), atol=0.02)
    unknown = bursts.assign(in_zone=pd.array([pd.NA] * 120, dtype="boolean"))
    row = distances_met(count_frames(unknown)).presets.iloc[1]
    assert row["zone_frames"] == 0
    assert np.isnan([row["in_zone"], row["zone_low"], row["zone_high"]]).all()


def test_distances_that_differ(frame_table):
    distance = np.r_[np.linspace(1, 2, 30), np.linspace(3, 5, 30)]
    table = frame_table(np.ones(60), subject_distance_m=distance, preset=["a"] * 30 + ["b"] * 30)
    assert distances_met(count_frames(table)).differ
    weighted = table.assign(sample_weight=np.r_[np.full(30, 1.0), np.full(30, 100.0)])
    assert distances_met(count_frames(weighted)).presets.loc[0, "median_m"] > 3


def test_no_distances(frame_table):
    result = distances_met(count_frames(frame_table([1, 0], preset="a")))
    assert result.presets.empty
    assert np.isnan(result.p_value)
