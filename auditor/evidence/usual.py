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
    """Intervals of walks in order of time, shape (walks,); NaN where nothing is usual yet."""

    low: Floats  # 19 of 20 such walks have at least this: shares, or presses
    high: Floats  # 19 of 20 have at most this
    place: npt.NDArray[np.object_]  # more, usual, less, no_usual; empty where the walk itself tells nothing


def usual_shares(hits: npt.ArrayLike, of: npt.ArrayLike, placed: int = MOST_PLACED) -> Usual:
    """Hold the share of each of the ``placed`` newest walks against the walks before it.

    ``hits`` of ``of``: whole numbers, shape (walks,), in order of time; effective ones where frames were
    drawn. A walk of none tells nothing.
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
            cdf = walk_cdf(posterior - logsumexp(posterior), levels, int(n[walk]))
            low, high = np.searchsorted(cdf, TAIL, side="right"), np.searchsorted(cdf, 1 - TAIL)
            _put(found, int(walk), low / n[walk], y[walk] / n[walk], high / n[walk])
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
        _put(found, int(walk), float(low), float(value[walk]), float(high))
    return found


def _put(found: Usual, walk: int, low: float, own: float, high: float) -> None:
    found.low[walk], found.high[walk] = low, high
    found.place[walk] = MORE if own > high else LESS if own < low else WITHIN


def _nothing(tells: npt.NDArray[np.bool_]) -> Usual:
    place = np.where(tells, NO_USUAL, "").astype(object)
    return Usual(np.full(tells.size, np.nan), np.full(tells.size, np.nan), place)
