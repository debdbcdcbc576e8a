"""Every setting tried on the subjects met: the same subjects, the same light, another ring and stop.

Of 100 subjects pressed at, how many would have been sharp? Each measured subject is put through every
setting, paired, weighted by the presses it stands for; which subjects were measured, and how much blur this
photographer bears, enter as far as they are known (Bayesian bootstrap: Rubin, Annals of Statistics 9:130,
1981; draws of the tolerances from :mod:`auditor.evidence.blur_tolerance`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from auditor.advice.at_another_stop import LightAnswer, times_at
from auditor.evidence.blur_classes import sharp_curve
from auditor.evidence.blur_tolerance import Tolerances, subject_shares
from auditor.evidence.bursts import Codes
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects
from auditor.optics.lens import sharp_zone

Singles: TypeAlias = npt.NDArray[np.float32]

MODEL_SD = 0.03  # discrepancy of the thin lens and the blur model, on the log of a ratio of shares
COMMON_ERROR = 0.05  # of all stated distances together, to one side; less where they are better known
MOST_SUBJECTS = 400  # more of them, drawn by weight, change nothing that is shown
TRIED_SHARE = 0.5  # part of a zone, in reciprocal distance, that must lie where subjects were met
SAME = 0.03  # of f-numbers and of reciprocal distances: one setting
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Setting:
    """An f-number, and a distance on the ring [m]."""

    f_number: float
    focus_distance_m: float

    def is_at(self, f_number: npt.ArrayLike, focus_distance_m: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether others are the same, as near as stop and ring are set; shape of those."""
        own, near = 1 / self.focus_distance_m, 1 / np.asarray(focus_distance_m, dtype=float)
        stop = np.abs(np.asarray(f_number, dtype=float) / self.f_number - 1) <= SAME
        return np.asarray(stop & (np.abs(near - own) <= SAME * np.maximum(near, own)))


@dataclass(frozen=True, slots=True)
class Paired:
    """What a settings would have brought on the subjects met; arrays of shape (a,) unless said otherwise."""

    f_number: Floats
    focus_distance_m: Floats
    share: Floats  # of the subjects that would have been sharp: mean of the draws, interval
    low: Floats
    high: Floats
    now: float  # the same as it was set
    now_low: float
    now_high: float
    gain: Floats  # share over the share now: mean of the draws, interval with the model's own discrepancy
    gain_low: Floats
    gain_high: Floats
    chance_better: Floats  # that the setting makes more of them sharp than what was set
    tried: npt.NDArray[np.bool_]  # whether its zone lies mostly where subjects were met
    subjects: int
    draws: Floats  # shape (a, d)
    now_draws: Floats  # shape (d,)

    def best_tried(self) -> int | None:
        """The row of the largest share where subjects were met; None where none is tried."""
        able = np.flatnonzero(self.tried)
        return int(able[self.share[able].argmax()]) if able.size else None

    def setting(self, row: int) -> Setting:
        """The setting of a row."""
        return Setting(float(self.f_number[row]), float(self.focus_distance_m[row]))


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of n subjects to be sharp under d draws of the tolerance, one eye's."""

    at: Singles  # shape (a, n, d), at each setting
    taken: Singles  # shape (n, d), as they were taken
    order: Codes  # shape (d,), the draw of each column

    def chosen(self, rows: npt.NDArray[np.bool_]) -> Chances:
        """Return those of some of the subjects."""
        return replace(self, at=self.at[:, rows], taken=self.taken[rows])


Habit: TypeAlias = tuple[tuple[Setting, float], ...]  # settings in use with their share of the presses


def with_habit(f_number: Floats, focus_distance_m: Floats, habit: Habit) -> tuple[Floats, Floats]:
    """Stops and rings of settings, and then of those in use."""
    numbers, rings = ([getattr(own, name) for own, _ in habit] for name in ("f_number", "focus_distance_m"))
    return np.concatenate([f_number, numbers]), np.concatenate([focus_distance_m, rings])


def chance_above(draws: Floats, now: Floats, log_ratio: float) -> Floats:
    """Chance that the ratio of shares, the model's discrepancy on it, lies above a bound; shape (a,)."""
    away = np.log(np.maximum(draws, _LEAST)) - np.log(np.maximum(now, _LEAST)) - log_ratio
    return np.asarray(ndtr(away / MODEL_SD).mean(axis=-1))


def work_out_chances(
    subjects: Subjects,
    tolerances: Tolerances,
    f_number: Floats,
    focus_distance_m: Floats,
    answers: tuple[LightAnswer, ...],
    speed_m_s: float,
    rng: np.random.Generator,
    *eyes: Floats,
) -> tuple[Chances, ...]:
    """Put every subject through every setting, for each eye's draws of the log tolerance.

    Each draw answers the light in one way and has all stated distances off to one side, by chance.
    """
    curves = [sharp_curve(log_tau, tolerances.kappa).astype(np.float32) for log_tau in eyes]
    a, n, d = len(f_number), len(subjects), tolerances.kappa.size
    cases = _cases(answers, tolerances.walking, rng)
    order = np.concatenate([own for _, _, own in cases])
    found = tuple(Chances(np.empty((a, n, d), np.float32), np.empty((n, d), np.float32), order) for _ in eyes)
    step = max(1, 20_000 // n)
    stop = 0
    for answer, side, own in cases:
        columns = slice(stop, stop := stop + own.size)
        off = side * np.minimum(COMMON_ERROR, 0.5 * subjects.error_sd)
        moved = replace(subjects, log_m=subjects.log_m + off)
        at_own = [curve[:, own] for curve in curves]
        walking = tolerances.walking[own].astype(np.float32)
        taken = _sharp(moved, speed_m_s, walking, at_own)
        times = {number: times_at(subjects, number, answer) for number in np.unique(f_number).tolist()}
        for one, chance in zip(found, taken, strict=True):
            one.taken[:, columns] = chance
        for start in range(0, a, step):
            rows = slice(start, start + step)
            numbers = f_number[rows]
            shots = replace(
                moved.chosen(np.tile(np.arange(n), numbers.size)),
                f_number=np.repeat(numbers, n),
                focus_distance_m=np.repeat(focus_distance_m[rows], n),
                exposure_time_s=np.concatenate([times[number] for number in numbers.tolist()]),
            )
            for one, chance in zip(found, _sharp(shots, speed_m_s, walking, at_own), strict=True):
                one.at[rows, :, columns] = chance.reshape(-1, n, own.size)
    return found


def compare_settings(
    subjects: Subjects,
    tolerances: Tolerances,
    f_number: Floats,
    focus_distance_m: Floats,
    answers: tuple[LightAnswer, ...],
    speed_m_s: float,
    *,
    habit: Habit = (),
    keep: bool = False,
    confidence: float = 0.95,
    seed: int = 0,
    chances: Chances | None = None,
) -> Paired:
    """Put every measured subject of a lens, at least one, through every setting, shape (a,).

    ``answers`` are the ways in which the camera may answer another stop. *Now* is the ``habit``, the mixture
    of settings in use, for every subject; without it, it is the setting that each was met with. ``keep``:
    shares kept instead (up to the common level), by tau_keep. ``chances`` are those of these subjects, at
    most :data:`MOST_SUBJECTS`, at these settings and then those in use, for this eye and seed; worked out
    here where they are not given.
    """
    rng = np.random.default_rng(seed)
    subjects = _at_most(subjects, rng)
    a, d = len(f_number), tolerances.kappa.size
    if chances is None:
        every = with_habit(f_number, focus_distance_m, habit)
        eye = tolerances.log_keep if keep else tolerances.log_sharp
        (chances,) = work_out_chances(subjects, tolerances, *every, answers, speed_m_s, rng, eye)
    else:
        _cases(answers, tolerances.walking, rng)  # so that chance goes on from the same place
    weights = subjects.weight * rng.standard_exponential((d, len(subjects)))
    weights = (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)[chances.order]
    draws, now = np.empty((len(chances.at), d)), np.empty(d)
    draws[:, chances.order] = np.einsum("and,dn->ad", chances.at, weights)
    now[chances.order] = np.einsum("nd,dn->d", chances.taken, weights)
    if habit:
        part = np.array([share for _, share in habit])
        now = part / part.sum() @ draws[-part.size :]
    draws = draws[:a]
    if keep:
        draws, now = (tolerances.floor + (1 - tolerances.floor) * one for one in (draws, now))
    tail = [0.5 - confidence / 2, 0.5 + confidence / 2]
    low, high = np.quantile(draws, tail, axis=1)
    ratio = np.maximum(draws, _LEAST) / np.maximum(now, _LEAST)
    noisy = ratio * np.exp(MODEL_SD * rng.standard_normal(d))
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
        draws=draws,
        now_draws=now,
    )


def sharp_as_taken(
    subjects: Subjects, tolerances: Tolerances, speed_m_s: float, *, keep: bool = False
) -> Singles:
    """Chance of each subject, as it was taken, to be sharp (or sharp enough to keep), shape (n, draws)."""
    log_tau = tolerances.log_keep if keep else tolerances.log_sharp
    curves = sharp_curve(log_tau, tolerances.kappa).astype(np.float32)
    order = np.argsort(-tolerances.walking, kind="stable")
    walking = tolerances.walking[order].astype(np.float32)
    sharp = np.empty((len(subjects), order.size), np.float32)
    sharp[:, order] = _sharp(subjects, speed_m_s, walking, [curves[:, order]])[0]
    return sharp


def tried_there(subjects: Subjects, f_number: Floats, focus_distance_m: Floats) -> npt.NDArray[np.bool_]:
    """Whether each zone (handbook criterion) lies mostly within the middle nine tenths of distances met.

    Both are measured in reciprocal distance, as rings are spaced.
    """
    met = np.exp(subjects.stated_log_m)
    near_m, far_m = np.quantile(met, [0.05, 0.95], weights=subjects.weight, method="inverted_cdf")
    focal, unit = float(np.median(subjects.focal_length_mm)), float(np.median(subjects.handbook_mm))
    zone = sharp_zone(focal, f_number, focus_distance_m, unit, shift_mm=np.median(subjects.shift_mm))
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


def _cases(
    answers: tuple[LightAnswer, ...], walking: Floats, rng: np.random.Generator
) -> list[tuple[LightAnswer, float, Codes]]:
    """Deal the draws out by chance: answer to the light, side to which distances are off, and its draws.

    Those in which most subjects walk come first.
    """
    draws = walking.size
    cases = [(answer, side) for answer in answers for side in (-1.0, 1.0)]
    part = np.cumsum([answer.weight for answer, _ in cases])
    of_case = np.searchsorted(part / part[-1], (np.arange(draws) + 0.5) / draws)
    of_case = np.minimum(rng.permutation(of_case), len(cases) - 1)
    by_walking = np.argsort(-walking, kind="stable")
    found = [(*case, by_walking[of_case[by_walking] == place]) for place, case in enumerate(cases)]
    return [case for case in found if case[2].size]


def _sharp(shots: Subjects, speed_m_s: float, walking: Singles, curves: list[Singles]) -> list[Singles]:
    """Chance of each shot to be sharp, shape (shots, d) for each eye's curves.

    ``walking``, the share of subjects who walk, shape (d,), falls.
    """
    found = [np.zeros((len(shots), walking.size), dtype=np.float32) for _ in curves]
    walk, still = slice(np.count_nonzero(walking)), slice(np.count_nonzero(walking == 1), None)
    for speed, part, some in ((speed_m_s, walking, walk), (0.0, 1 - walking, still)):
        if part[some].size:
            shares = subject_shares(shots, speed)
            for one, curve in zip(found, curves, strict=True):
                one[:, some] += part[some] * (shares @ curve[:, some])
    return found
