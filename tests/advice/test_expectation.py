"""Expected hit rates against plain Monte Carlo and a case solved by hand."""

import numpy as np
import pytest
from auditor.advice.curves import Curves
from auditor.advice.distances import LOG_M, Distances
from auditor.advice.expectation import Grid, blur_shares, expect, prepare_averaging
from auditor.advice.exposures import Exposures
from auditor.advice.light import Light, expose
from numpy.testing import assert_allclose

from auditor.advice.limits import Limits
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification, sensor_distance_m

LIMITS = Limits(100, 3200, 1 / 500, 1 / 125)


def one_curve(tolerance=0.045, steepness=4.0, ceiling=0.5, floor=0.02, k=50):
    draws = np.tile([tolerance, steepness, ceiling, floor, np.nan], (k, 1))
    return Curves(draws, np.ones(1), np.ones(1))


def exposures(ev=(11.0,), share=(1.0,), limits=LIMITS):
    return Exposures(Light(np.array(ev), np.array(share), 100), limits, np.array([1 / 500]), np.ones(1))


def distances(*shares, weight=None, effective=1e5):
    share = np.array([s / s.sum() for s in shares])
    weight = np.full(len(share), 1 / len(share)) if weight is None else np.array(weight)
    names = tuple(f"p{i}" for i in range(len(share)))
    return Distances(names, share, weight, np.full(len(share), float(effective)), 500, 1.0, 5.0)


def log_normal(median, sd):
    return np.exp(-0.5 * ((LOG_M - np.log(median)) / sd) ** 2)


def rates(grid, light, met, curves, speed=1.32):
    return expect(blur_shares(grid, light, speed), prepare_averaging(met, curves))


@pytest.mark.parametrize(("stop", "ring"), [(2.8, 2.0), (8.0, 2.5), (16.0, 4.0), (5.6, np.inf)])
def test_agrees_with_plain_monte_carlo(stop, ring):
    rng = np.random.default_rng(8)
    n, focal = 400_000, 35.0
    ev, share = np.array([8.0, 9.0, 10.0, 12.0]), np.array([0.2, 0.3, 0.3, 0.2])
    subject = 2.6 * np.exp(0.45 * rng.standard_normal(n))
    exposed = expose(rng.choice(ev, n, p=share), stop, LIMITS)
    sine = np.abs(np.sin(rng.uniform(0, 2 * np.pi, n)))
    motion = motion_mm(focal, subject, 1.32, exposed.exposure_time_s, crossing_deg=90) * sine
    airy = airy_mm(stop, magnification(lens_distance_m(subject, focal), focal))
    blur = np.sqrt(defocus_mm(focal, stop, ring, subject) ** 2 + motion**2 + airy**2)
    kept = np.where(exposed.taken, 0.02 + 0.48 / (1 + (blur / 0.045) ** 4), 0.0)

    grid = Grid(focal, np.array([stop]), np.array([ring]))
    met = distances(log_normal(2.6, 0.45))
    found = rates(grid, exposures(ev, share), met, one_curve()).rate[0]
    error = kept.std() / np.sqrt(n)
    # Five standard errors of the Monte Carlo, and 1 % for the classes of 5 % in distance and 8 % in blur.
    assert found == pytest.approx(kept.mean(), abs=5 * error + 0.01 * kept.mean())


def test_best_ring_is_the_harmonic_mean_where_vergence_is_even():
    """No motion, next to no diffraction, a sharp criterion, 1/distance evenly spread from a to b.

    By hand: in 1/distance the zone is an interval around 1/s, so every ring whose zone lies inside covers as
    much, and with a zone as wide as the spread only the middle of the vergences does: the harmonic mean.
    """
    focal, near, far = 28.0, 1.5, 6.0
    ends = lens_distance_m(np.array([near, far]), focal)
    best_lens_m = 2 / (1 / ends[0] + 1 / ends[1])
    best = float(sensor_distance_m(best_lens_m, focal))
    assert best == pytest.approx(2.4, rel=0.01)  # 2 x 1.5 x 6 / 7.5
    even = np.where((np.log(near) < LOG_M) & (np.log(far) > LOG_M), np.exp(-LOG_M), 0.0)
    ring = np.linspace(1.6, 4.0, 121)
    # The tolerance that just covers both ends at f/8 from the harmonic mean.
    needed = float(defocus_mm(focal, 8.0, best, near))
    grid = Grid(focal, np.full(ring.size, 8.0), ring)
    found = rates(grid, exposures(ev=(15.0,)), distances(even), one_curve(needed, 14.0), speed=0.0).rate
    assert ring[found.argmax()] == pytest.approx(best, rel=0.03)
    assert max(found[0], found[-1]) < 0.9 * found.max()


def test_frames_that_cannot_be_taken_count_as_not_kept():
    grid = Grid(28.0, np.array([16.0]), np.array([2.5]))
    dark, bright = expose(4.0, 16.0, LIMITS).taken, expose(14.0, 16.0, LIMITS).taken
    assert (bool(dark), bool(bright)) == (False, True)
    met = distances(log_normal(2.5, 0.3))
    half = rates(grid, exposures((4.0, 14.0), (0.5, 0.5)), met, one_curve()).rate[0]
    all_taken = rates(grid, exposures((14.0,)), met, one_curve()).rate[0]
    assert half == pytest.approx(all_taken / 2, rel=1e-9)


def test_a_burst_has_more_chances_than_a_frame():
    frame = one_curve()
    draws = frame.draws.copy()
    draws[:, 4] = 1.0
    bursts = Curves(draws, np.array([1.0, 3.0]), np.array([0.5, 0.5]))
    p = frame.heights()[:, 0]
    assert_allclose(bursts.heights()[:, 0], 0.5 * p + 0.5 * (1 - (1 - p) ** 3), rtol=1e-12)


def test_interval_widens_with_fewer_distances_and_with_presets_that_differ():
    grid = Grid(28.0, np.array([4.0]), np.array([2.0]))
    near, far = log_normal(1.6, 0.2), log_normal(3.5, 0.2)

    def width(met):
        low, high = rates(grid, exposures(), met, one_curve(k=400)).interval(0.95)
        return float(high[0] - low[0])

    many, few = distances(near + far, effective=1000), distances(near + far, effective=40)
    assert width(few) > 3 * width(many)
    apart = distances(near, far, effective=500)
    alike = distances(near + far, near + far, effective=500)
    assert width(apart) > 3 * width(alike)


def test_width_of_the_sample_of_distances_is_the_binomial_one():
    """Half the subjects sharp, half hopeless: the rate's error is that of a share, ceiling x sqrt(pq/n)."""
    share = np.zeros(LOG_M.size)
    share[np.abs(LOG_M - np.log(2.0)).argmin()] = share[np.abs(LOG_M - np.log(30.0)).argmin()] = 0.5
    grid = Grid(50.0, np.array([2.8]), np.array([float(np.exp(LOG_M[np.abs(LOG_M - np.log(2.0)).argmin()]))]))
    met = distances(share, effective=100)
    found = rates(grid, exposures(), met, one_curve(steepness=10, floor=0.0, k=4000), speed=0.0)
    low, high = found.interval(0.95)
    assert high[0] - low[0] == pytest.approx(2 * 1.96 * 0.5 * np.sqrt(0.25 / 100), rel=0.06)


def test_one_preset_has_no_range_between_presets():
    found = rates(
        Grid(28.0, np.array([8.0]), np.array([2.5])), exposures(), distances(log_normal(2, 0.3)), one_curve()
    )
    low, high = found.gain_interval(0, 0.95)
    assert low[0] == high[0] == 0.0


def test_unknown_light_takes_the_times_as_they_were():
    unknown = Exposures(Light(np.zeros(0), np.zeros(0), 0), LIMITS, np.array([1 / 250]), np.ones(1))
    at = unknown.at(16.0)
    assert at.taken == 1.0
    assert at.median_time_s == pytest.approx(1 / 250, rel=1e-9)
    assert np.isnan(at.median_iso)


def test_curves_come_from_the_lens_or_from_all(tolerance, unfitted, archive):
    from dataclasses import replace

    from auditor.advice.curves import curves_of

    frames = archive(60)
    own, pooled = tolerance(0.02), tolerance(0.08)
    both = replace(pooled, by_lens={"lens A": own})
    assert curves_of(both, "lens A", frames).draws[0, 0] == 0.02
    assert curves_of(both, "lens B", frames).draws[0, 0] == 0.08
    assert curves_of(unfitted, "lens A", frames) is None
