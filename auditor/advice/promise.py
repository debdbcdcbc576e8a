"""What a decision promises of the next walk, in a form that any number of presses can be held against.

The share that a walk will have is written as a beta distribution with the mean and the variance of what the
archive foretells, the walk's own luck included; of n presses so many then follow the beta-binomial law
(Johnson, Kemp & Kotz, Univariate Discrete Distributions, 3rd ed. 2005, section 6.2.2).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import betaln, expit, gammaln, logit

from auditor.evidence.level import SPREAD_CENTRE, Level, shortest_interval, walk_cdf
from auditor.evidence.proportions import two_sided_z

LEVEL = 0.9
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(41)


@dataclass(frozen=True, slots=True)
class Promise:
    """A share of presses to come, beta(a, b); of ``presses`` from ``low`` to ``high``, at ``level``."""

    share: float
    presses: int
    low: int
    high: int
    level: float
    a: float
    b: float


def counts_promised(a: float, b: float, presses: int, level: float = LEVEL) -> tuple[int, int]:
    """The shortest interval of a beta-binomial count.

    >>> counts_promised(1.0, 1.0, 10)
    (0, 9)
    """
    k = np.arange(presses + 1)
    log_choose = gammaln(presses + 1) - gammaln(k + 1) - gammaln(presses - k + 1)
    return shortest_interval(
        np.cumsum(np.exp(log_choose + betaln(k + a, presses - k + b) - betaln(a, b))), level
    )


def promise_kept(level: Level, presses: int = 60) -> Promise | None:
    """Promise the share of presses that will hold a keeper; None where nothing was counted."""
    if not level.presses:
        return None
    two = walk_cdf(level.log_posterior, level.levels, 2)
    mean, square = float((two[2] - two[0] + two[2] - two[1]) / 2), float(two[2] - two[1])
    walk = level.next_walk(presses, LEVEL)  # the law itself, of which the beta is the nearest by two moments
    return replace(_promise(mean, square - mean**2, presses), low=walk.low, high=walk.high)


def promise_sharp(
    share: float, low: float, high: float, confidence: float, presses: int = 60
) -> Promise | None:
    """Promise a share of sharp presses, from its interval over all walks; walks differ as they mostly do."""
    ends = np.clip([share, low, high], 0.005, 0.995)
    if not np.isfinite(ends).all():
        return None
    middle, least, most = logit(ends)
    sd = np.hypot((most - least) / (2 * two_sided_z(confidence)), np.exp(SPREAD_CENTRE))
    shares, weight = expit(middle + sd * _NODES), _WEIGHTS / _WEIGHTS.sum()
    mean = float(weight @ shares)
    return _promise(mean, float(weight @ (shares - mean) ** 2), presses)


def _promise(mean: float, variance: float, presses: int) -> Promise:
    size = mean * (1 - mean) / max(variance, 1e-9) - 1
    a, b = (float(f"{part * size:.4g}") for part in (mean, 1 - mean))
    return Promise(round(mean, 4), presses, *counts_promised(a, b, presses), LEVEL, a, b)
