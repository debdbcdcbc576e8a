"""The keeper tolerance against an independent fit, laws, and simulated archives."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from auditor.evidence.burst_blur import LOG_BLUR, burst_blur, into_classes
from auditor.evidence.burst_evidence import gather
from auditor.evidence.keeper_curve import fall, fit_heights, keep_probability
from auditor.evidence.sampling import sampling_factor
from auditor.evidence.tolerance_fit import fit_tolerance_curve
from numpy.testing import assert_allclose
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import norm

from auditor.evidence import tolerance_checks as checks
from auditor.evidence.tolerance import defocus_allowance_mm, fit_tolerance
from auditor.evidence.true_distance import burst_error_sd, likely_log_distance
from auditor.settings import Settings

BENCH = Path(__file__).parents[1] / "bench"
STILL = Settings(speed_m_s=0.0)


@pytest.fixture(scope="module")
def bench():
    sys.path.insert(0, str(BENCH))
    try:
        import bench_tolerance

        yield bench_tolerance
    finally:
        sys.path.remove(str(BENCH))


@pytest.fixture(scope="module")
def archive(bench):
    """One simulated archive of 2,000 single frames, its distances guessed, and its truth."""
    return bench.draw_archive(np.random.default_rng(12), bench.World("test"), 2000)


def known_blur_table(bench, n, seed):
    """Frames of still subjects at known distances: nothing about their blur is uncertain."""
    world = bench.World("known", guess_sd=0.0)
    table, truth = bench.draw_archive(np.random.default_rng(seed), world, n)
    blur = np.hypot(table["defocus_mm"], table["diffraction_mm"])
    chance = bench.draw_archive.__globals__["keep_chance"](world, truth, blur)
    kept = np.random.default_rng(seed + 1).random(n) < chance
    verdict = np.where(kept, "keeper", "not kept")
    return table.assign(blur_mm=blur, motion_mm=0.0, subject_distance_rel_sd=0.0, counted_as=verdict), truth


def test_against_independent_fit(bench):
    """Plain maximum likelihood of the four-parameter curve by a general-purpose optimiser, no priors."""
    table, _ = known_blur_table(bench, 6000, 3)
    blur, kept = table["blur_mm"].to_numpy(), (table["counted_as"] == "keeper").to_numpy()

    def loss(point):
        floor, rest = expit(point[2]), expit(point[3])
        left = 1 / (1 + np.exp(np.exp(point[1]) * (np.log(blur) - point[0])))
        p = np.clip(floor + (1 - floor) * rest * left, 1e-9, 1 - 1e-9)
        return -np.sum(np.where(kept, np.log(p), np.log1p(-p)))

    starts = [np.array([np.log(t), np.log(4.0), -3.5, -0.5]) for t in (0.02, 0.04, 0.08)]
    best = min((minimize(loss, s, method="Nelder-Mead", options={"maxiter": 4000}) for s in starts),
               key=lambda fit: fit.fun)  # fmt: skip
    ours = fit_tolerance(table, STILL, refits=False)
    floor = expit(best.x[2])
    assert_allclose(np.log(ours.blur_mm), best.x[0], atol=0.25 * np.log(ours.high / ours.low) / 2)
    assert_allclose(ours.ceiling, floor + (1 - floor) * expit(best.x[3]), rtol=0.05)
    # and no better point by the same likelihood, but for the priors' part
    mine = np.array([np.log(ours.blur_mm), np.log(ours.steepness), np.log(ours.floor / (1 - ours.floor)),
                     np.log((ours.ceiling - ours.floor) / (1 - ours.ceiling))])  # fmt: skip
    assert loss(mine) - best.fun < 1.5


def test_heights_maximise_the_penalised_likelihood(archive):
    """Fisher scoring against a general-purpose optimiser on the same function, growth and slope included."""
    from auditor.evidence import keeper_curve as curve

    table, _ = archive
    table = table.iloc[:600].assign(burst=np.repeat(np.arange(300), 2))
    evidence = gather(burst_blur(table, Settings()), most_rows=10_000)
    fits = fit_heights(evidence, np.log([0.04]), np.array([4.0]), growth=True, slope=True)
    left = evidence.shares @ fall(np.exp(LOG_BLUR), 0.04, 4.0)
    priors = [curve.FLOOR_LOGIT, curve.CEILING_LOGIT, curve.GROWTH, curve.SLOPE]

    def loss(point):
        floor = expit(point[0])
        p = floor + (1 - floor) * expit(point[1] + point[3] * evidence.distance) * left
        miss = (1 - p) ** np.exp(point[2] * evidence.log_frames)
        data = evidence.hits * np.log(1 - miss) + evidence.misses * np.log(miss)
        penalty = sum((x - m) ** 2 / (2 * s**2) for x, (m, s) in zip(point, priors, strict=True))
        return -data.sum() + penalty

    best = minimize(loss, np.array([m for m, _ in priors]), method="BFGS", options={"gtol": 1e-4})
    assert_allclose(fits.log_posterior[0], -best.fun, atol=1e-4)
    assert_allclose(fits.point[0], best.x, atol=0.01)


def test_curve_laws():
    blur = np.geomspace(0.001, 1, 50)
    chance = keep_probability(blur, 0.04, 3.0, 0.5, 0.02)
    assert (np.diff(chance) < 0).all()
    assert_allclose(keep_probability(0.04, 0.04, 3.0, 0.5, 0.02), 0.26, rtol=1e-12)
    assert_allclose(keep_probability([0.0, 1e9], 0.04, 3.0, 0.5, 0.02), [0.5, 0.02], rtol=1e-9)


def test_blur_of_certain_distance_is_that_of_the_table(bench):
    table, _ = known_blur_table(bench, 200, 8)
    bursts = burst_blur(table, STILL)
    assert_allclose(bursts.shares.sum(axis=1), 1, rtol=1e-12)
    assert_allclose(bursts.shares @ LOG_BLUR, np.log(bursts.blur_mm), atol=1e-6)
    assert_allclose(bursts.blur_mm, table["blur_mm"], rtol=1e-12)


def test_blur_distribution_against_plain_simulation(archive):
    """Guess and direction drawn a hundred thousand times for one frame."""
    table, _ = archive
    settings = Settings(guess_sd=0.2, speed_m_s=1.3)
    bursts = burst_blur(table, settings)
    row = int(np.argmax(bursts.blur_mm))
    frame = table.iloc[row]
    group = np.unique(table["preset"], return_inverse=True)[1]
    guess = np.log(table["subject_distance_m"].to_numpy())
    mean, sd = likely_log_distance(guess, np.full(2000, 0.2), np.ones(2000), group)
    rng = np.random.default_rng(1)
    distance = np.exp(mean[row] + sd[row] * rng.standard_normal(100_000))
    crossing = np.abs(np.sin(rng.uniform(0, np.pi, 100_000)))
    from simulated_archives import blur_parts_mm

    parts = blur_parts_mm(frame["focal_length_mm"], frame["f_number"], frame["focus_distance_m"], distance,
                          frame["exposure_time_s"], crossing)  # fmt: skip
    log_blur = 0.5 * np.log(sum(part**2 for part in parts))
    assert_allclose(bursts.shares[row] @ LOG_BLUR, log_blur.mean(), atol=0.02)
    for tolerance in (0.03, 0.06, 0.12):
        ours = bursts.shares[row] @ fall(np.exp(LOG_BLUR), tolerance, 4.0)
        assert_allclose(ours, fall(np.exp(log_blur), tolerance, 4.0).mean(), atol=0.01)


def test_classes_keep_sum_and_mean():
    blur = np.exp(np.random.default_rng(0).normal(-3.5, 1, (7, 5)))
    shares = into_classes(blur, np.full((7, 5), 0.2))
    assert_allclose(shares.sum(axis=1), 1, rtol=1e-12)
    assert_allclose(shares @ LOG_BLUR, np.log(blur).mean(axis=1), rtol=1e-9)


def test_regression_calibration_recovers_the_truth():
    """The truth's slope on the calibrated distance is 1 (Carroll et al. 2006, ch. 4)."""
    rng = np.random.default_rng(6)
    truth = rng.normal(1.0, 0.4, 20_000)
    guess = truth + rng.normal(0, 0.25, 20_000)
    mean, sd = likely_log_distance(guess, np.full(20_000, 0.25), np.ones(20_000), np.zeros(20_000, dtype=int))
    slope = np.cov(truth, mean)[0, 1] / np.var(mean)
    assert_allclose(slope, 1.0, atol=0.02)
    assert_allclose(np.std(truth - mean), sd[0], rtol=0.02)
    exact, none = likely_log_distance(guess, np.zeros(20_000), np.ones(20_000), np.zeros(20_000, dtype=int))
    assert_allclose(exact, guess, rtol=0, atol=1e-12)
    assert not none.any()


def test_middle_of_independent_guesses_is_better_and_of_shared_ones_is_not():
    rng = np.random.default_rng(2)
    for frames in (1, 3, 5):
        medians = np.median(rng.normal(0, 0.2, (40_000, frames)), axis=1)
        ours = burst_error_sd(np.array([0.2]), np.array([0.2]), np.array([float(frames)]))
        assert_allclose(ours[0], medians.std(), rtol=0.04)
    assert_allclose(burst_error_sd(np.array([0.2]), np.array([0.0]), np.array([5.0])), 0.2, rtol=1e-12)


def test_pooling_changes_nothing_that_matters(archive):
    table, _ = archive
    bursts = burst_blur(table, Settings(guess_sd=0.12, speed_m_s=1.3))
    every = fit_tolerance_curve(gather(bursts, most_rows=10_000), 0.03)
    pooled = fit_tolerance_curve(gather(bursts), 0.03)
    assert len(gather(bursts).hits) < 400
    width = np.log(every.high / every.low)
    for name in ("tolerance_mm", "low", "high"):
        assert_allclose(np.log(getattr(pooled, name)), np.log(getattr(every, name)), atol=0.06 * width)


def test_draws_agree_with_the_interval(archive):
    table, _ = archive
    fit = fit_tolerance(table, Settings(guess_sd=0.12, speed_m_s=1.3), refits=False)
    low, high = np.log(np.quantile(fit.draws[:, 0], [0.025, 0.975]))
    width = np.log(fit.high / fit.low)
    assert_allclose([low, high], np.log([fit.low, fit.high]), atol=0.25 * width)
    assert (fit.draws[:, 2] > fit.draws[:, 3]).all()


def test_same_table_same_answer(archive):
    table, _ = archive
    one, two = (fit_tolerance(table, Settings(), refits=False) for _ in range(2))
    assert_allclose(one.draws, two.draws, rtol=0)


def test_refits_and_lenses(bench):
    small, _ = bench.draw_archive(
        np.random.default_rng(4), bench.World("x", tolerance_mm=(0.03, 0.031)), 1200
    )
    large, _ = bench.draw_archive(
        np.random.default_rng(6), bench.World("x", tolerance_mm=(0.08, 0.081)), 1200
    )
    both = pd.concat([small.assign(lens="short"), large.assign(lens="long", burst=large["burst"] + 5000)],
                     ignore_index=True)  # fmt: skip
    fit = fit_tolerance(both, Settings(guess_sd=0.12, speed_m_s=1.3))
    assert set(fit.ranges) == {"half_guess_error", "double_guess_error", "speed_0.6", "ceiling_by_distance"}
    assert np.isfinite(list(fit.ranges.values())).all()
    assert set(fit.by_lens) <= {"short", "long"}
    assert len(fit.by_lens) == 2
    assert fit.by_lens["short"].blur_mm < fit.by_lens["long"].blur_mm


def test_weighted_sample_is_unbiased(bench):
    """All keepers and one in six of the others measured: weights bring the ceiling back."""
    world = bench.World("x", tolerance_mm=(0.04, 0.041))
    table, _ = bench.draw_archive(np.random.default_rng(3), world, 4000)
    settings = Settings(guess_sd=0.12, speed_m_s=1.3)
    whole = fit_tolerance(table, settings, refits=False)
    kept = (table["counted_as"] == "keeper").to_numpy()
    drawn = kept | (np.random.default_rng(4).random(len(table)) < 1 / 6)
    weight = np.where(kept, 1.0, 6.0)
    unknown = table.assign(
        subject_distance_m=table["subject_distance_m"].where(drawn), blur_mm=table["blur_mm"].where(drawn)
    )
    weighted = fit_tolerance(unknown.assign(sample_weight=np.where(drawn, weight, np.nan)), settings)
    plain = fit_tolerance(unknown, settings)
    assert abs(weighted.ceiling - whole.ceiling) < 0.06
    assert plain.ceiling > whole.ceiling + 0.15
    assert checks.DISTANCES_OF_KEEPERS in plain.flags
    assert checks.DISTANCES_OF_KEEPERS not in weighted.flags
    assert not plain.carries


def test_worth_of_a_weighted_sample_against_statsmodels(archive):
    """Claimed over robust variance of the slope of a weighted logistic regression."""
    sm = pytest.importorskip("statsmodels.api")
    table, _ = archive
    kept = (table["counted_as"] == "keeper").to_numpy()
    bursts = burst_blur(table.assign(sample_weight=np.where(kept, 1.0, 5.0)), Settings())
    design = sm.add_constant(bursts.shares @ LOG_BLUR)
    model = sm.GLM(
        bursts.hit.astype(float), design, family=sm.families.Binomial(), freq_weights=bursts.weight
    )
    fit = model.fit()
    score = design * (bursts.weight * (bursts.hit - fit.fittedvalues))[:, None]
    bread = fit.cov_params()
    robust = bread @ (score.T @ score) @ bread
    assert_allclose(sampling_factor(bursts), bread[1, 1] / robust[1, 1], rtol=0.02)
    assert sampling_factor(bursts) < 0.9


def test_choosing_by_distance_is_noticed(bench):
    """Blur counts for nothing here; near subjects are kept, and happen to be sharper."""
    table, _ = bench.draw_archive(np.random.default_rng(9), bench.World("x", guess_sd=0.0), 3000)
    distance = table["subject_distance_m"].to_numpy()
    near = expit(-6 * (np.log(distance) - np.log(2.5)))
    kept = np.random.default_rng(1).random(len(table)) < 0.02 + 0.6 * near
    table = table.assign(counted_as=np.where(kept, "keeper", "not kept"), subject_distance_rel_sd=0.0)
    flags = fit_tolerance(table, Settings(speed_m_s=1.3)).flags
    assert checks.CHOSEN_BY_DISTANCE in flags or checks.POOR_FIT in flags


def outings_of_their_own(bench, seed, n=900):
    """Blur counts for nothing; blurred frames come from dull outings, sharp ones from lively outings."""
    table, _ = bench.draw_archive(np.random.default_rng(seed), bench.World("x", guess_sd=0.0), n)
    table = table.sort_values("blur_mm", ignore_index=True)
    session = 1 + np.arange(n) * 6 // n
    kept = np.random.default_rng(seed + 1).random(n) < np.array([0.45, 0.4, 0.4, 0.1, 0.1, 0.05])[session - 1]
    return table.assign(
        session=pd.array(session, dtype="Int64"), counted_as=np.where(kept, "keeper", "not kept"),
        subject_distance_rel_sd=0.0,
    )  # fmt: skip


def test_what_differs_between_outings_alone_is_noticed(bench):
    found = [fit_tolerance(outings_of_their_own(bench, seed), STILL, refits=False) for seed in range(8)]
    assert sum(checks.BETWEEN_OUTINGS in one.flags for one in found) >= 7
    true = [
        fit_tolerance(bench.draw_archive(np.random.default_rng(seed), bench.World("x"), 900)[0], STILL,
                      refits=False)
        for seed in range(8)
    ]  # fmt: skip
    assert sum(checks.BETWEEN_OUTINGS in one.flags for one in true) == 0


def test_hits_falling_within_outings_against_statsmodels(bench):
    """The score test of a logistic regression with a level for each outing, one-sided."""
    sm = pytest.importorskip("statsmodels.api")
    table, _ = bench.draw_archive(np.random.default_rng(4), bench.World("x", guess_sd=0.0), 400)
    table = table.assign(session=pd.array(1 + np.arange(400) // 100, dtype="Int64"), burst=range(400))
    p_value = checks.falls_within_outings(table)
    used = table[table["subject_distance_m"] > 0]
    levels = pd.get_dummies(used["session"]).to_numpy(float)
    hit = (used["counted_as"] == "keeper").to_numpy(float)
    fit = sm.GLM(hit, np.column_stack([levels, np.log(used["blur_mm"])]), family=sm.families.Binomial()).fit()
    slope = fit.params[-1] / fit.bse[-1]
    assert np.sign(slope) == -1
    assert_allclose(np.log10(p_value), np.log10(norm.cdf(slope)), rtol=0.15)
    assert np.isnan(checks.falls_within_outings(table.assign(counted_as="keeper")))


def test_distances_given_mostly_for_one_verdict_are_noticed_both_ways(archive):
    table, _ = archive
    rng = np.random.default_rng(2)
    kept = (table["counted_as"] == "keeper").to_numpy()
    for share_kept, share_rest, flag in (
        (1.0, 0.3, checks.DISTANCES_OF_KEEPERS),
        (0.3, 1.0, checks.DISTANCES_OF_NOT_KEPT),
        (0.5, 0.5, None),
    ):
        known = rng.random(len(table)) < np.where(kept, share_kept, share_rest)
        partly = table.assign(subject_distance_m=table["subject_distance_m"].where(known))
        assert checks.lopsided_distances(partly) == flag
    weighted = table.assign(subject_distance_m=table["subject_distance_m"].where(kept), sample_weight=1.0)
    assert checks.lopsided_distances(weighted) is None


def test_a_tolerance_that_hangs_on_the_walking_speed_is_flagged(bench):
    """In dim light most blur is motion: subjects that hardly move make it another tolerance."""
    table, _ = bench.draw_archive(np.random.default_rng(7), bench.World("x", guess_sd=0.0), 1500)
    dim = table.assign(exposure_time_s=1 / 60)
    assert checks.LEANS_ON_SPEED in fit_tolerance(dim, Settings(speed_m_s=1.3)).flags
    assert checks.LEANS_ON_SPEED not in fit_tolerance(table.assign(exposure_time_s=1 / 4000), STILL).flags


# Pituitary fissure of girls aged 8, 10, 12 and 14, Robertson, Wright & Dykstra (1988), Order Restricted
# Statistical Inference: means 22.50, 23.33, 20.83, 24.25 of 3, 3, 3 and 2; isotonic 22.22 three times, 24.25.
def test_isotonic_published():
    falling = checks.falling_rates(-np.array([22.5, 23.3333, 20.8333, 24.25]), np.array([3, 3, 3, 2]))
    assert_allclose(-falling, [22.22, 22.22, 22.22, 24.25], atol=0.005)


def test_goodness_of_fit_is_uniform_when_right_and_small_when_wrong(bench):
    small = []
    for seed in range(30):
        table, truth = known_blur_table(bench, 1500, 100 + seed)
        bursts = burst_blur(table, STILL)
        expected = keep_probability(
            bursts.blur_mm, truth.tolerance_mm, truth.steepness, truth.ceiling, truth.floor
        )
        small.append(checks.goodness_of_fit(bursts, expected, parameters=0) < 0.1)
        wrong = checks.goodness_of_fit(bursts, np.full(len(bursts), 0.9), parameters=0)
        assert not wrong > 1e-6
    assert 0 <= np.mean(small) <= 0.3


def test_allowance_by_hand():
    """A 0.05 mm tolerance less 0.03 mm of motion leaves 0.04 mm."""
    left = defocus_allowance_mm(0.05, [0.0, 0.045], [0.01, 0.03, np.nan, 0.2])
    assert_allclose(left[0], 0.04, rtol=1e-12)
    assert np.isnan(left[1])


def test_simulated_intervals_hold(bench):
    figures = bench.run("first", 400, 60, seed=77, workers=1)
    assert figures["coverage_high"] > 0.93
    assert figures["coverage_low"] < 0.97
    assert abs(figures["signed"]) < 0.15
    assert figures["rms"] < 0.36
    assert figures["rms"] < figures["middle"]


def test_bursts_with_like_frames(bench):
    figures = bench.run("alike", 400, 25, seed=77, workers=1)
    assert figures["coverage_high"] > 0.93
    assert abs(figures["signed"]) < 0.15
