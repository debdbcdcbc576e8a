"""Which blur a subject may truly have had, as shares in classes of log blur.

Its true blur is a distribution: the distance is uncertain, and speed and direction of the walk are unknown.
Blur is counted in units of the sensor's handbook criterion, so that sensors of all sizes share the classes.
"""

from collections.abc import Iterator
from itertools import combinations
from math import factorial
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import expit, ndtri

from auditor.evidence.proportions import Floats
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification

# From 0.03 to 150 handbook criteria in steps of 10 %: fine beside the fall of any curve.
LOG_BLUR = np.arange(np.log(0.03), np.log(150.0), 0.1)
SPEED_SPREAD = 0.31 / 1.32  # observed gait at crossings, 1.32 +/- 0.31 m/s, n = 139 (Andrews et al.)
_DISTANCES, _DISTANCE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_DISTANCE_WEIGHTS = _DISTANCE_WEIGHTS / _DISTANCE_WEIGHTS.sum()
_WALKS = 5
CAUSES = ("defocus", "motion", "diffraction")
_SHARPEST = 0.01  # handbook criteria: below every class, so that a picture without blur has one
BLOCK = 40_000  # rows whose nodes are in memory at one time


def _walks() -> Floats:
    """Speed across the line of sight over the usual speed, at equally likely places, shape (5,).

    Speed is normal, direction even over the circle; computed on a fine even grid of both quantiles.
    """
    even = (np.arange(400) + 0.5) / 400
    across = np.abs(np.sin(np.pi * even[:, None] / 2)) * np.maximum(1 + SPEED_SPREAD * ndtri(even), 0)
    ordered = np.sort(across.ravel()).reshape(_WALKS, -1)
    return np.asarray(np.sqrt((ordered**2).mean(axis=1)))


WALKS = _walks()


def blur_shares(
    focal_length_mm: Floats,
    f_number: Floats,
    focus_distance_m: Floats,
    log_m: Floats,
    log_sd: Floats,
    exposure_time_s: Floats,
    speed_m_s: float,
    unit_mm: Floats,
    causes: tuple[str, ...] = CAUSES,
    shift_mm: npt.ArrayLike = 0.0,
) -> npt.NDArray[np.float32]:
    """Return the distribution of the blur over the classes, shape (n, len(LOG_BLUR)); rows sum to 1.

    Of each row, shape (n,): the setting, the log subject distance from the sensor plane [m] with its standard
    deviation, the time [s] (NaN: no movement is inferred) and the handbook criterion ``unit_mm``. Mean
    walking speed is 0 for subjects who stand still; ``causes`` are those of :data:`CAUSES` that take part;
    ``shift_mm``, one or shape (n,), is how much farther out the lens stands than its engravings mean.
    """
    n = len(log_m)
    shift = np.broadcast_to(np.asarray(shift_mm, dtype=float), n)
    shares = np.empty((n, LOG_BLUR.size), dtype=np.float32)
    for start in range(0, n, BLOCK):
        rows = slice(start, min(start + BLOCK, n))
        focal = focal_length_mm[rows, None]
        nearest = np.log(4.05e-3 * focal)  # nearer than four focal lengths nothing can be focused
        distance = np.exp(np.maximum(log_m[rows, None] + log_sd[rows, None] * _DISTANCES, nearest))
        number = f_number[rows, None]
        focus_m, shifted = focus_distance_m[rows, None], shift[rows, None]
        defocus = defocus_mm(focal, number, focus_m, distance, shift_mm=shifted)
        airy = airy_mm(number, magnification(lens_distance_m(distance, focal), focal))
        still = np.full(distance.shape, _SHARPEST**2)
        if "defocus" in causes:
            still = still + (defocus / unit_mm[rows, None]) ** 2
        if "diffraction" in causes:
            still = still + (airy / unit_mm[rows, None]) ** 2
        weight = np.broadcast_to(_DISTANCE_WEIGHTS, still.shape)
        if speed_m_s > 0 and "motion" in causes:
            time = np.nan_to_num(exposure_time_s[rows, None])
            across = motion_mm(focal, distance, speed_m_s, time, crossing_deg=90.0) / unit_mm[rows, None]
            squared = still[..., None] + (across[..., None] * WALKS) ** 2
            weight = np.broadcast_to(weight[..., None] / _WALKS, squared.shape)
        else:
            squared = still
        shares[rows] = _into_classes(0.5 * np.log(squared), weight)
    return shares


def _into_classes(log_blur: Floats, weight: Floats) -> Floats:
    """Add weights into classes, each shared between the two neighbouring ones; shape (n, classes)."""
    n, classes = len(log_blur), LOG_BLUR.size
    place = np.clip((log_blur - LOG_BLUR[0]) / (LOG_BLUR[1] - LOG_BLUR[0]), 0, classes - 1 - 1e-9)
    place, part = place.reshape(n, -1), weight.reshape(n, -1)
    lower = place.astype(np.intp)
    upper = (place - lower) * part
    lower += (np.arange(n) * classes)[:, None]
    flat = np.concatenate([lower.ravel(), lower.ravel() + 1])
    weights = np.concatenate([(part - upper).ravel(), upper.ravel()])
    total = np.bincount(flat, weights, minlength=n * classes)[: n * classes]
    return np.asarray(total, dtype=float).reshape(n, classes)


def sharp_curve(log_tau: npt.ArrayLike, kappa: npt.ArrayLike) -> Floats:
    """F(b) = 1 / (1 + (b / tau)^kappa) at every class, shape (classes, *broadcast).

    >>> float(sharp_curve(LOG_BLUR[20], 3.0)[20])
    0.5
    """
    away = LOG_BLUR.reshape(-1, *[1] * np.broadcast(log_tau, kappa).ndim) - np.asarray(log_tau)
    return np.asarray(expit(-np.asarray(kappa) * away))


def sets_of_causes() -> Iterator[tuple[str, ...]]:
    """Every choice of causes that may take part, none of them first."""
    for size in range(len(CAUSES) + 1):
        yield from combinations(CAUSES, size)


def share_loss(sharp: dict[tuple[str, ...], Any]) -> dict[str, Any]:
    """Share what blur takes of the chance to be sharp among its causes: the mean over all orders.

    Blurs add up as squares and the curve bends, so what one costs depends on which others are there; the mean
    over all orders in which they could go is the only fair share that adds up (Shapley 1953, A value for
    n-person games). ``sharp``: the chance under each of :func:`sets_of_causes`.
    """
    lost = {}
    for cause in CAUSES:
        others = [name for name in CAUSES if name != cause]
        lost[cause] = sum(
            factorial(size) * factorial(2 - size) / 6
            * (sharp[group] - sharp[tuple(name for name in CAUSES if name in (*group, cause))])
            for size in range(3)
            for group in combinations(others, size)
        )  # fmt: skip
    return lost
