"""What a weighted sample of bursts is worth."""

from __future__ import annotations

import numpy as np

from auditor.evidence.burst_blur import LOG_BLUR, BurstBlur
from auditor.evidence.proportions import Floats


def sampling_factor(bursts: BurstBlur) -> float:
    """Return the factor on all weights at which the likelihood has the information of the sample.

    Bursts drawn with unequal chances carry unequal weights. The weighted likelihood is unbiased, but not as
    sharp as its weights' sum suggests. The factor is the ratio of the variance that the weighted likelihood
    claims for a slope over log blur to its robust (sandwich) variance. 1 where all weights are 1.

    References
    ----------
    Binder (1983), Int. Stat. Rev. 51:279 (robust variance of a weighted likelihood); Rao & Scott (1984),
    Ann. Stat. 12:46 (dividing a likelihood ratio by its design effect).
    """
    weight = bursts.weight
    if not weight.size or np.ptp(weight) < 1e-9 * weight.max():
        return float(1 / weight.mean()) if weight.size else 1.0
    blur = bursts.shares @ LOG_BLUR
    design = np.stack([np.ones_like(blur), blur - np.average(blur, weights=weight)], axis=1)
    chance = _weighted_logistic(design, bursts.hit.astype(float), weight)
    bread = np.linalg.inv(design.T @ (design * (weight * chance * (1 - chance))[:, None]))
    score = design * (weight * (bursts.hit - chance))[:, None]
    robust = bread @ (score.T @ score) @ bread
    return float(bread[1, 1] / robust[1, 1])


def _weighted_logistic(design: Floats, hit: Floats, weight: Floats) -> Floats:
    """Return the fitted chances of a logistic regression, a small ridge keeping it finite."""
    ridge = 0.01 * weight.mean() * np.eye(design.shape[1])
    slope = np.zeros(design.shape[1])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-design @ slope))
        gradient = design.T @ (weight * (hit - chance)) - ridge @ slope
        step = np.linalg.solve(
            design.T @ (design * (weight * chance * (1 - chance))[:, None]) + ridge, gradient
        )
        slope = slope + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    return np.asarray(1 / (1 + np.exp(-design @ slope)))
