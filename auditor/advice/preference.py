"""In which order settings are advised that should bring about the same."""

from __future__ import annotations

import numpy as np

from auditor.optics.lens import Floats

NEARLY_BEST = 0.01  # relative: settings so near the best are chosen among by sensitivity and margin
RING_OFF = 0.10  # relative error of the ring that a setting should bear


def nearly_best(rate: Floats, allowed: np.ndarray) -> np.ndarray:
    """Allowed settings within 1 % of the best allowed one, shape (a,) of bool."""
    best = rate[allowed].max(initial=0.0)
    return np.asarray(allowed & (rate >= (1 - NEARLY_BEST) * best))


def in_order(
    rate: Floats, allowed: np.ndarray, iso: Floats, ring_off_rate: Floats | None = None
) -> np.ndarray:
    """Rows of the allowed settings in order of preference.

    First those within 1 % of the best, by the lowest sensitivity and then the widest margin; then the others
    by their rate.

    Parameters
    ----------
    rate : numpy.ndarray, shape (a,)
        Expected hit rates.
    allowed : numpy.ndarray of bool, shape (a,)
    iso : numpy.ndarray, shape (a,)
        Median sensitivity; NaN where unknown, and then it does not matter.
    ring_off_rate : numpy.ndarray, shape (a,), optional
        Expected hit rate where the ring is off; the margin.

    Examples
    --------
    >>> in_order(np.array([0.40, 0.399, 0.3]), np.array([True] * 3), np.array([800.0, 400.0, 200.0])).tolist()
    [1, 0, 2]
    """
    near = nearly_best(rate, allowed)
    margin = np.zeros_like(rate) if ring_off_rate is None else np.nan_to_num(ring_off_rate)
    first = np.flatnonzero(near)
    first = first[np.lexsort((-rate[first], -margin[first], np.nan_to_num(iso[first])))]
    rest = np.flatnonzero(allowed & ~near)
    return np.concatenate([first, rest[np.argsort(-rate[rest], kind="stable")]])
