"""Where the lens was really focused, from the blur and the distances of faces in front of it and beyond.

For every focus distance on a fine scale the blur of each face is predicted, over all distances and directions
that are possible for it, and set against what was read: a reading scatters by 15 %, one below its floor only
says "no more than that", and one in ten may be anything (movement, another plane, a false face). The estimate
is the most likely focus distance; its interval holds those whose likelihood is not much smaller (the usual
ratio test, Wilks 1938), widened for what all distances of an archive share: focal length and average build.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import log_ndtr, logsumexp

from auditor.evidence.burst_blur import FrameOptics, blur_nodes, error_of_guess, frame_optics
from auditor.evidence.measured_blur import READING_SD, comparable
from auditor.evidence.proportions import Floats, two_sided_z
from auditor.optics.blur import AIRY_FACTOR, MTF50_FACTOR
from auditor.settings import Settings

LEAST_FRAMES = 8
MOST_FRAMES = 300  # more say hardly more
MOST_RATIO = 1.5  # of the interval's ends: wider than this tells nothing worth turning a ring for
SHARED_SD = 0.03  # of all distances together: real focal length, this photographer's usual sitters (assumed)
BLUNDERS = 0.1
BLUNDER_RANGE = float(np.log(100))  # within which a blunder may read anything, log mm
NEAREST_M, GRID = 0.3, 161


@dataclass(frozen=True, slots=True)
class RingCheck:
    """Where one preset was focused within one session, by the pictures.

    Attributes
    ----------
    preset : str
    session : int
    stated_m : float
        Focus distance as the session file or the pictures' files name it.
    frames : int
        Faces it rests on.
    focus_m, low_m, high_m : float
        Estimate with its interval; may be infinite.
    told : bool
        Whether the data can tell: enough faces, and an interval narrow enough.
    differs : bool
        Whether it is told and the stated distance lies outside the interval.
    """

    preset: str
    session: int
    stated_m: float
    frames: int
    focus_m: float
    low_m: float
    high_m: float
    told: bool
    differs: bool


def check_rings(table: pd.DataFrame, settings: Settings) -> list[RingCheck]:
    """Estimate the focus distance of every preset in every session that has enough measured faces.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table with its optics columns and those of measured pictures.
    settings : Settings
        ``speed_m_s``, ``guess_sd`` and ``confidence``.
    """
    if "measured_blur_mm" not in table:
        return []
    frames = table[comparable(table)]
    checks = []
    for (session, preset), own in frames.groupby(["session", "preset"], sort=True):
        stated = float(own["focus_distance_m"].median())
        if len(own) < LEAST_FRAMES:
            continue
        focus, low, high = estimate_focus(own, settings)
        told = bool(low > NEAREST_M * 1.01 and high / low <= MOST_RATIO)
        outside = not low <= stated <= high
        checks.append(
            RingCheck(str(preset), int(session), stated, len(own), focus, low, high, told, told and outside)
        )
    return checks


def estimate_focus(frames: pd.DataFrame, settings: Settings) -> tuple[float, float, float]:
    """Return the most likely focus distance of frames with one setting, and its interval [m]."""
    if len(frames) > MOST_FRAMES:
        frames = frames.iloc[np.linspace(0, len(frames) - 1, MOST_FRAMES).astype(int)]
    inverse = np.linspace(1 / NEAREST_M, 0.0, GRID)
    with np.errstate(divide="ignore"):
        focus = 1 / inverse
    likelihood = np.array([_log_likelihood(frames, float(at), settings) for at in focus])
    best = int(np.argmax(likelihood))
    z = two_sided_z(settings.confidence)
    inside = np.flatnonzero(likelihood > likelihood[best] - z**2 / 2)
    first, last = max(inside[0] - 1, 0), min(inside[-1] + 1, GRID - 1)
    with np.errstate(divide="ignore"):
        low, high, middle = (float(focus[at]) for at in (first, last, best))
        shared = z * SHARED_SD
        below = np.exp(-np.hypot(np.log(middle / low), shared)) if np.isfinite(middle) else low / middle
        above = np.exp(np.hypot(np.log(high / middle), shared)) if np.isfinite(high) else np.inf
    return middle, float(middle * below) if np.isfinite(middle) else low, float(middle * above)


def _log_likelihood(frames: pd.DataFrame, focus_m: float, settings: Settings) -> float:
    optics: FrameOptics = frame_optics(frames)
    optics = replace(optics, focus_distance_m=np.full(len(frames), focus_m))
    distance = np.log(frames["subject_distance_m"].to_numpy("float64"))
    nodes = blur_nodes(optics, distance, error_of_guess(frames, settings), settings.speed_m_s)
    _, defocus, diffraction, motion, weight = nodes
    blur = np.sqrt(defocus**2 + (diffraction * MTF50_FACTOR / AIRY_FACTOR) ** 2 + motion**2)
    measured = frames["measured_blur_mm"].to_numpy("float64")[:, None]
    floor = frames["measured_blur_floor_mm"].to_numpy("float64")[:, None]
    log_blur = np.log(blur.reshape(len(frames), -1))
    weights = np.broadcast_to(weight, blur.shape[1:]).ravel()
    return float(_frame_likelihood(log_blur, weights, measured, floor).sum())


def _frame_likelihood(
    log_blur: Floats, weights: Floats, measured: npt.NDArray[np.float64], floor: Floats
) -> Floats:
    """Log likelihood of each reading, over its possible blurs (columns)."""
    shown = measured >= floor
    off = (np.log(np.where(shown, measured, floor)) - log_blur) / READING_SD
    density = -(off**2) / 2 - np.log(READING_SD * np.sqrt(2 * np.pi))
    each = np.where(shown, density, log_ndtr(off))
    regular = logsumexp(each, b=weights, axis=1)
    blunder = np.where(shown[:, 0], -np.log(BLUNDER_RANGE), np.log(0.5))
    return np.asarray(np.logaddexp(np.log(1 - BLUNDERS) + regular, np.log(BLUNDERS) + blunder))
