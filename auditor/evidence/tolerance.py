"""How much blur this photographer bears: for sharpness, for keeping, and which of the two speaks.

The fits are those of :mod:`auditor.evidence.blur_tolerance`; nothing is fitted here. From 30 verdicts on
sharpness on, the tolerance for sharpness speaks; before that the keepers do, as far as they narrow it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.blur_tolerance import Eye, Tolerances, fit_tolerances
from auditor.evidence.bursts import CountedFrames, count_frames
from auditor.evidence.proportions import Floats
from auditor.evidence.sharpness import JudgedFrames, judged_frames, verdicts_reversed
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.evidence.weighted_shares import weighted_shares
from auditor.evidence.weights import sampled_frames, weights_of
from auditor.settings import Settings

VERDICTS = 30  # verdicts on sharpness from which on they speak
WIDEST = 6.0  # high over low of a tolerance on which a sentence may rest
NOTHING = 0.75  # chance that blur decides nothing, from which on it is said
GROUPS, FEWEST_IN_GROUP = 8, 12

NO_DISTANCES: Final = "no_distances"
FEW_VERDICTS: Final = "few_verdicts"  # so the keepers speak, or nobody
TOO_WIDE: Final = "too_wide"  # marks and verdicts hardly narrow what was thought before
BLUR_DECIDES_NOTHING: Final = "blur_decides_nothing"
VERDICTS_REVERSED: Final = "verdicts_reversed"  # the more blur, the more often sharp
FLAGS: Final = (NO_DISTANCES, FEW_VERDICTS, TOO_WIDE, BLUR_DECIDES_NOTHING, VERDICTS_REVERSED)
# With one of these no sentence and no zone rests on the tolerance.
FORBIDDING: Final = frozenset({NO_DISTANCES, TOO_WIDE, BLUR_DECIDES_NOTHING, VERDICTS_REVERSED})


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What a photographer bears, of one lens or of the most used one for all."""

    used: Literal["sharp", "keepers"]  # which of the two speaks
    sharp: Eye
    keep: Eye
    times_handbook: float  # the tolerance in use over the handbook criterion of the sensor
    ceiling: float  # chance of a frame to be kept where it is sharp; NaN without keepers
    floor: float  # and whatever its blur
    steepness: float  # exponent of the fall
    bursts: int  # presses with a distance
    nothing: float  # chance that blur decides nothing
    flags: tuple[str, ...]
    confidence: float
    # Of frames in groups of like blur `blur_mm, frames, rate, low, high`, the rates put back to all frames;
    # not made for a lens among several.
    calibration: pd.DataFrame
    draws: Floats  # shape (d, 4), keeper curves: tolerance [mm], steepness, ceiling, floor
    sharp_draws: Floats  # shape (d, 2), curves of sharpness: tolerance [mm], steepness
    by_lens: Mapping[str, Tolerance] = field(default_factory=dict)  # of each that carries one, of several
    seen_at: float = 1.0  # how much coarser the judged pictures were shown than the size it is carried to
    marked: int = 0  # of the measured presses of all lenses, those whose marks count

    @property
    def eye(self) -> Eye:
        """The tolerance in use."""
        return self.sharp if self.used == "sharp" else self.keep

    @property
    def fitted(self) -> bool:
        """Whether any subject has a distance."""
        return self.bursts > 0

    @property
    def carries(self) -> bool:
        """Whether sentences and zones may rest on it."""
        return self.fitted and not FORBIDDING.intersection(self.flags)

    def chance(self, blur_mm: npt.ArrayLike) -> Floats:
        """Chance at each blur [mm] to be called sharp, or kept, under each curve in use; shape (d, n)."""
        if self.used == "sharp":
            return _fall(blur_mm, *self.sharp_draws.T)
        mm, steepness, ceiling, floor = self.draws.T
        return np.asarray(floor[:, None] + (ceiling - floor)[:, None] * _fall(blur_mm, mm, steepness))


def fit_tolerance(table: pd.DataFrame, settings: Settings) -> Tolerance:
    """Fit and describe the tolerance of a frame table that has its optics columns.

    Reads what :func:`gather_subjects` and :func:`describe_tolerance` read, and the settings ``confidence,
    guess_sd, speed_m_s``.
    """
    frames = frames_met(table)
    subjects = gather_subjects(frames, settings)
    fits = fit_tolerances(subjects, settings.speed_m_s, settings.confidence)
    presses = np.bincount(subjects.lens, minlength=len(fits))
    order = np.argsort(-presses, kind="stable")
    return describe_tolerance(
        count_frames(table),
        judged_frames(frames),
        {subjects.lenses[lens]: (fits[lens], int(presses[lens])) for lens in order},
        settings.confidence,
    )


def describe_tolerance(
    counted: CountedFrames,
    judged: JudgedFrames,
    fits: Mapping[str, tuple[Tolerances, int]],
    confidence: float,
) -> Tolerance:
    """Describe the tolerance of an archive from the fit of each lens and its measured presses.

    The most used lens comes first. Reads ``blur_mm, sharp, session, burst, preset, counted_as,
    sample_weight, drawn, subject_distance_m``.
    """
    frames = counted.blurred
    if not fits:
        return _nothing(confidence)
    contrary = verdicts_reversed(judged.frames)
    (first, (fit, own)), *others = fits.items()
    whole = _of_lens(frames, fit, sum(presses for _, presses in fits.values()), confidence, contrary)
    by_lens = {first: replace(whole, bursts=own)} if own else {}
    by_lens |= {
        name: _of_lens(frames, fit, presses, confidence, contrary)
        for name, (fit, presses) in others
        if presses
    }
    carried = {name: one for name, one in by_lens.items() if one.carries}
    return replace(
        whole, calibration=_groups(whole, frames, judged), by_lens=carried if len(carried) > 1 else {}
    )


def _fall(blur_mm: npt.ArrayLike, tolerance_mm: Floats, steepness: Floats) -> Floats:
    """F at each blur under each curve, shape (d, n)."""
    with np.errstate(divide="ignore", over="ignore"):
        away = np.asarray(blur_mm, dtype=float) / tolerance_mm[:, None]
        return np.asarray(1 / (1 + away ** steepness[:, None]))


def _of_lens(
    frames: pd.DataFrame, fit: Tolerances, presses: int, confidence: float, contrary: bool
) -> Tolerance:
    used: Literal["sharp", "keepers"] = "sharp" if fit.sharp.count >= VERDICTS else "keepers"
    eye = fit.sharp if used == "sharp" else fit.keep
    draws = _keeper_draws(frames, fit)
    flags = [
        name
        for name, holds in (
            (NO_DISTANCES, presses == 0),
            (FEW_VERDICTS, used == "keepers"),
            (TOO_WIDE, presses > 0 and (eye.high > WIDEST * eye.low or not eye.count)),
            (VERDICTS_REVERSED, contrary),
            (BLUR_DECIDES_NOTHING, used == "keepers" and presses > 0 and fit.nothing >= NOTHING),
        )
        if holds
    ]
    return Tolerance(
        used=used, sharp=fit.sharp, keep=fit.keep, times_handbook=eye.blur_mm / fit.handbook_mm,
        ceiling=float(draws[:, 2].mean()), floor=float(draws[:, 3].mean()),
        steepness=float(np.median(fit.kappa)), bursts=presses, nothing=fit.nothing, flags=tuple(flags),
        confidence=confidence, calibration=pd.DataFrame(), draws=draws, seen_at=fit.seen_at,
        marked=fit.marked, sharp_draws=np.stack([fit.handbook_mm * np.exp(fit.log_sharp), fit.kappa], axis=1),
    )  # fmt: skip


def _keeper_draws(frames: pd.DataFrame, fit: Tolerances) -> Floats:
    """Keeper curves at the level of the frames: their mean chance is the share kept."""
    mm = fit.handbook_mm * np.exp(fit.log_keep)
    blur, weight = frames["blur_mm"].to_numpy(float), weights_of(frames)
    if not weight.sum() > 0:
        unknown = np.full(mm.size, np.nan)
        return np.stack([mm, fit.kappa, unknown, unknown], axis=1)
    rate = float(np.average(frames["kept"], weights=weight))
    edges = np.linspace(np.log(blur).min() - 1e-6, np.log(blur).max() + 1e-6, 120)
    share, _ = np.histogram(np.log(blur), edges, weights=weight)
    falls = np.ascontiguousarray(_fall(np.exp((edges[1:] + edges[:-1]) / 2), mm, fit.kappa).T)
    left = fit.floor + (1 - fit.floor) * (share / share.sum() @ falls)
    ceiling = np.minimum(rate / left, 0.99)
    return np.stack([mm, fit.kappa, ceiling, fit.floor * ceiling], axis=1)


def _groups(fitted: Tolerance, frames: pd.DataFrame, judged: JudgedFrames) -> pd.DataFrame:
    """Rates over blur in groups of equal size, put back to all frames."""
    if by_verdict := fitted.used == "sharp":
        blur = judged.frames["blur_mm"].to_numpy(float)
        blurred = np.flatnonzero(np.isfinite(blur) & (blur > 0))
        chosen, sampled = judged.frames.iloc[blurred], judged.sampled.chosen(blurred)
    else:
        chosen, sampled = sampled_frames(frames)
    yes = (chosen["sharp"].eq("yes") if by_verdict else chosen["kept"]).to_numpy(bool)
    blur = chosen["blur_mm"].to_numpy(float)
    groups = int(np.clip(blur.size // FEWEST_IN_GROUP, 1, GROUPS)) if blur.size else 0
    parts = np.array_split(np.argsort(blur, kind="stable"), groups) if groups else []
    place = np.zeros(blur.size, dtype=np.intp)
    for number, members in enumerate(parts):
        place[members] = number
    shares = weighted_shares(yes, place, groups, sampled, fitted.confidence)
    middle, sizes = [np.median(blur[members]) for members in parts], [members.size for members in parts]
    rates = {"rate": shares.rate, "low": shares.low, "high": shares.high}
    return pd.DataFrame({"blur_mm": middle, "frames": sizes} | rates)


def _nothing(confidence: float) -> Tolerance:
    unknown = float("nan")
    none = Eye(unknown, unknown, unknown, 0)
    return Tolerance(
        used="keepers", sharp=none, keep=none, times_handbook=unknown, ceiling=unknown, floor=unknown,
        steepness=unknown, bursts=0, nothing=unknown, flags=(NO_DISTANCES,), confidence=confidence,
        calibration=pd.DataFrame(), draws=np.zeros((0, 4)), sharp_draws=np.zeros((0, 2)),
    )  # fmt: skip
