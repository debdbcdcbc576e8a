"""The distances at which subjects were met: one distribution for each preset, freed of the error of guesses.

People press when they believe the subject is in the zone, so every preset meets distances of its own. Each
burst with a known subject distance adds what its true distance may be (see
:mod:`auditor.evidence.true_distance`) to its preset's distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from auditor.evidence.burst_blur import error_of_guess
from auditor.evidence.bursts import burst_codes
from auditor.evidence.true_distance import burst_error_sd, likely_log_distance
from auditor.optics.lens import Floats
from auditor.settings import Settings

# Classes of distance, 0.25 m to 150 m in steps of 5 %; what lies beyond is put into the last one.
LOG_M = np.arange(np.log(0.25), np.log(150.0), 0.05)
_FINE = 0.01  # steps in which likely distances and their spread are counted before they are smoothed
_SD_STEPS = 60
SMALL = 5  # bursts; presets with fewer are taken together


@dataclass(frozen=True, slots=True)
class Distances:
    """Distances met at each of p presets.

    Attributes
    ----------
    presets : tuple of str
        Names; the last one may stand for several small ones.
    share : numpy.ndarray, shape (p, len(LOG_M))
        Share of the preset's bursts in each class; rows sum to 1.
    weight : numpy.ndarray, shape (p,)
        Share of each preset among the bursts, summing to 1.
    effective : numpy.ndarray, shape (p,)
        Exactly known distances that would tell as much as the preset's guesses do.
    bursts : int
        Bursts with a known distance.
    low_m, high_m : float
        5th and 95th percentile of the distances as they were stated [m].
    """

    presets: tuple[str, ...]
    share: Floats
    weight: Floats
    effective: Floats
    bursts: int
    low_m: float
    high_m: float

    @property
    def together(self) -> Floats:
        """The distribution over all presets, shape (len(LOG_M),)."""
        return self.weight @ self.share


def distances_met(frames: pd.DataFrame, settings: Settings) -> Distances | None:
    """Gather the distances of counted, zone-focused frames; None where no distance is known.

    Parameters
    ----------
    frames : pandas.DataFrame
        Frame table of those frames.
    settings : Settings
        ``guess_sd`` is used.
    """
    stated = frames["subject_distance_m"].to_numpy(float)
    size = np.bincount(burst_codes(frames)) if len(frames) else np.zeros(0)
    frames = frames.assign(code=burst_codes(frames), error=error_of_guess(frames, settings))[stated > 0]
    if not len(frames):
        return None
    guess = np.clip(np.log(frames["subject_distance_m"].to_numpy(float)), LOG_M[0], LOG_M[-1])
    grouped = frames.assign(guess=guess).groupby("code", sort=True)
    bursts = grouped.agg(
        guess=("guess", "median"),
        error=("error", "mean"),
        known=("code", "size"),
        weight=("sample_weight", "sum"),
        weighted=("sample_weight", "count"),
        preset=("preset", "first"),
    )
    known = bursts["known"].to_numpy(float)
    of_burst = size[bursts.index.to_numpy()]
    # Weight share method (Lavallée 2007, Indirect Sampling), as in the fit of the tolerance.
    drawn = bursts["weighted"].to_numpy() > 0
    weight = np.where(drawn, bursts["weight"].to_numpy(float) / of_burst, 1.0)
    middle = bursts["guess"].to_numpy(float)
    group, names = _preset_groups(bursts["preset"])
    sd = burst_error_sd(bursts["error"].to_numpy(float), np.asarray(0.0), known)
    mean, spread = likely_log_distance(middle, sd, weight, group)
    share = _smoothed(group, len(names), mean, spread, weight)
    low, high = _weighted_quantiles(middle, weight, (0.05, 0.95))
    return Distances(
        presets=names,
        share=share / share.sum(axis=1, keepdims=True),
        weight=np.bincount(group, weight) / weight.sum(),
        effective=_effective(group, middle, sd, weight),
        bursts=len(bursts),
        low_m=float(np.exp(low)),
        high_m=float(np.exp(high)),
    )


def _preset_groups(preset: pd.Series) -> tuple[np.ndarray, tuple[str, ...]]:
    """Number of each burst's preset, the small ones taken together, and the names."""
    names = preset.fillna("").astype(str)
    counts = names.value_counts()
    large = counts.index[counts >= SMALL]
    kept = names.where(names.isin(large), "other")
    codes, unique = pd.factorize(kept)
    return codes.astype(np.intp), tuple(str(name) for name in unique)


def _smoothed(group: np.ndarray, groups: int, mean: Floats, sd: Floats, weight: Floats) -> Floats:
    """Sum of normal distributions of the true log distance for each preset, shape (groups, len(LOG_M))."""
    fine = np.round((np.clip(mean, LOG_M[0], LOG_M[-1]) - LOG_M[0]) / _FINE).astype(np.intp)
    places = round((LOG_M[-1] - LOG_M[0]) / _FINE) + 1
    wide = np.minimum(np.round(sd / _FINE), _SD_STEPS - 1).astype(np.intp)
    flat = (group * _SD_STEPS + wide) * places + fine
    counts = np.bincount(flat, weight, minlength=groups * _SD_STEPS * places)
    counts = counts.reshape(groups, _SD_STEPS, places)
    centres = LOG_M[0] + _FINE * np.arange(places)
    edges = np.concatenate([[-np.inf], (LOG_M[1:] + LOG_M[:-1]) / 2, [np.inf]])
    share = np.zeros((groups, LOG_M.size))
    for step in np.flatnonzero(counts.sum(axis=(0, 2))):
        spread = max(step * _FINE, _FINE / 4)
        share += counts[:, step] @ np.diff(ndtr((edges - centres[:, None]) / spread), axis=1)
    return share


def _effective(group: np.ndarray, log_m: Floats, sd: Floats, weight: Floats) -> Floats:
    """Kish's effective number of bursts of each preset, times the part of their spread that is not error."""
    total = np.bincount(group, weight)
    number = total**2 / np.bincount(group, weight**2)
    mean = np.bincount(group, weight * log_m) / total
    variance = np.bincount(group, weight * (log_m - mean[group]) ** 2) / total
    error = np.bincount(group, weight * sd**2) / total
    with np.errstate(invalid="ignore", divide="ignore"):
        true_part = np.where(variance > 0, 1 - error / variance, 1.0)
    return np.asarray(np.maximum(number * np.clip(true_part, 0.1, 1.0), 1.0))


def _weighted_quantiles(values: Floats, weight: Floats, shares: tuple[float, ...]) -> Floats:
    order = np.argsort(values)
    place = np.cumsum(weight[order]) - weight[order] / 2
    return np.asarray(np.interp(np.array(shares) * weight.sum(), place, values[order]))
