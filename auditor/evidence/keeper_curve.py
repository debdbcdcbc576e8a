"""The keeper curve: how the chance of a keeper falls with blur, and how likely the data are under it.

P(keep | blur) = floor + (ceiling - floor) / (1 + (blur / tolerance)^steepness), a logistic fall in log blur,
is the chance of one frame. A burst of m frames has 1 - (1 - P)^(m^growth): growth 1 if its frames were
independent, 0 if more frames bring nothing. Leaving the frames out makes the tolerance 12 to 17 % too large
where frames of a burst are alike by half (see the bench).

For a given tolerance and steepness the other parameters are fitted by Fisher scoring with weak priors; many
pairs of tolerance and steepness are done at one time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from auditor.evidence.burst_blur import LOG_BLUR
from auditor.evidence.burst_evidence import Evidence
from auditor.evidence.proportions import Floats

# Weak priors, normal on these scales: mean and standard deviation (common practice, no source). 95 % of the
# floor lies between 0.9 % and 7 %, of the ceiling's part above it between 14 % and 68 %.
FLOOR_LOGIT = (-3.66, 0.55)
CEILING_LOGIT = (-0.53, 0.65)
# How the chances of a burst grow with its frames m, as m^growth: 0 not at all, 1 as if independent.
GROWTH = (0.5, 0.5)
# Change of the ceiling's logit per unit of log distance, when people also choose by distance.
SLOPE = (0.0, 1.0)
STEPS = 14
ALMOST = 1e-3  # steps on the logit scale; the log posterior is then right to a millionth
SMALLEST = 1e-9


@dataclass(frozen=True, slots=True)
class CurveFits:
    """Best fits at c pairs of tolerance and steepness.

    Attributes
    ----------
    log_tolerance, steepness : numpy.ndarray, shape (c,)
    point : numpy.ndarray, shape (c, q)
        Logit of the floor, logit of the ceiling's part above it, then growth and slope where they are fitted.
    log_posterior : numpy.ndarray, shape (c,)
        Log likelihood plus the log priors of ``point``, up to a constant.
    information : numpy.ndarray, shape (c, q, q)
        Expected information about ``point``, priors included.
    """

    log_tolerance: Floats
    steepness: Floats
    point: Floats
    log_posterior: Floats
    information: Floats


def fall(blur_mm: npt.ArrayLike, tolerance_mm: npt.ArrayLike, steepness: npt.ArrayLike) -> Floats:
    """Return the part of the height that is left at a blur: 1 when sharp, 1/2 at the tolerance, then 0.

    Examples
    --------
    >>> fall([0.01, 0.04, 0.16], 0.04, 2.0).round(3).tolist()
    [0.941, 0.5, 0.059]
    """
    with np.errstate(divide="ignore"):
        log_ratio = np.log(np.asarray(blur_mm, float)) - np.log(np.asarray(tolerance_mm, float))
    return np.asarray(expit(-np.asarray(steepness) * log_ratio))


def keep_probability(
    blur_mm: npt.ArrayLike,
    tolerance_mm: npt.ArrayLike,
    steepness: npt.ArrayLike,
    ceiling: npt.ArrayLike,
    floor: npt.ArrayLike,
) -> Floats:
    """Return P(keep | blur), any broadcastable shapes; NaN in, NaN out."""
    low = np.asarray(floor, float)
    return np.asarray(low + (np.asarray(ceiling, float) - low) * fall(blur_mm, tolerance_mm, steepness))


def fit_heights(
    evidence: Evidence,
    log_tolerance: Floats,
    steepness: Floats,
    *,
    growth: bool = False,
    slope: bool = False,
) -> CurveFits:
    """Fit floor, ceiling and the further parameters at each pair of tolerance and steepness.

    Parameters
    ----------
    evidence : Evidence
    log_tolerance, steepness : numpy.ndarray, shape (c,)
    growth : bool
        Also fit how a burst's chances grow with its frames.
    slope : bool
        Also let the ceiling change with log distance.
    """
    left = expit(-steepness[:, None] * (LOG_BLUR - log_tolerance[:, None])) @ evidence.shares.T
    priors = [FLOOR_LOGIT, CEILING_LOGIT] + [GROWTH] * growth + [SLOPE] * slope
    mean, precision = (np.array(column) for column in zip(*((m, s**-2) for m, s in priors), strict=True))
    point = np.tile(mean, (len(steepness), 1))

    for _ in range(STEPS):
        chance, change = _chances(point, left, evidence, growth=growth, slope=slope)
        rate = evidence.hits / chance - evidence.misses / (1 - chance)
        weight = (evidence.hits + evidence.misses) / (chance * (1 - chance))
        gradient = np.stack([(rate * d).sum(axis=1) for d in change], axis=1)
        gradient -= precision * (point - mean)
        information = np.stack(
            [np.stack([(weight * a * b).sum(axis=1) for b in change], axis=1) for a in change], axis=1
        ) + np.diag(precision)
        step = np.linalg.solve(information, gradient[..., None])[..., 0]
        step *= np.minimum(1.0, 1.5 / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-12))
        point = point + step
        if np.abs(step).max() < ALMOST:
            break
    chance, _ = _chances(point, left, evidence, growth=growth, slope=slope)
    fit = (evidence.hits * np.log(chance) + evidence.misses * np.log1p(-chance)).sum(axis=1)
    fit -= 0.5 * (precision * (point - mean) ** 2).sum(axis=1)
    return CurveFits(log_tolerance, steepness, point, fit, information)


def _chances(
    point: Floats, left: Floats, evidence: Evidence, *, growth: bool, slope: bool
) -> tuple[Floats, list[Floats]]:
    """Return each row's chance of a hit, shape (c, r), and its derivatives along the parameters."""
    low = expit(point[:, :1])
    tilt = point[:, -1:] * evidence.distance if slope else 0.0
    part = expit(point[:, 1:2] + tilt)
    chance = np.clip(low + (1 - low) * part * left, SMALLEST, 1 - SMALLEST)
    by_part = (1 - low) * part * (1 - part) * left
    change = [low * (1 - low) * (1 - part * left), by_part]
    if growth:
        times = np.exp(point[:, 2:3] * evidence.log_frames)
        log_miss = np.log1p(-chance)
        miss = np.exp(times * log_miss)
        by_chance = times * miss / (1 - chance)
        change = [by_chance * d for d in change]
        by_part = change[1]
        change.append(-miss * log_miss * times * evidence.log_frames)
        chance = np.clip(1 - miss, SMALLEST, 1 - SMALLEST)
    if slope:
        change.append(by_part * evidence.distance)
    return chance, change
