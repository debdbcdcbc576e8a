"""Rates pulled toward the common rate, so that a ranking is not led by small numbers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import betaln, expit, logit

from auditor.evidence.proportions import Floats

# Pseudo-counts between one burst and so many that every rate is the common one.
LARGEST_PRECISION = 1e5


def fit_beta_binomial(hits: npt.ArrayLike, n: npt.ArrayLike) -> tuple[float, float]:
    """Fit the spread of true rates among groups by maximum likelihood.

    Hits are binomial with a rate that is itself beta-distributed among the groups.

    Parameters
    ----------
    hits, n : array-like, shape (groups,)
        Hits and trials; groups with n = 0 say nothing.

    Returns
    -------
    a, b : float
        Parameters of the beta distribution: a/(a+b) is the common rate, a+b (1 to 1e5) how alike the groups
        are, counted in trials. NaN without a trial.

    References
    ----------
    Griffiths (1973), Biometrics 29:637 (maximum likelihood of the beta-binomial).
    """
    x, size = np.asarray(hits, float), np.asarray(n, float)
    x, size = x[size > 0], size[size > 0]
    if not size.size:
        return np.nan, np.nan

    def loss(point: Floats) -> float:
        a, b = _shape(point)
        return -float(np.sum(betaln(x + a, size - x + b) - betaln(a, b)))

    common = logit((x.sum() + 0.5) / (size.sum() + 1))
    spread = np.log(LARGEST_PRECISION)
    starts = [np.array([common, s]) for s in np.log([3.0, 30.0, 3000.0])]
    fits = [minimize(loss, s, method="L-BFGS-B", bounds=[(-12, 12), (0, spread)]) for s in starts]
    return _shape(min(fits, key=lambda fit: fit.fun).x)


def _shape(point: Floats) -> tuple[float, float]:
    mean, precision = expit(point[0]), np.exp(point[1])
    return float(mean * precision), float((1 - mean) * precision)


def shrunken_rates(hits: npt.ArrayLike, n: npt.ArrayLike) -> Floats:
    """Return each group's rate pulled toward the common rate, (hits + a)/(n + a + b), shape (groups,).

    A group without a trial gets the common rate; NaN where there is no trial at all.

    Examples
    --------
    One hit in two trials is not trusted beside three groups of a hundred.

    >>> shrunken_rates([40, 20, 30, 1], [100, 100, 100, 2]).round(2).tolist()
    [0.37, 0.23, 0.3, 0.31]
    """
    a, b = fit_beta_binomial(hits, n)
    return (np.asarray(hits, float) + a) / (np.asarray(n, float) + a + b)
