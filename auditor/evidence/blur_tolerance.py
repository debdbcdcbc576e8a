"""The blur that a photographer bears: for sharpness (asked at the sheet) and for keeping (shown by marks).

Both eyes have the curve F(b) = 1 / (1 + (b / tau)^kappa), log tau_keep = log tau_sharp + d, d normal
(0.2, 0.4). The posterior is summed on a grid of tau, kappa, d and of the share of subjects who walk;
distance errors, speeds and directions are inside each subject's blur (:mod:`auditor.evidence.blur_classes`).
Tolerances are in units of the handbook criterion of the sensor (its diagonal), and partly pooled over lenses:
what another lens says counts up to an unknown factor, normal (0, 0.2) in logs.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from auditor.evidence.blur_classes import CAUSES, LOG_BLUR, blur_shares, sharp_curve
from auditor.evidence.keeper_likelihood import (
    FLOOR_WEIGHTS,
    FLOORS,
    keeper_log_likelihood,
    put_alike_together,
)
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects, sessions_at_random

STEP = 0.1
LOG_TAU = np.arange(np.log(0.15), np.log(30.0), STEP)
LOG_KAPPA = np.log(3.2) + 0.5 * np.arange(-2.0, 2.5)
APART = STEP * np.arange(-10, 15)  # d, tau_keep against tau_sharp
WALKING = np.array([1.0, 0.5, 0.0])  # share of the subjects who walk
TAU_CENTRE, TAU_SPREAD, TAU_DEGREES = np.log(1.4), 0.5, 3
APART_CENTRE, APART_SPREAD = 0.2, 0.4
BETWEEN_LENSES = 0.2
LAPSE = 0.02  # verdicts given by mistake, either way
NOTHING_PRIOR = 0.5
WORTH = 1.09  # where making every subject sharp could not bring that much more, blur decides nothing
DRAWS = 400
_COARSE = slice(None, None, 2)


@dataclass(frozen=True, slots=True)
class Eye:
    """One tolerance with its interval [mm]; ``count`` verdicts, or presses with a keeper, bear it."""

    blur_mm: float
    low: float
    high: float
    count: int  # of all lenses


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Tolerances of one lens as likely as the data say: medians, intervals and draws of the posterior."""

    handbook_mm: float  # the handbook criterion, unit of the draws
    sharp: Eye  # tau_sharp
    keep: Eye  # tau_keep
    sharp_sd: float  # posterior standard deviation of log tau_sharp
    # chance that blur decides nothing: marks do not follow it, or hardly any subject is blurred
    nothing: float
    log_sharp: Floats  # draws, shape (DRAWS,): log tau over the handbook criterion
    log_keep: Floats
    kappa: Floats  # steepness
    walking: Floats  # share of subjects who walk
    floor: Floats  # of the keeper curve over its ceiling
    seen_at: float = 1.0  # how much coarser the judged pictures were shown than the size asked for, usually
    marked: int = 0  # measured presses of all lenses whose marks count


@dataclass(frozen=True, slots=True)
class _Evidence:
    """Log likelihoods of one lens; shapes (walking, tau, kappa) and (walking, tau, kappa, floor)."""

    sharp: Floats
    keep: Floats
    nothing: float


def fit_tolerances(
    subjects: Subjects, speed_m_s: float, confidence: float = 0.95, seed: int = 0
) -> tuple[Tolerances, ...]:
    """Fit the tolerances, one for each of ``subjects.lenses``; without a subject the priors come back.

    ``speed_m_s`` is the mean walking speed (0: subjects stand still), ``seed`` that of the draws.
    """
    used = sessions_at_random(subjects, seed=seed)
    found = [_evidence(used.chosen(used.lens == code), speed_m_s) for code in range(len(subjects.lenses))]
    return tuple(
        _posterior(used, found, code, speed_m_s, confidence, seed) for code in range(len(subjects.lenses))
    )


def _evidence(own: Subjects, speed_m_s: float) -> _Evidence:
    shape = (WALKING.size, LOG_TAU.size, LOG_KAPPA.size)
    sharp, keep = np.zeros(shape), np.zeros((*shape, FLOORS.size))
    if not len(own):
        return _Evidence(sharp, keep, 0.0)
    from scipy.interpolate import CubicSpline  # slow to import, as scipy.stats is

    still = subject_shares(own, 0.0)
    walk = subject_shares(own, speed_m_s) if speed_m_s > 0 else still
    curve = sharp_curve(LOG_TAU[:, None], np.exp(LOG_KAPPA)).astype(np.float32)
    judged = np.isfinite(own.verdict)
    seen_still, seen_walk = still[judged], walk[judged]
    if (own.seen_at[judged] != 1).any():
        as_shown = own.chosen(judged)
        as_shown = replace(as_shown, handbook_mm=as_shown.handbook_mm * as_shown.seen_at)
        seen_still, seen_walk = subject_shares(as_shown, 0.0), subject_shares(as_shown, speed_m_s)
    coarse, nothing = LOG_TAU[_COARSE], 0.0
    for place, walking in enumerate(WALKING):
        shares = (walking * walk + (1 - walking) * still).astype(np.float32)
        if judged.any():
            as_seen = (walking * seen_walk + (1 - walking) * seen_still).astype(np.float32)
            seen = LAPSE + (1 - 2 * LAPSE) * np.tensordot(as_seen, curve, 1)
            yes = own.verdict[judged] == 1
            sharp[place] = np.log(seen[yes]).sum(axis=0) + np.log1p(-seen[~yes]).sum(axis=0)
        marked = own.marked
        if marked.hit.any() and not marked.hit.all():
            together, columns, count = put_alike_together(
                shares[own.frames > 0], LOG_BLUR, marked.log_m, marked.drawn_odds, np.log(marked.frames),
                marked.hit.astype(float),
            )  # fmt: skip
            left = np.tensordot(together, curve[:, _COARSE], 1).reshape(len(together), -1)
            at_points, nothing = keeper_log_likelihood(
                left, columns[3] > 0.5, columns[1], columns[0], np.exp(columns[2]), count
            )
            at_points = at_points.reshape(coarse.size, LOG_KAPPA.size, FLOORS.size)
            keep[place] = CubicSpline(coarse, at_points, axis=0)(LOG_TAU)
    return _Evidence(sharp, keep, nothing)


def subject_shares(
    own: Subjects, speed_m_s: float, causes: tuple[str, ...] = CAUSES
) -> npt.NDArray[np.float32]:
    """Distribution of each subject's blur as the frame was taken, shape (n, classes)."""
    return blur_shares(
        own.focal_length_mm, own.f_number, own.focus_distance_m, own.log_m, own.log_sd,
        np.minimum(own.flash_s, own.exposure_time_s), speed_m_s, own.handbook_mm, causes, own.shift_mm,
    )  # fmt: skip


def _posterior(
    subjects: Subjects, found: list[_Evidence], code: int, speed_m_s: float, confidence: float, seed: int
) -> Tolerances:
    prior = _log_prior(speed_m_s)
    keep = [logsumexp(one.keep + np.log(FLOOR_WEIGHTS), axis=3) for one in found]
    joint = prior + _joined(found[code].sharp, keep[code])
    verdicts_alone = prior + found[code].sharp[..., None]
    others = [(one.sharp, keep[i]) for i, one in enumerate(found) if i != code]
    if others:
        joint = joint + _blurred(np.sum([_joined(*one) for one in others], axis=0))
        verdicts_alone = verdicts_alone + _blurred(np.sum([one[0][..., None] for one in others], axis=0))
    marks = float(logsumexp(joint) - logsumexp(verdicts_alone))
    density = np.exp(joint - joint.max())
    density /= density.sum()
    of_sharp = density.sum(axis=(0, 2, 3))
    of_keep = np.zeros(LOG_TAU.size)
    place = _keep_place()
    np.add.at(of_keep, place, density.sum(axis=(0, 2)))
    rng = np.random.default_rng(seed)
    even = (np.arange(DRAWS) + rng.random()) / DRAWS
    flat = np.minimum(np.searchsorted(np.cumsum(density.ravel()), even), density.size - 1)
    walk, tau, kappa, apart = np.unravel_index(rng.permutation(flat), density.shape)
    within = rng.uniform(-0.5, 0.5, (2, DRAWS)) * STEP
    at_floor = found[code].keep[walk, place[tau, apart], kappa] + np.log(FLOOR_WEIGHTS)
    chance = np.exp(at_floor - logsumexp(at_floor, axis=1, keepdims=True)).cumsum(axis=1)
    floor = np.minimum((rng.random((DRAWS, 1)) > chance).sum(axis=1), FLOORS.size - 1)
    own, judged = subjects.chosen(subjects.lens == code), np.isfinite(subjects.verdict)
    unit = float(np.median(own.handbook_mm)) if len(own) else 43.267 / 1442
    log_keep = LOG_TAU[place[tau, apart]] + within[1]
    kappas = np.exp(LOG_KAPPA[kappa])
    centre = float(of_sharp @ LOG_TAU)
    return Tolerances(
        handbook_mm=unit,
        sharp=_eye(unit, of_sharp, confidence, int(judged.sum())),
        keep=_eye(unit, of_keep, confidence, int(subjects.hit.sum())),
        sharp_sd=float(np.sqrt(of_sharp @ (LOG_TAU - centre) ** 2)),
        nothing=_chance_of_nothing(own, found, marks, log_keep, kappas, FLOORS[floor], speed_m_s),
        log_sharp=LOG_TAU[tau] + within[0],
        log_keep=log_keep,
        kappa=kappas,
        walking=WALKING[walk],
        floor=FLOORS[floor],
        seen_at=float(np.median(subjects.seen_at[judged])) if judged.any() else 1.0,
        marked=len(subjects.marked),
    )


def _log_prior(speed_m_s: float) -> Floats:
    """Log prior on the grid, shape (walking, tau, kappa, apart)."""
    away = (LOG_TAU - TAU_CENTRE) / TAU_SPREAD
    tau = -0.5 * (TAU_DEGREES + 1) * np.log1p(away**2 / TAU_DEGREES)
    kappa = -0.5 * ((LOG_KAPPA - np.log(3.2)) / 0.5) ** 2
    apart = -0.5 * ((APART - APART_CENTRE) / APART_SPREAD) ** 2
    walking = np.log([0.7, 0.2, 0.1]) if speed_m_s > 0 else np.array([-np.inf, -np.inf, 0.0])
    return np.asarray(walking[:, None, None, None] + tau[:, None, None] + kappa[:, None] + apart, dtype=float)


def _keep_place() -> npt.NDArray[np.intp]:
    """Place of tau_keep on the grid for each tau_sharp and d, shape (tau, apart); the ends hold the rest."""
    step = np.round(APART / STEP).astype(np.intp)
    return np.asarray(np.clip(np.arange(LOG_TAU.size)[:, None] + step, 0, LOG_TAU.size - 1))


def _joined(sharp: Floats, keep: Floats) -> Floats:
    """Log likelihood of verdicts and marks, shape (walking, tau, kappa, apart)."""
    together = keep[:, _keep_place()].transpose(0, 1, 3, 2)  # (walking, tau, apart, kappa) before
    return np.asarray(sharp[..., None] + together)


def _blurred(log_likelihood: Floats) -> Floats:
    """A likelihood of other lenses, seen through the unknown factor between lenses, along tau."""
    top = log_likelihood.max()
    reach = np.arange(-6, 7)
    weight = np.exp(-0.5 * (reach * STEP / BETWEEN_LENSES) ** 2)
    weight /= weight.sum()
    plain = np.exp(log_likelihood - top)
    padded = np.pad(plain, ((0, 0), (6, 6), (0, 0), (0, 0)), mode="edge")
    size = plain.shape[1]
    mixed = sum(w * padded[:, i : i + size] for i, w in enumerate(weight))
    return np.asarray(np.log(np.maximum(mixed, 1e-300)) + top)


def _chance_of_nothing(
    own: Subjects,
    found: list[_Evidence],
    marks: float,
    log_keep: Floats,
    kappas: Floats,
    floor: Floats,
    speed_m_s: float,
) -> float:
    """Chance that marks do not follow blur, or so little that no setting could bring much more.

    ``marks``: log evidence of the marks where they follow blur, given the verdicts.
    """
    plain = sum(one.nothing for one in found)
    log_odds = np.log(NOTHING_PRIOR / (1 - NOTHING_PRIOR)) + plain - marks
    follows = 1 / (1 + np.exp(np.clip(log_odds, -500, 500)))
    if not len(own):
        return float(1 - follows)
    curve = sharp_curve(log_keep, kappas)
    shares = own.weight @ subject_shares(own, speed_m_s) / own.weight.sum()
    left = floor + (1 - floor) * (shares @ curve)
    return float(1 - follows * np.mean(left < 1 / WORTH))


def _eye(unit_mm: float, density: Floats, confidence: float, count: int) -> Eye:
    """Median and interval of a density on the grid of tau."""
    total = np.concatenate([[0.0], np.cumsum(density)])
    edges = np.concatenate([LOG_TAU - STEP / 2, [LOG_TAU[-1] + STEP / 2]])
    ends = np.interp([0.5, 0.5 - confidence / 2, 0.5 + confidence / 2], total, edges)
    blur, low, high = np.exp(ends).tolist()
    return Eye(unit_mm * blur, unit_mm * low, unit_mm * high, count)
