"""The keeper tolerance and its interval, from the likelihood over a grid of tolerance and steepness.

The grid finds every hill of the likelihood, where a search from one start might stop at the first. The
interval is that of the penalised profile likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import chdtri, expit

from auditor.evidence.burst_evidence import Evidence
from auditor.evidence.keeper_curve import CurveFits, fit_heights
from auditor.evidence.proportions import Floats

# Weak priors (common practice, no source). Log tolerance in units of the handbook criterion: Student's t with
# 3 degrees of freedom, so that data which say otherwise are free to. Log steepness: normal.
TOLERANCE_TIMES, TOLERANCE_SPREAD, TOLERANCE_DEGREES = 1.4, 0.6, 3
STEEPNESS, STEEPNESS_SPREAD = 3.5, 0.6
TIMES_RANGE = (0.08, 25.0)  # of the handbook criterion; looked at in full
STEEPNESSES = np.exp(np.linspace(np.log(1.1), np.log(14.0), 9))
COARSE, FINE, CURVE = 29, 29, 2001
DEPTH = 8.0  # log posterior below the best that is not looked at again
# Priors help the estimate more than the plain cut of the profile takes into account: in simulated archives
# intervals at the plain cut hold the truth in 97 to 99 %. This factor on the cut brings them to 94 to 97 %.
CUT_FACTOR = 0.885
DRAWS = 400


@dataclass(frozen=True, slots=True)
class ToleranceFit:
    """The fitted keeper curve.

    Attributes
    ----------
    tolerance_mm, steepness, ceiling, floor, growth : float
        The most likely curve, of one frame; growth is NaN where all bursts are single frames.
    low, high : float
        Interval of the tolerance.
    draws : numpy.ndarray, shape (DRAWS, 5)
        Curves as likely as the data say: tolerance, steepness, ceiling, floor, growth in each row.
    at_edge : bool
        Whether the best tolerance is the first or the last that was tried.
    log_tolerance, log_profile : numpy.ndarray, shape (k,)
        The profile that the interval was cut from, highest value 0.
    slope : float
        Change of the ceiling's logit per unit of log distance; 0 where it was not fitted.
    """

    tolerance_mm: float
    steepness: float
    ceiling: float
    floor: float
    growth: float
    low: float
    high: float
    draws: Floats
    at_edge: bool
    log_tolerance: Floats
    log_profile: Floats
    slope: float


def fit_tolerance_curve(
    evidence: Evidence, handbook_mm: float, confidence: float = 0.95, *, slope: bool = False
) -> ToleranceFit:
    """Fit the keeper curve by penalised maximum likelihood.

    Parameters
    ----------
    evidence : Evidence
        With at least one hit and one miss.
    handbook_mm : float
        The handbook criterion of this sensor, in whose units the prior is stated.
    confidence : float
        Level of the interval.
    slope : bool
        Also let the ceiling change with the distance.
    """
    growth = evidence.bursts_differ
    centre = np.log(handbook_mm)
    grid = centre + np.linspace(np.log(TIMES_RANGE[0]), np.log(TIMES_RANGE[1]), COARSE)
    _, posterior = _on_grid(evidence, grid, centre, growth=growth, slope=slope)
    profile = posterior.max(axis=1)
    near = np.flatnonzero(profile > profile.max() - DEPTH)
    first, last = grid[max(near[0] - 1, 0)], grid[min(near[-1] + 1, COARSE - 1)]
    grid = np.linspace(first, last, FINE)
    fits, posterior = _on_grid(evidence, grid, centre, growth=growth, slope=slope)
    fine, curve = _smooth_profile(grid, posterior)
    best = int(curve.argmax())
    inside = np.flatnonzero(curve > curve[best] - CUT_FACTOR * chdtri(1, 1 - confidence) / 2)
    steepness = _best_steepness(posterior[np.abs(grid - fine[best]).argmin()])
    top = fit_heights(evidence, fine[[best]], np.array([steepness]), growth=growth, slope=slope)
    floor, ceiling, grown, tilt = _heights(top.point[0], growth=growth, slope=slope)
    return ToleranceFit(
        tolerance_mm=float(np.exp(fine[best])),
        steepness=steepness,
        ceiling=float(ceiling),
        floor=float(floor),
        growth=float(grown),
        low=float(np.exp(fine[inside[0]])),
        high=float(np.exp(fine[inside[-1]])),
        draws=_draw(fits, posterior, grid[1] - grid[0], growth=growth, slope=slope),
        at_edge=bool(np.abs(fine[best] - centre - np.log(TIMES_RANGE)).min() < 0.01),
        log_tolerance=fine,
        log_profile=curve - curve[best],
        slope=float(tilt),
    )


def _on_grid(
    evidence: Evidence, grid: Floats, centre: float, *, growth: bool, slope: bool
) -> tuple[CurveFits, Floats]:
    """Return the fits at every pair, and their log posterior, shape (grid, steepnesses)."""
    log_tolerance = np.repeat(grid, STEEPNESSES.size)
    steepness = np.tile(STEEPNESSES, grid.size)
    fits = fit_heights(evidence, log_tolerance, steepness, growth=growth, slope=slope)
    away = (log_tolerance - centre - np.log(TOLERANCE_TIMES)) / TOLERANCE_SPREAD
    prior = -(TOLERANCE_DEGREES + 1) / 2 * np.log1p(away**2 / TOLERANCE_DEGREES)
    prior = prior - 0.5 * (np.log(steepness / STEEPNESS) / STEEPNESS_SPREAD) ** 2
    return fits, (fits.log_posterior + prior).reshape(grid.size, -1)


def _smooth_profile(grid: Floats, posterior: Floats) -> tuple[Floats, Floats]:
    """Return the profile over tolerance on a fine scale, steepness at its best between the steps."""
    steps = np.linspace(0, STEEPNESSES.size - 1, 8 * STEEPNESSES.size)
    best = CubicSpline(np.arange(STEEPNESSES.size), posterior, axis=1)(steps).max(axis=1)
    fine = np.linspace(grid[0], grid[-1], CURVE)
    return fine, np.asarray(CubicSpline(grid, best)(fine))


def _best_steepness(posterior: Floats) -> float:
    """Return the most likely steepness, between the steps, from its log posterior at one tolerance."""
    steps = np.linspace(0, STEEPNESSES.size - 1, 400)
    best = steps[CubicSpline(np.arange(STEEPNESSES.size), posterior)(steps).argmax()]
    return float(np.exp(np.interp(best, np.arange(STEEPNESSES.size), np.log(STEEPNESSES))))


def _heights(point: Floats, *, growth: bool, slope: bool) -> tuple[Floats, Floats, Floats, Floats]:
    """Return floor, ceiling, growth and slope of fitted points, shape (..., q)."""
    floor = expit(point[..., 0])
    ceiling = floor + (1 - floor) * expit(point[..., 1])
    grown = point[..., 2] if growth else np.full_like(floor, np.nan)
    return floor, ceiling, grown, point[..., -1] if slope else np.zeros_like(floor)


def _draw(fits: CurveFits, posterior: Floats, step: float, *, growth: bool, slope: bool) -> Floats:
    """Draw curves from the posterior: a grid cell by its volume, then the heights around their best."""
    rng = np.random.default_rng(20_240_501)  # the same table must give the same report
    volume = posterior.ravel() - 0.5 * np.linalg.slogdet(fits.information)[1]
    chance = np.exp(volume - volume.max())
    cell = rng.choice(chance.size, DRAWS, p=chance / chance.sum())
    root = np.linalg.cholesky(np.linalg.inv(fits.information[cell]))
    q = fits.point.shape[1]
    point = fits.point[cell] + (root @ rng.standard_normal((DRAWS, q, 1)))[..., 0]
    floor, ceiling, grown, _ = _heights(point, growth=growth, slope=slope)
    tolerance = np.exp(fits.log_tolerance[cell] + step * rng.uniform(-0.5, 0.5, DRAWS))
    return np.stack([tolerance, fits.steepness[cell], ceiling, floor, grown], axis=1)
