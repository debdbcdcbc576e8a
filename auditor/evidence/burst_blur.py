"""Which blur each burst may truly have had: the ground that the tolerance is fitted on.

A burst is one row: hit when it holds a keeper, its blur that of its middle frame (or two) among those with a
distance. Its true blur is not one number but a distribution, because the distance was guessed and the
direction in which the subject walked is unknown; it is kept as shares in classes of log blur.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import burst_codes, is_keeper, zone_focused
from auditor.evidence.proportions import Floats
from auditor.evidence.true_distance import burst_error_sd, likely_log_distance
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.settings import Settings

# Classes of blur, 0.5 µm to 10 mm in steps of 8 %: fine beside the fall of any keeper curve.
LOG_BLUR = np.arange(np.log(0.0005), np.log(10.0), 0.08)
DIRECTIONS = 6  # crossing angles per quarter turn, all equally likely
_QUANTILES, _QUANTILE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
INFINITE_M = 1e4  # farther than this nothing moves on the sensor
BLOCK = 20_000  # bursts whose nodes are in memory at one time


@dataclass(frozen=True, slots=True)
class FrameOptics:
    """What the blur of n frames depends on besides distance and direction; arrays of shape (n,)."""

    focal_length_mm: Floats
    f_number: Floats
    focus_distance_m: Floats
    exposure_time_s: Floats

    def __getitem__(self, rows: npt.NDArray[np.intp] | slice) -> FrameOptics:
        """Return the same for some of the frames."""
        return FrameOptics(
            self.focal_length_mm[rows],
            self.f_number[rows],
            self.focus_distance_m[rows],
            self.exposure_time_s[rows],
        )


@dataclass(frozen=True, slots=True)
class BurstBlur:
    """The bursts with a known subject distance and blur, n of them.

    Attributes
    ----------
    hit : numpy.ndarray of bool, shape (n,)
        Whether the burst holds a keeper.
    frames : numpy.ndarray, shape (n,)
        Counted frames of the burst, with or without a distance.
    weight : numpy.ndarray, shape (n,)
        Sampling weight, 1 where all distances are known.
    blur_mm : numpy.ndarray, shape (n,)
        Median blur over the frames with a distance, as in the frame table.
    shares : numpy.ndarray of float32, shape (n, len(LOG_BLUR))
        Probability of each class of true blur; rows sum to 1.
    log_distance : numpy.ndarray, shape (n,)
        Expected log of the true subject distance [m].
    lenses : numpy.ndarray, shape (n,)
        Lens of each burst.
    coc_mm : numpy.ndarray, shape (n,)
        Circle of confusion at the frames.
    """

    hit: npt.NDArray[np.bool_]
    frames: Floats
    weight: Floats
    blur_mm: Floats
    shares: npt.NDArray[np.floating]
    log_distance: Floats
    lenses: npt.NDArray[np.object_]
    coc_mm: Floats

    def __len__(self) -> int:
        return len(self.hit)

    def chosen(self, rows: npt.NDArray[np.bool_]) -> BurstBlur:
        """Return the same for some of the bursts."""
        return replace(self, **{name: getattr(self, name)[rows] for name in self.__slots__})


def usable_frames(table: pd.DataFrame) -> pd.DataFrame:
    """Return the counted, zone-focused frames with a finite blur, their burst's number under ``code``.

    Further columns: ``kept`` and, of the whole burst, ``burst_hit`` and ``burst_frames``.
    """
    frames = zone_focused(table)
    code = burst_codes(frames)
    kept = is_keeper(frames)
    n_bursts = int(code.max()) + 1 if code.size else 0
    size = np.bincount(code, minlength=n_bursts)
    keepers = np.bincount(code, kept, minlength=n_bursts)
    frames = frames.assign(code=code, kept=kept, burst_hit=keepers[code] > 0, burst_frames=size[code])
    blur = frames["blur_mm"].to_numpy(float)
    distance = frames["subject_distance_m"].to_numpy(float)
    drawn = ~(frames["sample_weight"].to_numpy(float) <= 0)
    usable = np.isfinite(blur) & (blur > 0) & (distance > 0) & drawn
    return frames[usable].reset_index(drop=True)


def error_of_guess(frames: pd.DataFrame, settings: Settings, times: float = 1.0) -> Floats:
    """Return the relative error of each frame's subject distance, shape (n,).

    A stated error (``subject_distance_rel_sd``) is taken at its word; where none is stated the distance is
    taken for a guess by eye, ``guess_sd``. ``times`` scales both.
    """
    stated = frames["subject_distance_rel_sd"].to_numpy(float)
    return times * np.where(np.isfinite(stated) & (stated >= 0), stated, settings.guess_sd)


def log_distance(frames: pd.DataFrame) -> Floats:
    """Return the log of each frame's subject distance [m]; infinity counts as ten kilometres."""
    return np.asarray(np.log(np.minimum(frames["subject_distance_m"].to_numpy(float), INFINITE_M)))


def burst_blur(table: pd.DataFrame, settings: Settings, guess_times: float = 1.0) -> BurstBlur:
    """Gather the bursts that say something on blur, each with the distribution of its true blur.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    settings : Settings
        ``guess_sd`` and ``speed_m_s`` are used.
    guess_times : float
        Factor on the error of the distances, to see how much hangs on it.
    """
    frames = usable_frames(table)
    error = error_of_guess(frames, settings, guess_times)
    frames = frames.assign(log_guess=log_distance(frames), error=error)
    grouped = frames.groupby("code", sort=True)
    bursts = grouped.agg(
        hit=("burst_hit", "first"),
        frames=("burst_frames", "first"),
        known=("code", "size"),
        weight=("sample_weight", "sum"),
        drawn=("sample_weight", "count"),
        blur=("blur_mm", "median"),
        lens=("lens", "first"),
        coc=("coc_mm", "first"),
    )
    row_of = pd.Series(np.arange(len(bursts)), index=bursts.index)
    row = row_of.loc[frames["code"]].to_numpy(dtype=np.intp)
    known = bursts["known"].to_numpy(float)
    # Weight share method (Lavallée 2007, Indirect Sampling): a burst drawn through some of its frames weighs
    # their weights' sum over the number of its frames.
    drawn = bursts["drawn"].to_numpy() > 0
    weight = np.where(drawn, bursts["weight"].to_numpy(float) / bursts["frames"].to_numpy(float), 1.0)
    middle, part = _middle_frames(frames["blur_mm"].to_numpy(float), row, known)
    chosen = frames.iloc[middle]
    row_chosen = row[middle]
    sd = burst_error_sd(chosen["error"].to_numpy(float), _scatter_within(frames, row), known[row_chosen])
    preset = pd.factorize(chosen["preset"].fillna(""))[0].astype(np.intp)
    mean, spread = likely_log_distance(
        chosen["log_guess"].to_numpy(float), sd, weight[row_chosen] * part, preset
    )
    optics = frame_optics(chosen)
    shares = np.zeros((len(bursts), LOG_BLUR.size), dtype=np.float32)  # a million bursts fit in memory so
    for start in range(0, len(chosen), BLOCK):
        block = slice(start, start + BLOCK)
        of_block = blur_shares(optics[block], mean[block], spread[block], settings.speed_m_s)
        np.add.at(shares, row_chosen[block], of_block * part[block, None])
    return BurstBlur(
        hit=bursts["hit"].to_numpy(dtype=bool),
        frames=bursts["frames"].to_numpy(float),
        weight=weight,
        blur_mm=bursts["blur"].to_numpy(float),
        shares=shares,
        log_distance=np.bincount(row_chosen, mean * part, minlength=len(bursts)).astype(float),
        lenses=bursts["lens"].to_numpy(object),
        coc_mm=bursts["coc"].to_numpy(float),
    )


def _middle_frames(
    blur: Floats, row: npt.NDArray[np.intp], known: Floats
) -> tuple[npt.NDArray[np.intp], Floats]:
    """Return the positions of each burst's one or two middle frames in blur, and the part each one has."""
    order = np.lexsort((blur, row))
    first = (
        np.concatenate([[0], np.cumsum(known)[:-1]]).astype(np.intp) if known.size else known.astype(np.intp)
    )
    lower = first + ((known - 1) // 2).astype(np.intp)
    upper = first + (known // 2).astype(np.intp)
    two = upper > lower
    middle = np.concatenate([order[lower], order[upper[two]]])
    part = np.concatenate([np.where(two, 0.5, 1.0), np.full(int(two.sum()), 0.5)])
    return middle, part


def _scatter_within(frames: pd.DataFrame, row: npt.NDArray[np.intp]) -> Floats:
    """Return the pooled standard deviation of the log guesses within bursts; 0 without bursts of two."""
    guess = frames["log_guess"].to_numpy(float)
    size = np.bincount(row)
    mean = np.bincount(row, guess) / np.maximum(size, 1)
    degrees = size.sum() - np.count_nonzero(size)
    squares = float(((guess - mean[row]) ** 2).sum())
    return np.asarray(np.sqrt(squares / degrees) if degrees > 0 else 0.0)


def frame_optics(frames: pd.DataFrame) -> FrameOptics:
    """Return the columns that the blur depends on."""
    names = ("focal_length_mm", "f_number", "focus_distance_m", "exposure_time_s")
    return FrameOptics(*(frames[name].to_numpy(float) for name in names))


def blur_nodes(
    optics: FrameOptics, log_distance: Floats, log_sd: Floats, speed_m_s: float
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return the parts of the blur at each possible distance and direction.

    Parameters
    ----------
    optics : FrameOptics
        Of n frames.
    log_distance, log_sd : numpy.ndarray, shape (n,)
        Distribution of the log subject distance, counted from the sensor plane [m].
    speed_m_s : float

    Returns
    -------
    distance_m, defocus, diffraction : numpy.ndarray, shape (n, 9, 1)
    motion : numpy.ndarray, shape (n, 9, DIRECTIONS)
        In mm, the crossing angle spread evenly.
    weight : numpy.ndarray, shape (9, DIRECTIONS)
        Sums to 1.
    """
    focal = optics.focal_length_mm[:, None]
    shortest = np.log(4.05e-3 * focal)  # nearer than four focal lengths nothing can be focused
    log_m = np.maximum(log_distance[:, None] + log_sd[:, None] * _QUANTILES, shortest)
    distance = np.exp(log_m)
    n_wide = optics.f_number[:, None]
    defocus = defocus_mm(focal, n_wide, optics.focus_distance_m[:, None], distance)
    across = motion_mm(focal, distance, speed_m_s, optics.exposure_time_s[:, None], crossing_deg=90.0)
    diffraction = airy_mm(n_wide, magnification(lens_distance_m(distance, focal), focal))
    sines = np.sin((np.arange(DIRECTIONS) + 0.5) / DIRECTIONS * np.pi / 2)
    weight = (
        np.repeat((_QUANTILE_WEIGHTS / _QUANTILE_WEIGHTS.sum())[:, None], DIRECTIONS, axis=1) / DIRECTIONS
    )
    motion = np.asarray(across)[..., None] * sines
    return (
        distance[..., None],
        np.asarray(defocus)[..., None],
        np.asarray(diffraction)[..., None],
        motion,
        weight,
    )


def blur_shares(optics: FrameOptics, log_distance: Floats, log_sd: Floats, speed_m_s: float) -> Floats:
    """Return the distribution of the combined blur over the classes, shape (n, len(LOG_BLUR))."""
    _, defocus, diffraction, motion, weight = blur_nodes(optics, log_distance, log_sd, speed_m_s)
    blur = np.sqrt(defocus**2 + diffraction**2 + motion**2)
    return into_classes(blur, np.broadcast_to(weight, blur.shape))


def into_classes(blur_mm: Floats, weight: Floats) -> Floats:
    """Add weights into classes of log blur, each shared between the two neighbouring classes.

    Parameters
    ----------
    blur_mm, weight : numpy.ndarray, shape (n, ...)

    Returns
    -------
    numpy.ndarray, shape (n, len(LOG_BLUR))
    """
    n, classes = len(blur_mm), LOG_BLUR.size
    place = (np.log(blur_mm) - LOG_BLUR[0]) / (LOG_BLUR[1] - LOG_BLUR[0])
    place = np.clip(place, 0, classes - 1 - 1e-9).reshape(n, -1)
    lower = place.astype(np.intp)
    upper_part = (place - lower) * weight.reshape(n, -1)
    lower += (np.arange(n) * classes)[:, None]
    flat, size = lower.ravel(), n * classes
    low = np.bincount(flat, (weight.reshape(n, -1) - upper_part).ravel(), minlength=size)
    high = np.bincount(flat + 1, upper_part.ravel(), minlength=size)
    return np.asarray(low[:size] + high[:size], dtype=float).reshape(n, classes)
