"""Why frames were not kept, as far as the fitted keeper curve can tell.

A frame that was not kept would have been dropped anyway with the chance 1 - ceiling: that part is not
explained by blur. The rest is shared among the causes of its blur by their part in the sum of squares.
Distance and direction are uncertain, so the shares are averaged over what they may have been, given that the
frame was not kept. A frame whose burst holds a keeper was dropped for a sibling: blur does not explain it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from auditor.evidence.burst_blur import (
    LOG_BLUR,
    blur_nodes,
    error_of_guess,
    frame_optics,
    into_classes,
    log_distance,
    usable_frames,
)
from auditor.evidence.bursts import is_keeper, zone_focused
from auditor.evidence.keeper_curve import keep_probability
from auditor.evidence.proportions import Floats
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.true_distance import likely_log_distance
from auditor.evidence.weights import weights_of
from auditor.optics.blur import airy_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.settings import Settings

IN_FRONT: Final = "in_front_of_zone"
BEYOND: Final = "beyond_zone"
MOTION: Final = "subject_motion"
DIFFRACTION: Final = "diffraction"
UNEXPLAINED: Final = "not_explained_by_blur"
CAUSES: Final = (IN_FRONT, BEYOND, MOTION, DIFFRACTION, UNEXPLAINED)
BLOCK = 4_000
DRAWS_USED = 100


@dataclass(frozen=True, slots=True)
class Causes:
    """Frames that were not kept, by what is consistent with it.

    Attributes
    ----------
    in_front_of_zone, beyond_zone, subject_motion, diffraction, not_explained_by_blur : float
        Frames, shares of frames added up; NaN without a fitted tolerance. In front and beyond: the subject
        stood nearer, or farther, than the ring was set.
    no_distance : int
        Frames not kept whose blur is unknown. The six add up to all zone-focused frames not kept.
    sibling_kept : int
        Frames, among those not explained by blur, of a burst that holds a keeper.
    of_100 : dict of str to float
        The first five of 100 frames not kept, put back to all frames; unknown without a fitted tolerance.
    table : pandas.DataFrame
        ``cause, frames``, and ``of_100, low, high``: the first five, and of 100 with the interval of the
        model.
    by_preset : pandas.DataFrame
        ``preset, not_kept`` (frames with a known blur), then for each of the five its frames under its own
        name, with ``<cause>_low, <cause>_high``; those with most frames not kept first.
    frames : pandas.DataFrame
        One row per frame not kept with a known blur: ``file``, a share for each of the five causes,
        ``chance`` of having been kept.
    at_focus : dict of str to int
        What can be said without distances: ``frames`` not kept with known settings, and of these those whose
        subject, if it walked across at the focus distance, moved more than the circle of confusion
        (``motion_over_criterion``), and whose diffraction alone exceeds it (``diffraction_over_criterion``).
    """

    in_front_of_zone: float
    beyond_zone: float
    subject_motion: float
    diffraction: float
    not_explained_by_blur: float
    no_distance: int
    sibling_kept: int
    of_100: dict[str, float]
    table: pd.DataFrame
    by_preset: pd.DataFrame
    frames: pd.DataFrame
    at_focus: dict[str, int]


def find_causes(table: pd.DataFrame, settings: Settings, tolerance: Tolerance) -> Causes:
    """Share the frames not kept among the causes of their blur.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    settings : Settings
        ``confidence``, ``guess_sd``, ``speed_m_s``.
    tolerance : Tolerance
        Fitted on the same table.
    """
    usable = usable_frames(table)
    lost = usable[~usable["kept"]].reset_index(drop=True)
    every = zone_focused(table)
    not_kept = every[~is_keeper(every)]
    at_focus = _at_focus(not_kept, settings)
    no_distance = len(not_kept) - len(lost)
    if not tolerance.fitted:
        unknown = pd.DataFrame({"cause": CAUSES} | dict.fromkeys(("frames", "of_100", "low", "high"), np.nan))
        nothing = dict.fromkeys(CAUSES, float("nan"))
        none = _by_preset(pd.Index([]), np.zeros(0, dtype=int), np.zeros((0, 5, 1)), tolerance.confidence)
        return Causes(**nothing, no_distance=no_distance, sibling_kept=0, of_100=nothing, table=unknown,
                      by_preset=none, frames=_no_frames(), at_focus=at_focus)  # fmt: skip
    mean, spread = _distance_of(usable, settings)
    mean, spread = mean[~usable["kept"].to_numpy(bool)], spread[~usable["kept"].to_numpy(bool)]
    curves = _curves(tolerance)
    code, presets = pd.factorize(lost["preset"], use_na_sentinel=False)
    totals, shares = np.zeros((len(presets), 5, len(curves))), np.zeros((5, len(lost)))
    chance, weight = np.zeros(len(lost)), weights_of(lost)
    stand_for = np.zeros((5, len(curves)))
    sibling = lost["burst_hit"].to_numpy(bool)
    for start in range(0, len(lost), BLOCK):
        rows = slice(start, start + BLOCK)
        block = _shares(lost.iloc[rows], mean[rows], spread[rows], settings.speed_m_s, curves)
        blamed, chance[rows] = block
        blamed[:4, sibling[rows]] = 0.0
        blamed[4, sibling[rows]] = 1.0
        for preset in np.unique(code[rows]):
            totals[preset] += blamed[:, code[rows] == preset].sum(axis=1)
        stand_for += np.einsum("cnd,n->cd", blamed, weight[rows])
        shares[:, rows] = blamed[:, :, 0]
    with np.errstate(invalid="ignore"):
        of_100, low, high = _with_interval(100 * stand_for / weight.sum(), tolerance.confidence)
    frames = totals[:, :, 0].sum(axis=0)
    summed = pd.DataFrame({"cause": CAUSES, "frames": frames, "of_100": of_100, "low": low, "high": high})
    of_frames = pd.DataFrame({"file": lost["file"]} | dict(zip(CAUSES, shares, strict=True)))
    return Causes(
        **dict(zip(CAUSES, map(float, frames), strict=True)),
        of_100=dict(zip(CAUSES, map(float, of_100), strict=True)),
        no_distance=no_distance,
        sibling_kept=int(sibling.sum()),
        table=summed,
        by_preset=_by_preset(
            presets, np.bincount(code, minlength=len(presets)), totals, tolerance.confidence
        ),
        frames=of_frames.assign(chance=chance),
        at_focus=at_focus,
    )


def _with_interval(totals: Floats, confidence: float) -> tuple[Floats, Floats, Floats]:
    """Frames under the best curve, with the interval over all curves (last axis)."""
    tail = (1 - confidence) / 2
    low, high = np.quantile(totals, [tail, 1 - tail], axis=-1)
    best = totals[..., 0]
    return best, np.minimum(low, best), np.maximum(high, best)


def _by_preset(presets: pd.Index, not_kept: np.ndarray, totals: Floats, confidence: float) -> pd.DataFrame:
    best, low, high = _with_interval(totals, confidence)
    columns: dict[str, object] = {"preset": presets, "not_kept": not_kept}
    for place, cause in enumerate(CAUSES):
        columns[cause] = best[:, place]
        columns[f"{cause}_low"], columns[f"{cause}_high"] = low[:, place], high[:, place]
    return pd.DataFrame(columns).sort_values("not_kept", ascending=False, kind="stable", ignore_index=True)


def _no_frames() -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(dtype=float) for name in ("file", *CAUSES, "chance")})


def _distance_of(frames: pd.DataFrame, settings: Settings) -> tuple[Floats, Floats]:
    """Return mean and spread of each frame's true log distance."""
    preset = pd.factorize(frames["preset"].fillna(""))[0].astype(np.intp)
    weight = weights_of(frames)
    if not weight.any():
        weight = np.ones(len(frames))
    return likely_log_distance(log_distance(frames), error_of_guess(frames, settings), weight, preset)


def _curves(tolerance: Tolerance) -> Floats:
    """Return the fitted curve and draws of it: tolerance, steepness, ceiling, floor, shape (d, 4)."""
    best = [[tolerance.blur_mm, tolerance.steepness, tolerance.ceiling, tolerance.floor]]
    return np.concatenate([best, tolerance.draws[:DRAWS_USED, :4]])


def _shares(
    frames: pd.DataFrame, mean: Floats, spread: Floats, speed_m_s: float, curves: Floats
) -> tuple[Floats, Floats]:
    """Return the causes' shares, shape (5, n, d), and the chance under the first curve, shape (n,)."""
    optics = frame_optics(frames)
    distance, defocus, diffraction, motion, weight = blur_nodes(optics, mean, spread, speed_m_s)
    squares = defocus**2 + diffraction**2 + motion**2
    blur = np.sqrt(squares)
    near = distance < optics.focus_distance_m[:, None, None]
    parts = (near * defocus**2, ~near * defocus**2, motion**2, diffraction**2)
    mass = np.broadcast_to(weight, blur.shape)
    tolerance, steepness, ceiling, floor = curves.T
    chance = keep_probability(np.exp(LOG_BLUR)[:, None], tolerance, steepness, ceiling, floor)
    classes = into_classes(blur, mass)
    dropped = classes @ (1 - chance)
    blamed = [into_classes(blur, mass * part / squares) @ (ceiling - chance) / dropped for part in parts]
    blamed.append(1 - np.sum(blamed, axis=0))
    return np.stack(blamed), 1 - dropped[:, 0]


def _at_focus(not_kept: pd.DataFrame, settings: Settings) -> dict[str, int]:
    focal, f_number, focus, time, coc = (
        not_kept[name].to_numpy(float)
        for name in ("focal_length_mm", "f_number", "focus_distance_m", "exposure_time_s", "coc_mm")
    )
    time = np.where(not_kept["flash"].fillna(False).to_numpy(bool), np.nan, time)
    motion = np.asarray(motion_mm(focal, focus, settings.speed_m_s, time))
    size = magnification(lens_distance_m(focus, focal), focal)
    diffraction = np.asarray(airy_mm(f_number, size))
    known = np.isfinite(diffraction) & np.isfinite(coc)
    return {
        "frames": int(known.sum()),
        "motion_over_criterion": int((motion[known] > coc[known]).sum()),
        "diffraction_over_criterion": int((diffraction[known] > coc[known]).sum()),
    }
