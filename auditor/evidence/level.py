"""How many presses of 100 hold a keeper, how much walks differ, and what the next walk should bring.

Presses of a walk share its luck: logit of the chance = alpha + u, u normal (0, sigma^2), one u for each
session (random-intercept model; McCulloch, Searle & Neuhaus, Generalized, Linear, and Mixed Models, 2nd ed.
2008, ch. 7). The integral over u is Gauss and Hermite's; alpha and sigma are summed on a grid.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import betaln, expit, gammaln, logit, logsumexp, stdtrit

from auditor.evidence.bursts import Codes, count_presses
from auditor.evidence.keeper_likelihood import LEVEL_CENTRE, LEVEL_SD
from auditor.evidence.proportions import Floats

SESSIONS_FOR_T = 4
SPREAD_CENTRE, SPREAD_SD = float(np.log(0.5)), 0.5
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
SPREADS = np.exp(SPREAD_CENTRE + SPREAD_SD * np.linspace(-3, 3, 13))
_LEVELS = 61


@dataclass(frozen=True, slots=True)
class NextWalk:
    """What a further walk should bring: of ``presses``, between ``low`` and ``high`` hold a keeper."""

    presses: int
    level: float
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Level:
    """The level of an archive; NaN where nothing counted."""

    rate: float  # share of presses with a keeper
    low: float  # its interval between sessions: t over at least four, else of the random-intercept model
    high: float
    sessions: int
    presses: int
    hits: int
    log_posterior: Floats  # shape (levels, SPREADS), normalised
    levels: Floats  # logits; the standard deviations between sessions are SPREADS

    def next_walk(self, presses: int = 60, level: float = 0.9) -> NextWalk:
        """The shortest interval for presses with a keeper of a walk yet to come, its own luck included."""
        cdf = walk_cdf(self.log_posterior, self.levels, presses)
        low, high = shortest_interval(cdf, level)
        return NextWalk(presses, level, low, high)


def walk_cdf(log_posterior: Floats, levels: Floats, presses: int) -> Floats:
    """Chance that at most k = 0, ..., ``presses`` presses of a walk yet to come hit, its luck included."""
    chance = expit(levels[:, None, None] + SPREADS[:, None] * _NODES)
    weight = np.exp(log_posterior)[..., None] * _WEIGHTS
    bins = np.minimum((chance * 2000).astype(np.intp), 1999).ravel()
    mass = np.bincount(bins, weight.ravel(), minlength=2000)
    held = np.flatnonzero(mass > 1e-11)
    p, mass = (held + 0.5) / 2000, mass[held]
    k = np.arange(presses + 1)[:, None]
    log_choose = gammaln(presses + 1) - gammaln(k + 1) - gammaln(presses - k + 1)
    return np.cumsum(np.exp(log_choose + k * np.log(p) + (presses - k) * np.log1p(-p)) @ mass)


def shortest_interval(cdf: Floats, level: float) -> tuple[int, int]:
    """The fewest counts next to each other that hold ``level``, of a distribution over 0, 1, ...

    Counts are whole, so what is cut off at two ends would leave more than ``level`` within: where none is
    likely, the whole rest belongs to the upper end.
    """
    before = np.concatenate([[0.0], cdf[:-1]])
    high = np.searchsorted(cdf, np.minimum(before + level, cdf[-1] - 1e-12))
    possible = before + level <= cdf[-1]
    low = int(np.argmin(np.where(possible, high - np.arange(cdf.size), 2 * cdf.size)))
    return low, int(min(high[low], cdf.size - 1))


def session_counts(frames: pd.DataFrame) -> tuple[Codes, Codes]:
    """Presses with a keeper and presses of each session, of counted frames."""
    hit, session, _ = count_presses(frames)
    return np.bincount(session, hit).astype(np.intp), np.bincount(session).astype(np.intp)


def log_likelihoods(hits: npt.ArrayLike, presses: npt.ArrayLike, levels: Floats, spreads: Floats) -> Floats:
    """Log likelihood of each session's counts in the random-intercept model, shape (n, levels, spreads)."""
    counts = np.stack([np.asarray(hits, float), np.asarray(presses, float)])
    (y, n), alike = np.unique(counts, axis=1, return_inverse=True)
    chosen = -betaln(y + 1, n - y + 1) - np.log(n + 1)
    away = levels[:, None, None] + spreads[:, None] * _NODES
    log_p, log_q = -np.logaddexp(0, -away), -np.logaddexp(0, away)
    found = np.empty((y.size, levels.size, spreads.size))
    for place, (hit, size) in enumerate(zip(y, n, strict=True)):
        at_nodes = hit * log_p + (size - hit) * log_q + np.log(_WEIGHTS)
        found[place] = chosen[place] + logsumexp(at_nodes, axis=2)
    return found[alike.ravel()]  # numpy 2.0 gives it two axes


def fit_level(hits: npt.ArrayLike, presses: npt.ArrayLike, confidence: float = 0.95) -> Level:
    """Fit level and spread to the counts of sessions, shape (sessions,)."""
    y, n = np.asarray(hits, float), np.asarray(presses, float)
    y, n = y[n > 0], n[n > 0]
    total, size = float(y.sum()), float(n.sum())
    middle = logit((total + 0.5) / (size + 1))
    reach = 4 / np.sqrt(max(min(total, size - total), 0.0) + 1) + 1.5
    levels = np.linspace(middle - reach, middle + reach, _LEVELS)
    prior = -0.5 * ((levels - LEVEL_CENTRE) / LEVEL_SD)[:, None] ** 2
    prior = prior - 0.5 * ((np.log(SPREADS) - SPREAD_CENTRE) / SPREAD_SD) ** 2
    posterior = log_likelihoods(y, n, levels, SPREADS).sum(axis=0) + prior
    posterior = posterior - logsumexp(posterior)
    low, high = _over_sessions(y, n, confidence) if y.size >= SESSIONS_FOR_T else (np.nan, np.nan)
    if not np.isfinite(low):
        low, high = _of_model(posterior, levels, confidence)
        if size:  # a few frames that were all kept, or none: what was seen is never called unlikely
            low, high = min(low, total / size), max(high, total / size)
    return Level(
        rate=total / size if size else float("nan"),
        low=low if size else float("nan"),
        high=high if size else float("nan"),
        sessions=int(y.size),
        presses=int(size),
        hits=int(total),
        log_posterior=posterior,
        levels=levels,
    )


def _over_sessions(y: Floats, n: Floats, confidence: float) -> tuple[float, float]:
    """Interval (t) of a ratio over sessions, on the logit so that it stays between 0 and 1.

    Linearised variance of a ratio of sums over clusters (Cochran, Sampling Techniques, 3rd ed. 1977, 6.3).
    """
    rate, j = y.sum() / n.sum(), y.size
    if not 0 < rate < 1:
        return float("nan"), float("nan")
    variance = j / (j - 1) * float(((y - rate * n) ** 2).sum()) / n.sum() ** 2
    binomial = rate * (1 - rate) / n.sum()
    half = stdtrit(j - 1, 0.5 + confidence / 2) * np.sqrt(max(variance, binomial)) / (rate * (1 - rate))
    return float(expit(logit(rate) - half)), float(expit(logit(rate) + half))


def _of_model(posterior: Floats, levels: Floats, confidence: float) -> tuple[float, float]:
    """Interval of the mean rate over walks under the model."""
    rate = (expit(levels[:, None, None] + SPREADS[:, None] * _NODES) @ _WEIGHTS).ravel()
    order = np.argsort(rate)
    total = np.cumsum(np.exp(posterior).ravel()[order])
    ends = np.interp([0.5 - confidence / 2, 0.5 + confidence / 2], total, rate[order])
    return float(ends[0]), float(ends[1])
