"""Bursts as the likelihood sees them: one row each, or one row for many alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from auditor.evidence.burst_blur import LOG_BLUR, BurstBlur
from auditor.evidence.proportions import Floats

MOST_ROWS = 300  # more bursts than this are pooled
# Widths of the classes within which bursts are alike: mean and spread of log blur, log distance.
MEAN_STEP, SPREAD_STEP, DISTANCE_STEP = 0.05, 0.1, 0.2
FRAMES_STEP = 0.35  # of the log of the frames of a burst


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the keeper curve is fitted to, r rows.

    Attributes
    ----------
    hits, misses : numpy.ndarray, shape (r,)
        Weight of the bursts with and without a keeper.
    shares : numpy.ndarray, shape (r, len(LOG_BLUR))
        Distribution of the true blur over the classes of :data:`auditor.evidence.burst_blur.LOG_BLUR`.
    log_frames : numpy.ndarray, shape (r,)
        Log of the frames of a burst.
    distance : numpy.ndarray, shape (r,)
        Log subject distance, centred.
    """

    hits: Floats
    misses: Floats
    shares: npt.NDArray[np.floating]
    log_frames: Floats
    distance: Floats

    def weighted(self, factor: float) -> Evidence:
        """Return the same evidence, each burst worth ``factor`` bursts."""
        return Evidence(self.hits * factor, self.misses * factor, self.shares, self.log_frames, self.distance)

    @property
    def bursts_differ(self) -> bool:
        """Whether some bursts have more than one frame."""
        weight = self.hits + self.misses
        return bool((weight * (self.log_frames > 0)).sum() > 0.05 * weight.sum())


def gather(bursts: BurstBlur, *, by_distance: bool = False, most_rows: int = MOST_ROWS) -> Evidence:
    """Return the bursts as evidence, alike ones pooled where there are many.

    Bursts are alike when the mean and the spread of their log blur and their frames fall into the same narrow
    classes; a pooled row has the mean distribution of its bursts.

    Parameters
    ----------
    bursts : BurstBlur
    by_distance : bool
        Whether alike bursts must have alike distances too.
    most_rows : int
        Up to so many bursts nothing is pooled.
    """
    hits = np.where(bursts.hit, bursts.weight, 0.0)
    misses = np.where(bursts.hit, 0.0, bursts.weight)
    distance = bursts.log_distance - (bursts.log_distance.mean() if len(bursts) else 0.0)
    if len(bursts) <= most_rows:
        return Evidence(hits, misses, bursts.shares, np.log(bursts.frames), distance)
    mean = bursts.shares @ LOG_BLUR
    spread = np.sqrt(np.maximum(bursts.shares @ LOG_BLUR**2 - mean**2, 0.0))
    classes = [mean / MEAN_STEP, spread / SPREAD_STEP, np.log(bursts.frames) / FRAMES_STEP]
    if by_distance:
        classes.append(distance / DISTANCE_STEP)
    _, row = np.unique(np.round(np.stack(classes)).astype(np.int64), axis=1, return_inverse=True)
    order = np.argsort(row.ravel(), kind="stable")
    starts = np.concatenate([[0], np.cumsum(np.bincount(row.ravel()))[:-1]])
    weight = bursts.weight[order]

    def total(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, starts, axis=0), dtype=float)

    size = total(weight)
    by_row = csr_array((bursts.weight.astype(np.float32), (row.ravel(), np.arange(len(bursts)))))
    return Evidence(
        total(hits[order]),
        total(misses[order]),
        np.asarray(by_row @ bursts.shares, dtype=float) / size[:, None],
        total(weight * np.log(bursts.frames[order])) / size,
        total(weight * distance[order]) / size,
    )
