"""Every setting tried on the subjects met: the same subjects, the same light, another ring and stop.

Of 100 subjects pressed at, how many would have been sharp? Each measured subject is put through every
setting, paired, weighted by the presses it stands for; which subjects were measured, and how much blur this
photographer bears, enter as far as they are known (Bayesian bootstrap: Rubin, Annals of Statistics 9:130,
1981; draws of the tolerances from :mod:`auditor.evidence.blur_tolerance`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.evidence.blur_classes import blur_shares, sharp_curve
from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects
from auditor.optics.lens import sharp_zone

MODEL_SD = 0.03  # discrepancy of the thin lens and the blur model, on the log of a ratio of shares
COMMON_ERROR = 0.05  # of all stated distances together, to one side; less where they are better known
MOST_SUBJECTS = 400  # more of them, drawn by weight, change nothing that is shown
TRIED_SHARE = 0.5  # part of a zone, in reciprocal distance, that must lie where subjects were met
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Setting:
    """An f-number, and a distance on the ring [m]."""

    f_number: float
    focus_distance_m: float


@dataclass(frozen=True, slots=True)
class Paired:
    """What settings would have brought on the subjects met; arrays of shape (a,) over the settings.

    Attributes
    ----------
    f_number, focus_distance_m : numpy.ndarray
    share, low, high : numpy.ndarray
        Share of the subjects that would have been sharp: mean of the draws, interval.
    now, now_low, now_high : float
        The same as it was set.
    gain, gain_low, gain_high : numpy.ndarray
        Share over the share now: mean of the draws, interval with the model's own discrepancy.
    chance_better : numpy.ndarray
        Chance that the setting makes more of them sharp than what was set.
    tried : numpy.ndarray of bool
        Whether its zone lies mostly where subjects were met.
    subjects : int
    effective : float
        Equally weighted subjects worth as much.
    draws : numpy.ndarray, shape (a, d)
    now_draws : numpy.ndarray, shape (d,)
    """

    f_number: Floats
    focus_distance_m: Floats
    share: Floats
    low: Floats
    high: Floats
    now: float
    now_low: float
    now_high: float
    gain: Floats
    gain_low: Floats
    gain_high: Floats
    chance_better: Floats
    tried: npt.NDArray[np.bool_]
    subjects: int
    effective: float
    draws: Floats
    now_draws: Floats


def chance_above(draws: Floats, now: Floats, log_ratio: float) -> Floats:
    """Chance that the ratio of shares, the model's discrepancy on it, lies above a bound; shape (a,)."""
    away = np.log(np.maximum(draws, _LEAST)) - np.log(np.maximum(now, _LEAST)) - log_ratio
    return np.asarray(ndtr(away / MODEL_SD).mean(axis=-1))


def compare_settings(
    subjects: Subjects,
    tolerances: Tolerances,
    f_number: Floats,
    focus_distance_m: Floats,
    answers: tuple[LightAnswer, ...],
    speed_m_s: float,
    *,
    habit: npt.NDArray[np.float64] | None = None,
    settings_in_use: tuple[Setting, ...] = (),
    keep: bool = False,
    confidence: float = 0.95,
    seed: int = 0,
) -> Paired:
    """Put every measured subject through every setting.

    Parameters
    ----------
    subjects : Subjects
        Of one lens, at least one.
    tolerances : Tolerances
        Of that lens.
    f_number, focus_distance_m : numpy.ndarray, shape (a,)
        The settings.
    answers : tuple of LightAnswer
        How the camera may answer another stop, with the weight of each.
    speed_m_s : float
        Mean walking speed; 0: subjects stand still.
    habit, settings_in_use
        Share of the presses at each setting in use: then *now* is that mixture for every subject. Without
        them it is the setting that each subject was met with.
    keep : bool
        Shares kept instead (up to the common level), by tau_keep.
    confidence : float
    seed : int
    """
    rng = np.random.default_rng(seed)
    subjects = _at_most(subjects, rng)
    log_tau = tolerances.log_keep if keep else tolerances.log_sharp
    curves = sharp_curve(log_tau, tolerances.kappa).astype(np.float32)
    count = curves.shape[1]
    cases = [(answer, side) for answer in answers for side in (-1.0, 1.0)]
    part = np.array([answer.weight for answer, _ in cases])
    of_case = np.searchsorted(np.cumsum(part / part.sum()), (np.arange(count) + 0.5) / count)
    of_case = np.minimum(rng.permutation(of_case), len(cases) - 1)
    weights = subjects.weight * rng.standard_exponential((count, len(subjects)))
    weights = (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)
    used = [(own.f_number, own.focus_distance_m) for own in settings_in_use]
    a = len(f_number)
    numbers = np.concatenate([f_number, [n for n, _ in used]])
    rings = np.concatenate([focus_distance_m, [s for _, s in used]])
    draws = np.empty((len(numbers), count))
    now = np.empty(count)
    for place, (answer, side) in enumerate(cases):
        own = np.flatnonzero(of_case == place)
        if not own.size:
            continue
        off = side * np.minimum(COMMON_ERROR, 0.5 * subjects.error_sd)
        moved = replace(subjects, log_m=subjects.log_m + off)
        draws[:, own] = _shares_of(moved, numbers, rings, answer, speed_m_s, tolerances, curves, weights, own)
        if habit is None:
            at = _sharp(moved, None, None, None, speed_m_s, tolerances, curves, own)
            now[own] = np.einsum("nd,dn->d", at, weights[own])
    if habit is not None:
        now = habit / habit.sum() @ draws[a:]
    draws = draws[:a]
    if keep:
        draws, now = (tolerances.floor + (1 - tolerances.floor) * one for one in (draws, now))
    tail = [0.5 - confidence / 2, 0.5 + confidence / 2]
    low, high = np.quantile(draws, tail, axis=1)
    ratio = np.maximum(draws, _LEAST) / np.maximum(now, _LEAST)
    noisy = ratio * np.exp(MODEL_SD * rng.standard_normal(count))
    gain_low, gain_high = np.quantile(noisy, tail, axis=1)
    now_low, now_high = np.quantile(now, tail)
    return Paired(
        f_number=np.asarray(f_number, dtype=float),
        focus_distance_m=np.asarray(focus_distance_m, dtype=float),
        share=draws.mean(axis=1),
        low=low,
        high=high,
        now=float(now.mean()),
        now_low=float(now_low),
        now_high=float(now_high),
        gain=draws.mean(axis=1) / max(float(now.mean()), _LEAST),
        gain_low=gain_low,
        gain_high=gain_high,
        chance_better=chance_above(draws, now, 0.0),
        tried=tried_there(subjects, np.asarray(f_number, float), np.asarray(focus_distance_m, float)),
        subjects=len(subjects),
        effective=subjects.effective,
        draws=draws,
        now_draws=now,
    )


def sharp_as_taken(
    subjects: Subjects, tolerances: Tolerances, speed_m_s: float, *, keep: bool = False
) -> npt.NDArray[np.float32]:
    """Chance of each subject, as it was taken, to be sharp (or sharp enough to keep), shape (n, draws)."""
    log_tau = tolerances.log_keep if keep else tolerances.log_sharp
    curves = sharp_curve(log_tau, tolerances.kappa).astype(np.float32)
    every = np.arange(curves.shape[1])
    return _sharp(subjects, None, None, None, speed_m_s, tolerances, curves, every)


def tried_there(subjects: Subjects, f_number: Floats, focus_distance_m: Floats) -> npt.NDArray[np.bool_]:
    """Whether each zone (handbook criterion) lies mostly within the middle nine tenths of distances met.

    Both are measured in reciprocal distance, as rings are spaced.
    """
    met = np.exp(subjects.stated_log_m)
    near_m, far_m = np.quantile(met, [0.05, 0.95], weights=subjects.weight, method="inverted_cdf")
    focal, unit = float(np.median(subjects.focal_length_mm)), float(np.median(subjects.handbook_mm))
    zone = sharp_zone(focal, f_number, focus_distance_m, unit)
    near, far = 1 / np.asarray(zone.near_limit_m), 1 / np.asarray(zone.far_limit_m)
    inside = np.minimum(near, 1 / near_m) - np.maximum(far, 1 / far_m)
    with np.errstate(invalid="ignore"):
        return np.asarray(inside >= TRIED_SHARE * (near - far))


def _at_most(subjects: Subjects, rng: np.random.Generator) -> Subjects:
    if len(subjects) <= MOST_SUBJECTS:
        return subjects
    part = np.cumsum(subjects.weight) / subjects.weight.sum()
    rows = np.searchsorted(part, (np.arange(MOST_SUBJECTS) + rng.random()) / MOST_SUBJECTS)
    drawn = subjects.chosen(np.minimum(rows, len(subjects) - 1).astype(np.intp))
    return replace(drawn, weight=np.full(len(drawn), float(subjects.weight.sum()) / len(drawn)))


def _shares_of(
    subjects: Subjects,
    numbers: Floats,
    rings: Floats,
    answer: LightAnswer,
    speed_m_s: float,
    tolerances: Tolerances,
    curves: npt.NDArray[np.float32],
    weights: npt.NDArray[np.float32],
    own: npt.NDArray[np.intp],
) -> Floats:
    """Weighted share of sharp subjects of each setting at the draws ``own``, shape (a, len(own))."""
    n = len(subjects)
    found = np.empty((len(numbers), own.size))
    step = max(1, 20_000 // n)
    for start in range(0, len(numbers), step):
        rows = slice(start, start + step)
        times = np.stack([times_at(subjects, number, answer) for number in numbers[rows]])
        sharp = _sharp(subjects, numbers[rows], rings[rows], times, speed_m_s, tolerances, curves, own)
        found[rows] = np.einsum("and,dn->ad", sharp.reshape(-1, n, own.size), weights[own], optimize=True)
    return found


def _sharp(
    subjects: Subjects,
    numbers: Floats | None,
    rings: Floats | None,
    times: Floats | None,
    speed_m_s: float,
    tolerances: Tolerances,
    curves: npt.NDArray[np.float32],
    own: npt.NDArray[np.intp],
) -> npt.NDArray[np.float32]:
    """Chance of each subject at each setting to be sharp, shape (a * n, len(own)); None: as it was taken."""
    n = len(subjects)
    a = 1 if numbers is None else len(numbers)

    def repeated(values: Floats) -> Floats:
        return np.tile(values, a)

    number = subjects.f_number if numbers is None else np.repeat(numbers, n)
    ring = subjects.focus_distance_m if rings is None else np.repeat(rings, n)
    time = subjects.exposure_time_s if times is None else times.ravel()
    time = np.where(repeated(subjects.flash.astype(float)) > 0, np.nan, time)
    focal, log_m, log_sd, unit = (
        repeated(v) for v in (subjects.focal_length_mm, subjects.log_m, subjects.log_sd, subjects.handbook_mm)
    )

    def at_speed(speed: float) -> npt.NDArray[np.float32]:
        return blur_shares(focal, number, ring, log_m, log_sd, time, speed, unit) @ curves[:, own]

    walking = tolerances.walking[own].astype(np.float32)
    if not walking.any():
        return at_speed(0.0)
    if (walking == 1).all():
        return at_speed(speed_m_s)
    return np.asarray(walking * at_speed(speed_m_s) + (1 - walking) * at_speed(0.0), dtype=np.float32)
