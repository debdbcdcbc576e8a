"""What was usual before each walk, as an interval for a further walk, and where a walk lies in it.

Walks differ more than chance alone would have it: each has a luck of its own (the random-intercept model of
:mod:`auditor.evidence.level`), and the interval is for a walk yet to come, from those before it alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logit, logsumexp, stdtrit

from auditor.evidence.level import SPREADS, log_likelihood, walk_cdf
from auditor.evidence.proportions import Floats

FEWEST_WALKS = 4  # before one, that make something usual
TAIL = 0.05  # at either end: beyond it lies 1 walk of 20
MOST_PLACED = 100  # of the newest walks, that are held against those before them
SPREAD_CENTRE, SPREAD_SD = float(np.log(0.7)), 0.5  # of logits: as people's outings were seen to differ
NO_USUAL, WITHIN, MORE, LESS = "no_usual", "usual", "more", "less"


@dataclass(frozen=True, slots=True)
class Usual:
    """Intervals of walks in order of time; arrays of shape (walks,), NaN where nothing is usual yet.

    Attributes
    ----------
    low, high : numpy.ndarray
        Of such a walk 19 of 20 have at least ``low``, and 19 of 20 at most ``high``: shares, or presses.
    place : numpy.ndarray of str
        ``more`` (than at most 1 of 20 such walks would have), ``usual``, ``less``, ``no_usual``, or empty
        where the walk itself tells nothing.
    """

    low: Floats
    high: Floats
    place: npt.NDArray[np.object_]


def usual_shares(hits: npt.ArrayLike, of: npt.ArrayLike, placed: int = MOST_PLACED) -> Usual:
    """Hold each walk's share against the walks before it.

    Parameters
    ----------
    hits, of : array_like, shape (walks,)
        Whole numbers, in order of time; effective ones where frames were drawn. A walk of none tells nothing.
    placed : int
        How many of the newest walks are held against those before them.
    """
    y, n = np.asarray(hits, dtype=int), np.asarray(of, dtype=int)
    found = _nothing(n > 0)
    known = np.flatnonzero(n > 0)
    if known.size <= FEWEST_WALKS:
        return found
    middle = logit((y.sum() + 0.5) / (n.sum() + 1))
    levels = np.linspace(middle - 3, middle + 3, 61)
    posterior = np.tile(-0.5 * ((np.log(SPREADS) - SPREAD_CENTRE) / SPREAD_SD) ** 2, (levels.size, 1))
    for place, walk in enumerate(known):
        if place >= max(FEWEST_WALKS, known.size - placed):
            cdf = walk_cdf(posterior - logsumexp(posterior), levels, SPREADS, int(n[walk]))
            low = int(np.searchsorted(cdf, TAIL, side="right"))
            high = int(np.searchsorted(cdf, 1 - TAIL, side="left"))
            found.low[walk], found.high[walk] = low / n[walk], high / n[walk]
            found.place[walk] = MORE if y[walk] > high else LESS if y[walk] < low else WITHIN
        posterior = posterior + log_likelihood(y[[walk]], n[[walk]], levels, SPREADS)
    return found


def usual_counts(counts: npt.ArrayLike) -> Usual:
    """Hold each walk's number of presses against those before it: Student's t of their logarithms."""
    value = np.asarray(counts, dtype=float)
    found = _nothing(value > 0)
    known = np.flatnonzero(value > 0)
    for place in range(FEWEST_WALKS, known.size):
        before, walk = np.log(value[known[:place]]), known[place]
        half = stdtrit(place - 1, 1 - TAIL) * before.std(ddof=1) * np.sqrt(1 + 1 / place)
        low, high = np.exp(before.mean() - half), np.exp(before.mean() + half)
        found.low[walk], found.high[walk] = low, high
        found.place[walk] = MORE if value[walk] > high else LESS if value[walk] < low else WITHIN
    return found


def _nothing(tells: npt.NDArray[np.bool_]) -> Usual:
    place = np.where(tells, NO_USUAL, "").astype(object)
    return Usual(np.full(tells.size, np.nan), np.full(tells.size, np.nan), place)
