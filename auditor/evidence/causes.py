"""Why frames were not kept, as far as blur can have to do with it.

A frame that was not kept would mostly have been dropped anyway, for its moment: only what blur took of its
chance is explained by blur, and shared among its causes (:func:`auditor.evidence.blur_classes.share_loss`).
Distances and walks are uncertain, so shares are averaged over what they may have been; the interval is over
the keeper curves that marks and verdicts allow. A frame whose burst holds a keeper was
dropped for a sibling: blur does not explain it. Where the photographer judged the very frame, that verdict
replaces the curve's chance.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import ndtr

from auditor.evidence.blur_classes import CAUSES as BLURS
from auditor.evidence.blur_classes import blur_shares, sets_of_causes, share_loss, sharp_curve
from auditor.evidence.bursts import CountedFrames
from auditor.evidence.proportions import Floats
from auditor.evidence.ring_shift import known_shift_mm
from auditor.evidence.subjects import HANDBOOK_DIVISOR, INFINITE_M
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.true_distance import likely_log_distance
from auditor.evidence.weights import weights_of
from auditor.evidence.zones import ZONE_FACTS, effective_time_s
from auditor.optics.blur import airy_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.settings import Settings

IN_FRONT: Final = "in_front_of_zone"
BEYOND: Final = "beyond_zone"
MOTION: Final = "subject_motion"
DIFFRACTION: Final = "diffraction"
UNEXPLAINED: Final = "not_explained_by_blur"
CAUSES: Final = (IN_FRONT, BEYOND, MOTION, DIFFRACTION, UNEXPLAINED)
_AT_FOCUS = [*ZONE_FACTS, "coc_mm", "exposure_time_s", "flash", "flash_duration_s"]
BLOCK = 2_000
CURVES = 40  # of the draws, evenly taken
MOST_FRAMES = 20_000  # more frames not kept, drawn by chance, change nothing that is shown


@dataclass(frozen=True, slots=True)
class Causes:
    """Frames that were not kept, by what is consistent with it.

    In front and beyond: the subject stood nearer, or farther, than the ring was set, and out of focus by it.
    """

    no_distance: int  # frames whose blur is unknown
    sibling_kept: int  # frames, among those not explained by blur, of a burst that holds a keeper
    # Of each cause `frames` (shares of frames added up; with `no_distance` all zone-focused ones not kept),
    # and `of_100` frames not kept, put back to all, with `low, high`; NaN where no frame has a blur.
    table: pd.DataFrame
    # `preset, not_kept` (frames with a known blur), for each cause its frames under its own name, with
    # `<cause>_low, <cause>_high`; those with most frames not kept first.
    by_preset: pd.DataFrame
    frames: pd.DataFrame  # of each frame not kept with a known blur `file`, and a share for each cause
    # What can be said without distances: `frames` not kept with known settings; of these those whose subject,
    # had it walked across at the focus distance, moved more than the circle of confusion
    # (`motion_over_criterion`), and whose diffraction alone exceeds it (`diffraction_over_criterion`).
    at_focus: dict[str, int]


def find_causes(counted: CountedFrames, settings: Settings, tolerance: Tolerance) -> Causes:
    """Share the frames not kept among the causes of their blur.

    Reads the setting, ``file, preset, exposure_time_s, flash, flash_duration_s, subject_distance_m,
    subject_distance_rel_sd, sensor_width_mm, sensor_height_mm, coc_mm, sharp, sample_weight``, and the
    settings ``confidence, guess_sd, speed_m_s``.
    """
    usable, not_kept = counted.blurred, counted.frames.loc[~counted.kept, _AT_FOCUS]
    mean, spread = _distance_of(usable, settings)
    lost_rows = np.flatnonzero(~usable["kept"].to_numpy(bool))
    at_focus, no_distance = _at_focus(not_kept, settings), len(not_kept) - lost_rows.size
    curves = tolerance.draws[:: max(1, len(tolerance.draws) // CURVES)]
    known = np.isfinite(curves).all() and curves[:, 2].any()  # of no keeper, no curve
    if not lost_rows.size or not known:
        unknown = pd.DataFrame(np.nan, list(CAUSES), ["frames", "of_100", "low", "high"])
        none = _by_preset(pd.Index([]), np.zeros(0), np.zeros((0, 5, 1)), settings.confidence)
        frames = pd.DataFrame(columns=["file", *CAUSES], dtype=float)
        return Causes(no_distance, 0, unknown, none, frames, at_focus)
    rows = np.arange(lost_rows.size)
    if rows.size > MOST_FRAMES:
        rows = np.sort(np.random.default_rng(0).choice(rows.size, MOST_FRAMES, replace=False))
    times, chosen = lost_rows.size / rows.size, lost_rows[rows]
    sibling = int(usable["burst_hit"].to_numpy(bool)[lost_rows].sum())
    lost = usable.iloc[chosen].reset_index(drop=True)
    blamed = _blame(lost, mean[chosen], spread[chosen], settings.speed_m_s, curves)
    with_sibling = lost["burst_hit"].to_numpy(bool)
    blamed[:4, with_sibling] = 0.0
    blamed[4, with_sibling] = 1.0
    code, presets = pd.factorize(lost["preset"], use_na_sentinel=False)
    totals = times * np.stack([blamed[:, code == one].sum(axis=1) for one in range(len(presets))])
    weight = weights_of(lost)
    weight = weight if weight.any() else np.ones(len(lost))
    of_100, low, high = _with_interval(
        100 * np.einsum("cnd,n->cd", blamed, weight) / weight.sum(), settings.confidence
    )
    shares = {"frames": totals.mean(axis=2).sum(axis=0), "of_100": of_100, "low": low, "high": high}
    not_kept_of = np.asarray(times * np.bincount(code, minlength=len(presets)), dtype=float)
    return Causes(
        no_distance=no_distance,
        sibling_kept=sibling,
        table=pd.DataFrame(shares, list(CAUSES)),
        by_preset=_by_preset(presets, not_kept_of, totals, settings.confidence),
        frames=pd.DataFrame({"file": lost["file"]} | dict(zip(CAUSES, blamed.mean(axis=2), strict=True))),
        at_focus=at_focus,
    )


def _blame(frames: pd.DataFrame, mean: Floats, spread: Floats, speed_m_s: float, curves: Floats) -> Floats:
    """Return the causes' shares, shape (5, n, d)."""
    blamed = np.empty((5, len(frames), len(curves)))
    for start in range(0, len(frames), BLOCK):
        rows = slice(start, start + BLOCK)
        blamed[:, rows] = _block(frames.iloc[rows], mean[rows], spread[rows], speed_m_s, curves)
    return blamed


def _block(frames: pd.DataFrame, mean: Floats, spread: Floats, speed_m_s: float, curves: Floats) -> Floats:
    focal, number, focus = (frames[name].to_numpy(float) for name in ZONE_FACTS)
    time = effective_time_s(frames)
    diagonal = np.hypot(*(frames[f"sensor_{side}_mm"].to_numpy(float) for side in ("width", "height")))
    unit = diagonal / HANDBOOK_DIVISOR
    # Curves are in millimetres of the usual sensor; in units of the criterion they hold for all.
    mm, steepness, ceiling, floor = curves.T
    curve = sharp_curve(np.log(mm / np.median(unit)), steepness)
    shift = known_shift_mm(frames)
    left = {
        causes: blur_shares(focal, number, focus, mean, spread, time, speed_m_s, unit, causes, shift) @ curve
        for causes in sets_of_causes()
    }
    verdict = frames["sharp"].map({"yes": 1.0, "no": 0.0}).to_numpy(float)[:, None]
    chance = floor + (ceiling - floor) * np.where(np.isfinite(verdict), verdict, left[BLURS])
    explained = (ceiling - chance) / (1 - chance)
    taken = share_loss(left)
    total = np.maximum(sum(taken.values()), 1e-12)
    part = {cause: np.clip(taken[cause] / total, 0.0, 1.0) * explained for cause in BLURS}
    with np.errstate(divide="ignore", invalid="ignore"):
        nearer = ndtr((np.log(np.minimum(focus, INFINITE_M)) - mean) / np.maximum(spread, 1e-9))[:, None]
    shares = [nearer * part["defocus"], (1 - nearer) * part["defocus"], part["motion"], part["diffraction"]]
    return np.stack([*shares, 1 - sum(shares)])


def _with_interval(totals: Floats, confidence: float) -> tuple[Floats, Floats, Floats]:
    """Mean over the curves (last axis), and its interval."""
    low, high = np.quantile(totals, [0.5 - confidence / 2, 0.5 + confidence / 2], axis=-1)
    return totals.mean(axis=-1), low, high


def _by_preset(presets: pd.Index, not_kept: Floats, totals: Floats, confidence: float) -> pd.DataFrame:
    mean, low, high = _with_interval(totals, confidence)
    columns: dict[str, object] = {"preset": presets, "not_kept": np.round(not_kept).astype(int)}
    for place, cause in enumerate(CAUSES):
        columns[cause] = mean[:, place]
        columns[f"{cause}_low"], columns[f"{cause}_high"] = low[:, place], high[:, place]
    return pd.DataFrame(columns).sort_values("not_kept", ascending=False, kind="stable", ignore_index=True)


def _distance_of(frames: pd.DataFrame, settings: Settings) -> tuple[Floats, Floats]:
    """Return mean and spread of each frame's true log distance."""
    preset = pd.factorize(frames["preset"].fillna(""))[0].astype(np.intp)
    weight = weights_of(frames)
    if not weight.any():
        weight = np.ones(len(frames))
    stated = frames["subject_distance_rel_sd"].to_numpy(float)
    error = np.where(np.isfinite(stated) & (stated >= 0), stated, settings.guess_sd)
    log_m = np.log(np.minimum(frames["subject_distance_m"].to_numpy(float), INFINITE_M))
    return likely_log_distance(log_m, error, weight, preset) if len(frames) else (log_m, error)


def _at_focus(not_kept: pd.DataFrame, settings: Settings) -> dict[str, int]:
    focal, f_number, focus, coc = (not_kept[name].to_numpy(float) for name in (*ZONE_FACTS, "coc_mm"))
    motion = np.asarray(motion_mm(focal, focus, settings.speed_m_s, effective_time_s(not_kept)))
    size = magnification(lens_distance_m(focus, focal), focal)
    diffraction = np.asarray(airy_mm(f_number, size))
    known = np.isfinite(diffraction) & np.isfinite(coc)
    return {
        "frames": int(known.sum()),
        "motion_over_criterion": int((motion[known] > coc[known]).sum()),
        "diffraction_over_criterion": int((diffraction[known] > coc[known]).sum()),
    }
