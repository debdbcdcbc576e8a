"""What a setting should bring: the keeper curve averaged over the distances and the light that were met.

For every setting the blur of a subject is worked out at each class of distance, for each exposure time the
light would have asked for and each direction of walking, and kept as shares in classes of log blur. The
expected hit rate is then a product of those shares with the heights of the keeper curve, for many curves at
once. Distance and light are taken to be independent of each other.

The uncertainty of an expected rate has three parts: the curve's (its draws), that of the distances as a
sample (drawn anew from each preset's distribution, as many as its guesses are worth) and, because people
press when they believe the subject is in the zone, how far the presets' distances differ among each other
beyond chance (random effects: DerSimonian & Laird 1986, Controlled Clinical Trials 7:177).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auditor.advice.curves import Curves
from auditor.advice.distances import LOG_M, Distances
from auditor.advice.exposures import Exposures
from auditor.evidence.burst_blur import DIRECTIONS, LOG_BLUR, into_classes
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import Floats, lens_distance_m, magnification

ALL_CAUSES = ("defocus", "motion", "diffraction")
_SEED = 20_240  # drawn distances: the same archive gives the same advice


@dataclass(frozen=True, slots=True)
class Grid:
    """Settings of one lens; arrays of shape (a,), focus distances from the sensor plane."""

    focal_length_mm: float
    f_number: Floats
    focus_distance_m: Floats

    def __len__(self) -> int:
        return len(self.f_number)

    def turned(self, factor: float) -> Grid:
        """The same settings with the ring off by a factor."""
        return Grid(self.focal_length_mm, self.f_number, self.focus_distance_m * factor)

    def chosen(self, rows: np.ndarray) -> Grid:
        """Some of the settings."""
        return Grid(self.focal_length_mm, self.f_number[rows], self.focus_distance_m[rows])


def blur_shares(
    grid: Grid, exposures: Exposures, speed_m_s: float, causes: tuple[str, ...] = ALL_CAUSES
) -> Floats:
    """Distribution of the blur at each setting and class of distance.

    Parameters
    ----------
    grid : Grid
        Of a settings.
    exposures : Exposures
    speed_m_s : float
        Walking speed of subjects, any direction alike.
    causes : tuple of str
        Of defocus, motion and diffraction those that count.

    Returns
    -------
    numpy.ndarray, shape (a, len(LOG_M), len(LOG_BLUR))
        Sums to the share of the frames that could be taken.
    """
    result = np.zeros((len(grid), LOG_M.size, LOG_BLUR.size))
    focal = grid.focal_length_mm
    distance = np.maximum(np.exp(LOG_M), 4.05e-3 * focal)  # nearer nothing can be focused
    size = magnification(lens_distance_m(distance, focal), focal)
    sines = np.sin((np.arange(DIRECTIONS) + 0.5) / DIRECTIONS * np.pi / 2)
    for number in np.unique(grid.f_number):
        rows = np.flatnonzero(grid.f_number == number)
        times = exposures.at(float(number))
        squares = np.zeros((rows.size, LOG_M.size, times.share.size, DIRECTIONS))
        if "defocus" in causes:
            focus = grid.focus_distance_m[rows, None]
            squares += (defocus_mm(focal, number, focus, distance) ** 2)[..., None, None]
        if "diffraction" in causes:
            squares += (airy_mm(number, size) ** 2)[:, None, None]
        if "motion" in causes:
            across = motion_mm(focal, distance[:, None], speed_m_s, times.exposure_time_s, crossing_deg=90)
            squares += (across[..., None] * sines) ** 2
        blur = np.sqrt(np.maximum(squares, np.exp(2 * LOG_BLUR[0])))
        weight = np.broadcast_to(times.share[:, None] / DIRECTIONS, blur.shape)
        per_cell = into_classes(
            blur.reshape(rows.size * LOG_M.size, -1), weight.reshape(rows.size * LOG_M.size, -1)
        )
        result[rows] = per_cell.reshape(rows.size, LOG_M.size, LOG_BLUR.size)
    return result


@dataclass(frozen=True, slots=True)
class Averaging:
    """What expected rates are averaged over, worked out once for many settings; k draws.

    Attributes
    ----------
    distances : Distances
    curves : Curves
    heights : numpy.ndarray, shape (len(LOG_BLUR), k)
        Chance of a keeper in each class of blur, for each curve.
    drawn : numpy.ndarray, shape (k, len(LOG_M))
        What chance may have added to the shares of the distances met.
    """

    distances: Distances
    curves: Curves
    heights: Floats
    drawn: Floats


def prepare_averaging(distances: Distances, curves: Curves) -> Averaging:
    """Draw other samples of distances, as many as the guesses are worth, and work out the curves' heights."""
    rng = np.random.default_rng(_SEED)
    drawn = np.zeros((len(curves), LOG_M.size))
    for share, weight, number in zip(
        distances.share, distances.weight, distances.effective.round().astype(int), strict=True
    ):
        drawn += weight * (rng.multinomial(number, share, size=len(curves)) / number - share)
    return Averaging(distances, curves, curves.heights(), drawn)


@dataclass(frozen=True, slots=True)
class Expected:
    """Expected hit rates of a settings; k draws.

    Attributes
    ----------
    rate : numpy.ndarray, shape (a,)
        Over all distances.
    draws : numpy.ndarray, shape (k, a)
        Rates that agree with the data as well; the presets' differences are not in them.
    at_distance : numpy.ndarray, shape (a, len(LOG_M))
        Rate at each class of distance.
    distances : Distances
    """

    rate: Floats
    draws: Floats
    at_distance: Floats
    distances: Distances

    def interval(self, confidence: float) -> tuple[Floats, Floats]:
        """Lower and upper limit of each rate, shape (a,)."""
        return _limits(self.draws, self._between(self.at_distance), confidence, 0.0)

    def gain(self, over: int) -> Floats:
        """By how much each rate exceeds that of one setting, shape (a,)."""
        return np.asarray(self.rate - self.rate[over])

    def gain_interval(self, over: int, confidence: float) -> tuple[Floats, Floats]:
        """Lower and upper limit of each gain over one setting, shape (a,)."""
        between = self._between(self.at_distance - self.at_distance[over])
        return _limits(self.draws - self.draws[:, [over]], between, confidence, -1.0)

    def chance_better(self, over: int) -> Floats:
        """Chance that each rate exceeds that of one setting, shape (a,)."""
        return np.asarray((self._gains(over) > 0).mean(axis=0))

    def ratio_interval(self, over: int, confidence: float) -> tuple[Floats, Floats]:
        """Lower and upper limit of each gain as a share of the rate of one setting, shape (a,)."""
        base = np.maximum(self.draws[:, [over]], 1e-9)
        tail = (1 - confidence) / 2
        low, high = np.quantile(self._gains(over) / base, [tail, 1 - tail], axis=0)
        return low, high

    def _gains(self, over: int) -> Floats:
        between = self._between(self.at_distance - self.at_distance[over])
        return np.asarray(self.draws - self.draws[:, [over]] + between * _noise(len(self.draws)))

    def on_preset(self, number: int) -> Floats:
        """Rates over the distances of one preset alone, shape (a,)."""
        return np.asarray(self.at_distance @ self.distances.share[number])

    def _between(self, at_distance: Floats) -> Floats:
        return _between_presets(at_distance, self.distances)


def expect(shares: Floats, averaging: Averaging) -> Expected:
    """Average the keeper curves over distances and light.

    Parameters
    ----------
    shares : numpy.ndarray, shape (a, len(LOG_M), len(LOG_BLUR))
        From :func:`blur_shares`.
    averaging : Averaging
    """
    together = np.tensordot(shares, averaging.distances.together, axes=(1, 0))
    modelled = (together @ averaging.heights).T
    at_distance = shares @ averaging.heights.mean(axis=1)
    return Expected(
        rate=modelled.mean(axis=0),
        draws=modelled + averaging.drawn @ at_distance.T,
        at_distance=at_distance,
        distances=averaging.distances,
    )


def _between_presets(at_distance: Floats, distances: Distances) -> Floats:
    """Standard deviation of a mean over distances between presets, beyond chance, shape (a,)."""
    means = at_distance @ distances.share.T
    if means.shape[1] < 2:
        return np.zeros(len(means))
    spread = np.maximum(at_distance**2 @ distances.share.T - means**2, 0.0)
    weight = 1 / np.maximum(spread / distances.effective, 1e-12)
    total = weight.sum(axis=1)
    centre = (weight * means).sum(axis=1) / total
    excess = (weight * (means - centre[:, None]) ** 2).sum(axis=1) - (means.shape[1] - 1)
    scale = total - (weight**2).sum(axis=1) / total
    return np.asarray(np.sqrt(np.maximum(excess / np.maximum(scale, 1e-300), 0.0)))


def _noise(draws: int) -> Floats:
    return np.asarray(np.random.default_rng(_SEED + 1).standard_normal(draws)[:, None])


def _limits(draws: Floats, between: Floats, confidence: float, lowest: float) -> tuple[Floats, Floats]:
    ends = np.quantile(
        draws + between * _noise(len(draws)), [(1 - confidence) / 2, (1 + confidence) / 2], axis=0
    )
    low, high = np.clip(ends, lowest, 1.0)
    return low, high
