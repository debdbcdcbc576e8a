"""The walk itself: who came along, how sharp it was, what was kept.

One row a frame, all of it arrays, so that a working life of frames takes seconds.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr, ndtri

from auditor.errors import SettingError
from auditor.optics.blur import airy_mm, combined_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification, sharp_zone
from auditor.simulate.plan import (
    BurstPlan,
    Floats,
    Rows,
    camera_times,
    expose,
    file_numbers,
    find_markers,
    market_light,
    plan_walks,
    press_times,
)
from auditor.simulate.truth import PresetTruth, Truth, keep_chance, sharp_chance

FEWEST_FRAMES = 30
HANDBOOK_COC_MM = 0.030  # of the scale that the photographer goes by
NEAREST_M = 0.7
_UNSURE = 0.08  # share of verdicts on sharpness that nobody would give
_NOTHING_SAID = 0.4  # share of frames not kept of which nobody says why
_PACE_S = (0.35, 0.9)  # between the frames of a burst
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


def walk(truth: Truth, frames: int, rng: np.random.Generator) -> pd.DataFrame:
    """Walk until so many frames are taken: one row a frame, in order, distances from the sensor plane.

    ``session``, ``stretch``, ``burst`` and ``preset`` count from 0; ``number`` is the file's. The columns of
    :func:`_taken` and of :func:`_measured_afterwards` follow, and the chances of being sharp and kept.

    Raises SettingError if there are too few frames for every kind of walk.
    """
    if frames < FEWEST_FRAMES:
        raise SettingError(
            f"{frames} frames are too few for an archive.", f"Ask for at least {FEWEST_FRAMES}."
        )
    plan = plan_walks(truth, frames, rng)
    burst = np.repeat(np.arange(len(plan.size)), plan.size)
    place = np.arange(frames) - np.repeat(np.cumsum(plan.size) - plan.size, plan.size)  # within the burst
    session = plan.session[burst]
    time_s = press_times(plan, rng)
    pace_s = rng.uniform(*_PACE_S, len(plan.size))[burst]
    taken = _taken(truth, plan, time_s, burst, pace_s * place, rng)
    mood = np.array([outing.mood for outing in truth.outings])[session % len(truth.outings)]
    chance = keep_chance(taken["blur_mm"], taken["subject_m"], mood, truth)
    marked = find_markers(session, plan.stretch[burst], truth)
    presses = pd.DataFrame(
        {
            "session": session,
            "stretch": plan.stretch[burst],
            "burst": burst,
            "preset": plan.preset[burst],
            "anyone": plan.anyone[burst],
            "looked_at": plan.looked_at[burst],
            "captured_at": camera_times(session, time_s[burst] + pace_s * place, truth, rng),
            "marked": marked,
            "number": file_numbers(session, marked, truth, rng),
            **taken,
            "sharp_chance": sharp_chance(taken["blur_mm"], truth.tolerance_mm, truth.steepness),
            "chance": chance,
            "kept": _fortunes(burst, truth.burst_correlation, rng) < chance,
            "burst_chance": burst_chance(chance, burst, truth.burst_correlation)[burst],
        }
    )
    return presses.assign(**_measured_afterwards(presses, truth, rng))


def _measured_afterwards(presses: pd.DataFrame, truth: Truth, rng: np.random.Generator) -> dict[str, Any]:
    """What the photographer says of some frames in the evening, in this order; nothing elsewhere."""
    n = len(presses)
    share = np.array([outing.measured for outing in truth.outings])
    chosen = rng.random(n) < share[presses["session"].to_numpy() % len(share)]
    subject = presses["subject_m"].to_numpy()
    believed = truth.lapses + (1 - 2 * truth.lapses) * presses["sharp_chance"].to_numpy()
    verdict = np.where(rng.random(n) < believed, "yes", "no").astype(object)
    verdict[rng.random(n) < _UNSURE] = "unsure"
    guess = subject * (1 + truth.guess_bias) * np.exp(truth.guess_sd * rng.standard_normal(n))
    measured = np.round(subject * np.exp(truth.measure_sd * rng.standard_normal(n)), 2)
    moved = (presses["motion_mm"] > presses["defocus_mm"]).to_numpy()
    reason = np.where(verdict == "no", np.where(moved, "moved", "soft"), "moment").astype(object)
    reason[rng.random(n) < _NOTHING_SAID] = None
    reason[presses["kept"].to_numpy(bool)] = None
    return {
        "sharp": pd.Series(verdict).where(chosen),
        "guessed_m": np.where(chosen, round_as_people_do(guess), np.nan),
        "measured_m": np.where(chosen, measured, np.nan),
        "reason": pd.Series(reason).where(chosen),
    }


def _taken(
    truth: Truth, plan: BurstPlan, time_s: Floats, burst: Rows, since_s: Floats, rng: np.random.Generator
) -> dict[str, Floats]:
    """What was set, who stood where, and the blur it made, all of it true; arrays of shape (n,)."""
    bursts = len(plan.size)
    preset = plan.preset[burst]
    focal = np.array([p.lens.focal_length_mm for p in truth.presets])[preset]
    f_number = np.array([p.f_number for p in truth.presets])[preset]
    ring = np.array([p.focus_distance_m for p in truth.presets])[preset]
    turned = 1 + truth.ring_error * rng.standard_normal(int(plan.stretch[-1]) + 1)
    focus = ring * turned[plan.stretch][burst]
    speed = np.maximum(rng.normal(truth.speed_m_s, truth.speed_sd_m_s, bursts), 0.2)
    angle = rng.uniform(0, 2 * np.pi, bursts)  # to the line of sight
    away, across = (speed * np.cos(angle))[burst], (speed * np.sin(angle))[burst]
    subject = np.maximum(_met(truth, plan.preset, plan.anyone, rng)[burst] + away * since_s, NEAREST_M)
    exposure_time_s, iso = expose(market_light(time_s, plan.session, rng)[burst], f_number)
    scale = magnification(lens_distance_m(subject, focal), focal)
    defocus = defocus_mm(focal, f_number, focus, subject)
    motion = motion_mm(focal, subject, np.abs(across), exposure_time_s, crossing_deg=90)
    return {
        "focal_length_mm": focal,
        "f_number": f_number,
        "exposure_time_s": exposure_time_s,
        "iso": iso,
        "ring_m": ring,
        "focus_m": focus,
        "subject_m": subject,
        "sideways_m": across * since_s,
        "defocus_mm": defocus,
        "motion_mm": motion,
        "blur_mm": combined_mm(defocus, motion, airy_mm(f_number, scale)),
    }


def _met(truth: Truth, preset: Rows, anyone: npt.NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    """True distance [m] of each press's subject, shape of `preset`; at a line near the ring's place."""
    zones = [
        sharp_zone(p.lens.focal_length_mm, p.f_number, p.focus_distance_m, HANDBOOK_COC_MM)
        for p in truth.presets
    ]
    near = np.array([float(zone.near_limit_m) for zone in zones])[preset]
    far = np.array([float(zone.far_limit_m) for zone in zones])[preset]
    distance = np.empty(len(preset))
    waiting = np.arange(len(preset))
    while len(waiting):
        n = len(waiting)
        met = truth.distance_median_m * np.exp(truth.distance_log_sd * rng.standard_normal(n))
        looks = met * np.exp(truth.glance_sd * rng.standard_normal(n))
        inside = anyone[waiting] | (looks >= near[waiting]) & (looks <= far[waiting])
        pressed = (met >= NEAREST_M) & (rng.random(n) < np.where(inside, 1.0, truth.press_outside))
        distance[waiting[pressed]] = met[pressed]
        waiting = waiting[~pressed]
    at_line = np.array([p.kind == "line" for p in truth.presets])[preset]
    ring = np.array([p.focus_distance_m for p in truth.presets])[preset]
    near_line = np.maximum(ring + truth.line_spread_m * rng.standard_normal(len(preset)), NEAREST_M)
    return np.where(at_line, near_line, distance)


def round_as_people_do(distance_m: Floats) -> Floats:
    """Round a guessed distance to the steps in which people guess (common practice, no source).

    >>> round_as_people_do(np.array([1.23, 2.6, 4.7, 9.6])).tolist()
    [1.2, 2.5, 4.5, 10.0]
    """
    step = np.select([distance_m < 2, distance_m < 4, distance_m < 8], [0.1, 0.25, 0.5], 1.0)
    return np.asarray(np.maximum(np.round(np.rint(distance_m / step) * step, 2), 0.5))


def _fortunes(burst: Rows, correlation: float, rng: np.random.Generator) -> Floats:
    """Uniform numbers, alike within a burst (Gaussian copula), shape of `burst`."""
    common = rng.standard_normal(int(burst[-1]) + 1)[burst]
    own = rng.standard_normal(len(burst))
    return np.asarray(ndtr(np.sqrt(correlation) * common + np.sqrt(1 - correlation) * own))


def burst_chance(chance: Floats, burst: Rows, correlation: float) -> Floats:
    """Chance that a burst holds at least one keeper, shape (bursts,).

    The fortunes of a burst's frames are normal with one correlation (Gaussian copula); integrated over what
    they share by Gauss-Hermite quadrature.

    >>> burst_chance(np.array([0.5, 0.5]), np.array([0, 0]), 0.0).round(6).tolist()
    [0.75]
    """
    size = np.bincount(burst)
    first = np.cumsum(size) - size
    result: Floats = chance[first].copy()
    several = size > 1
    if not several.any():
        return result
    threshold = ndtri(chance[several[burst]])
    starts = np.cumsum(size[several]) - size[several]
    missed = np.zeros(len(starts))
    for shared, weight in zip(_NODES, _WEIGHTS / _WEIGHTS.sum(), strict=True):
        miss = ndtr((np.sqrt(correlation) * shared - threshold) / np.sqrt(1 - correlation))
        missed += weight * np.multiply.reduceat(miss, starts)
    result[several] = 1 - missed
    return result


def with_rates(truth: Truth, presses: pd.DataFrame) -> Truth:
    """The truth, with what each preset truly brought on this walk."""
    presets = (_rates(p, presses[presses["preset"] == i]) for i, p in enumerate(truth.presets))
    return replace(truth, presets=tuple(presets))


def _rates(preset: PresetTruth, presses: pd.DataFrame) -> PresetTruth:
    bursts = presses.drop_duplicates("burst")
    return replace(
        preset,
        frames=len(presses),
        bursts=len(bursts),
        frame_rate=float(presses["chance"].mean()),
        hit_rate=float(bursts["burst_chance"].mean()),
        sharp_rate=float(presses["sharp_chance"].mean()),
    )
