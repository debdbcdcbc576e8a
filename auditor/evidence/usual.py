"""What was usual before each walk, as an interval for a further walk, and where a walk lies in it.

Walks differ more than chance alone would have it: each has a luck of its own (the random-intercept model of
:mod:`auditor.evidence.level`), and the interval is for a walk yet to come, from those before it alone.
"""

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import logit, logsumexp, stdtrit

from auditor.evidence.level import SPREADS, log_likelihoods, walk_cdf
from auditor.evidence.proportions import Floats

FEWEST_WALKS = 4  # before one, that make something usual
TAIL = 0.05  # at either end: beyond it lies 1 walk of 20
MOST_PLACED = 100  # of the newest walks, that are held against those before them
SPREAD_CENTRE, SPREAD_SD = float(np.log(0.7)), 0.5  # of logits: as people's outings were seen to differ
NO_USUAL, WITHIN, MORE, LESS = "no_usual", "usual", "more", "less"


def usual_shares(
    hits: npt.ArrayLike, of: npt.ArrayLike, placed: int = MOST_PLACED, share: npt.ArrayLike | None = None
) -> pd.DataFrame:
    """Hold the share of each of the ``placed`` newest walks against the walks before it.

    ``hits`` of ``of``: whole numbers, shape (walks,), in order of time; effective ones where frames were
    drawn, whose ``share`` is then placed as it reads in whole per cent. A walk of none tells nothing.
    Columns ``low`` and ``high``, beyond either of which lies 1 of 20 such walks (NaN where nothing is usual
    yet), and ``place``: more, usual, less, no_usual, or empty.
    """
    y, n = np.asarray(hits, dtype=int), np.asarray(of, dtype=int)
    known = np.flatnonzero(n > 0)
    ends: dict[int, tuple[float, float]] = {}
    if known.size > FEWEST_WALKS:
        middle = logit((y.sum() + 0.5) / (n.sum() + 1))
        levels = np.linspace(middle - 3, middle + 3, 61)
        posterior = np.tile(-0.5 * ((np.log(SPREADS) - SPREAD_CENTRE) / SPREAD_SD) ** 2, (levels.size, 1))
        likelihoods = log_likelihoods(y[known], n[known], levels, SPREADS)
        for place, walk in enumerate(known):
            if place >= max(FEWEST_WALKS, known.size - placed):
                cdf = walk_cdf(posterior - logsumexp(posterior), levels, int(n[walk]))
                low, high = np.searchsorted(cdf, TAIL, side="right"), np.searchsorted(cdf, 1 - TAIL)
                ends[int(walk)] = low / n[walk], high / n[walk]
            posterior = posterior + likelihoods[place]
    if share is not None:
        return _placed(np.asarray(share, dtype=float), ends, 100)
    return _placed(y / np.where(n > 0, n, np.nan), ends, 1e9)


def usual_counts(counts: npt.ArrayLike) -> pd.DataFrame:
    """Hold each walk's number of presses against those before it: Student's t of their logarithms.

    Walks scatter no less than chance alone would have a count do, whose logarithm has a variance of 1 / mean.
    """
    value = np.asarray(counts, dtype=float)
    known = np.flatnonzero(value > 0)
    ends = {}
    for place in range(FEWEST_WALKS, known.size):
        before = np.log(value[known[:place]])
        sd = max(before.std(ddof=1), np.exp(-before.mean() / 2))
        half = stdtrit(place - 1, 1 - TAIL) * sd * np.sqrt(1 + 1 / place)
        ends[int(known[place])] = float(np.exp(before.mean() - half)), float(np.exp(before.mean() + half))
    return _placed(np.where(value > 0, value, np.nan), ends, 1)


def _placed(own: Floats, ends: dict[int, tuple[float, float]], whole: float) -> pd.DataFrame:
    """Where each walk lies in the interval that was found for it, all read in parts of ``1 / whole``."""
    found = pd.DataFrame(ends, ["low", "high"], dtype=float).T.reindex(range(own.size))
    read, low, high = np.round(own * whole), (found["low"] * whole).round(), (found["high"] * whole).round()
    said = [np.isnan(own), found["low"].isna(), read > high, read < low]
    return found.assign(place=np.select(said, ["", NO_USUAL, MORE, LESS], WITHIN))
