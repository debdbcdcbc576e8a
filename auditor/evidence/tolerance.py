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

from auditor.evidence.blur_tolerance import Tolerances, fit_tolerances
from auditor.evidence.bursts import frames_with_blur
from auditor.evidence.proportions import Floats
from auditor.evidence.sharpness import verdicts_reversed
from auditor.evidence.subjects import measured_subjects
from auditor.evidence.weighted_shares import weighted_shares
from auditor.evidence.weights import sampled_frames, weights_of
from auditor.optics.blur import allowance_mm
from auditor.settings import Settings

VERDICTS = 30  # verdicts on sharpness from which on they speak
WIDEST = 6.0  # high over low of a tolerance on which a sentence may rest
NOTHING = 0.75  # chance that blur decides nothing, from which on it is said
GROUPS, FEWEST_IN_GROUP = 8, 12
GROUP_COLUMNS = (
    "blur_from_mm", "blur_to_mm", "blur_mm", "frames", "yes", "rate", "low", "high", "expected",
)  # fmt: skip

NO_DISTANCES: Final = "no_distances"
FEW_VERDICTS: Final = "few_verdicts"  # so the keepers speak, or nobody
TOO_WIDE: Final = "too_wide"  # marks and verdicts hardly narrow what was thought before
BLUR_DECIDES_NOTHING: Final = "blur_decides_nothing"
VERDICTS_REVERSED: Final = "verdicts_reversed"  # the more blur, the more often sharp
FLAGS: Final = (NO_DISTANCES, FEW_VERDICTS, TOO_WIDE, BLUR_DECIDES_NOTHING, VERDICTS_REVERSED)
# With one of these no sentence and no zone rests on the tolerance.
FORBIDDING: Final = frozenset({NO_DISTANCES, TOO_WIDE, BLUR_DECIDES_NOTHING, VERDICTS_REVERSED})


@dataclass(frozen=True, slots=True)
class Eye:
    """One tolerance with its interval [mm]; ``count`` verdicts, or keepers, of ``presses`` bear it."""

    blur_mm: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What a photographer bears, of one lens or of the most used one for all.

    Attributes
    ----------
    used : {"sharp", "keepers"}
        Which of the two speaks.
    sharp, keep : Eye
    times_handbook : float
        The tolerance in use over the handbook criterion of the sensor.
    ceiling, floor : float
        Chance of a frame to be kept where it is sharp, and whatever its blur; NaN without keepers.
    steepness : float
        Exponent of the fall.
    bursts : int
        Presses with a distance.
    nothing : float
        Chance that blur decides nothing.
    flags : tuple of str
        Of :data:`FLAGS`.
    confidence : float
    calibration : pandas.DataFrame
        Of frames in groups of like blur: ``blur_from_mm, blur_to_mm, blur_mm, frames, yes, rate, low, high``,
        the rates put back to all frames, and ``expected``.
    draws : numpy.ndarray, shape (d, 4)
        Keeper curves as likely as the data say: tolerance [mm], steepness, ceiling, floor.
    sharp_draws : numpy.ndarray, shape (d, 2)
        Curves of sharpness: tolerance [mm], steepness.
    by_lens : mapping of str to Tolerance
        A tolerance of its own for each lens that carries one, where there are several.
    """

    used: Literal["sharp", "keepers"]
    sharp: Eye
    keep: Eye
    times_handbook: float
    ceiling: float
    floor: float
    steepness: float
    bursts: int
    nothing: float
    flags: tuple[str, ...]
    confidence: float
    calibration: pd.DataFrame
    draws: Floats
    sharp_draws: Floats
    by_lens: Mapping[str, Tolerance] = field(default_factory=dict)

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
        """Chance at each blur [mm] to be called sharp, or kept, under each curve in use; shape (d, ...)."""
        blur = np.asarray(blur_mm, dtype=float)[None, ...]
        rest = (slice(None), *[None] * (blur.ndim - 1))
        if self.used == "sharp":
            mm, steepness = (column[rest] for column in self.sharp_draws.T)
            return np.asarray(_fall(blur, mm, steepness))
        return self.keep_chance(blur_mm)

    def keep_chance(self, blur_mm: npt.ArrayLike) -> Floats:
        """Chance of a frame to be kept at each blur [mm], under each keeper curve; shape (d, ...)."""
        blur = np.asarray(blur_mm, dtype=float)[None, ...]
        rest = (slice(None), *[None] * (blur.ndim - 1))
        mm, steepness, ceiling, floor = (column[rest] for column in self.draws.T)
        return np.asarray(floor + (ceiling - floor) * _fall(blur, mm, steepness))


def fit_tolerance(table: pd.DataFrame, settings: Settings) -> Tolerance:
    """Fit and tell the tolerance of a frame table.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table with its optics columns.
    settings : Settings
        ``confidence``, ``guess_sd``, ``speed_m_s``.
    """
    subjects = measured_subjects(table, settings)
    fits = fit_tolerances(subjects, settings.speed_m_s, settings.confidence)
    presses = np.bincount(subjects.lens, minlength=len(fits))
    order = np.argsort(-presses, kind="stable")
    return tell_tolerance(
        table,
        {subjects.lenses[lens]: fits[lens] for lens in order},
        settings.confidence,
        {subjects.lenses[lens]: int(presses[lens]) for lens in order},
    )


def tell_tolerance(
    table: pd.DataFrame, fits: Mapping[str, Tolerances], confidence: float, presses: Mapping[str, int]
) -> Tolerance:
    """Tell the tolerance of an archive from fits that there are already.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    fits : mapping of str to Tolerances
        One for each lens, the most used first.
    confidence : float
    presses : mapping of str to int
        Measured presses of each lens.
    """
    frames = frames_with_blur(table)
    names = list(fits)
    if not names:
        return _nothing(confidence)
    whole = _of_lens(frames, fits[names[0]], sum(presses.values()), confidence)
    if len(names) == 1:
        return whole
    own = {
        name: _of_lens(frames, fit, presses[name], confidence) for name, fit in fits.items() if presses[name]
    }
    carried = {name: one for name, one in own.items() if one.carries}
    return replace(whole, by_lens=carried if len(carried) > 1 else {})


def defocus_allowance_mm(
    tolerance_mm: float, diffraction_mm: npt.ArrayLike, motion_mm: npt.ArrayLike
) -> Floats:
    """Return the circle of confusion that a tolerance leaves for defocus: the criterion ``measured``.

    sqrt(tolerance² - diffraction² - median motion²), because the tolerance is about all blur together.

    Parameters
    ----------
    tolerance_mm : float
    diffraction_mm : array-like
        Airy diameters, any shape.
    motion_mm : array-like
        Motion of the frames; its median is taken, 0 where none is known.

    Returns
    -------
    numpy.ndarray
        In the shape of ``diffraction_mm``, NaN where nothing is left.
    """
    motion = np.asarray(motion_mm, float)
    known = motion[np.isfinite(motion)]
    return np.asarray(allowance_mm(tolerance_mm, diffraction_mm, np.median(known) if known.size else 0.0))


def _fall(blur: Floats, tolerance_mm: Floats, steepness: Floats) -> Floats:
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1 / (1 + (blur / tolerance_mm) ** steepness))


def _of_lens(frames: pd.DataFrame, fit: Tolerances, presses: int, confidence: float) -> Tolerance:
    used: Literal["sharp", "keepers"] = "sharp" if fit.verdicts >= VERDICTS else "keepers"
    sharp = Eye(fit.sharp_mm, fit.sharp_low, fit.sharp_high, fit.verdicts)
    keep = Eye(fit.keep_mm, fit.keep_low, fit.keep_high, fit.keepers)
    eye = sharp if used == "sharp" else keep
    draws = _keeper_draws(frames, fit)
    flags = [
        name
        for name, holds in (
            (NO_DISTANCES, presses == 0),
            (FEW_VERDICTS, used == "keepers"),
            (TOO_WIDE, presses > 0 and eye.high > WIDEST * eye.low),
            (VERDICTS_REVERSED, verdicts_reversed(frames)),
            (BLUR_DECIDES_NOTHING, used == "keepers" and presses > 0 and fit.nothing >= NOTHING),
        )
        if holds
    ]
    told = Tolerance(
        used=used,
        sharp=sharp,
        keep=keep,
        times_handbook=eye.blur_mm / fit.handbook_mm,
        ceiling=float(draws[:, 2].mean()),
        floor=float(draws[:, 3].mean()),
        steepness=float(np.median(fit.kappa)),
        bursts=presses,
        nothing=fit.nothing,
        flags=tuple(flags),
        confidence=confidence,
        calibration=pd.DataFrame(),
        draws=draws,
        sharp_draws=np.stack([fit.handbook_mm * np.exp(fit.log_sharp), fit.kappa], axis=1),
    )
    return replace(told, calibration=_groups(told, frames))


def _keeper_draws(frames: pd.DataFrame, fit: Tolerances) -> Floats:
    """Keeper curves at the level of the frames: their mean chance is the share kept."""
    mm = fit.handbook_mm * np.exp(fit.log_keep)
    blur, weight = frames["blur_mm"].to_numpy(float), weights_of(frames)
    if not weight.sum() > 0:
        unknown = np.full(mm.size, np.nan)
        return np.stack([mm, fit.kappa, unknown, unknown], axis=1)
    rate = float(np.average(frames["kept"], weights=weight))
    bins, share = _binned(np.log(blur), weight)
    left = fit.floor + (1 - fit.floor) * (share @ _fall(np.exp(bins)[:, None], mm, fit.kappa))
    ceiling = np.minimum(rate / left, 0.99)
    return np.stack([mm, fit.kappa, ceiling, fit.floor * ceiling], axis=1)


def _binned(values: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Middles of narrow classes, and the share of the weight in each."""
    edges = np.linspace(values.min() - 1e-6, values.max() + 1e-6, 120)
    share, _ = np.histogram(values, edges, weights=weight)
    return (edges[1:] + edges[:-1]) / 2, share / share.sum()


def _groups(told: Tolerance, frames: pd.DataFrame) -> pd.DataFrame:
    """Rates over blur in groups of equal size, put back to all frames, beside what the curves expect."""
    by_verdict = told.used == "sharp"
    said = frames["sharp"].isin(["yes", "no"]).to_numpy(bool) if by_verdict else np.ones(len(frames), bool)
    chosen, sampled = sampled_frames(frames[said].reset_index(drop=True))
    yes = (chosen["sharp"].eq("yes") if by_verdict else chosen["kept"]).to_numpy(bool)
    blur = chosen["blur_mm"].to_numpy(float)
    groups = int(np.clip(len(chosen) // FEWEST_IN_GROUP, 1, GROUPS)) if len(chosen) else 0
    parts = np.array_split(np.argsort(blur, kind="stable"), groups) if groups else []
    place = np.zeros(len(chosen), dtype=np.intp)
    for number, members in enumerate(parts):
        place[members] = number
    shares = weighted_shares(yes, place, groups, sampled, told.confidence)
    expected = told.chance(blur).mean(axis=0)
    return pd.DataFrame(
        {
            "blur_from_mm": [blur[members].min() for members in parts],
            "blur_to_mm": [blur[members].max() for members in parts],
            "blur_mm": [np.median(blur[members]) for members in parts],
            "frames": [members.size for members in parts],
            "yes": [int(yes[members].sum()) for members in parts],
            "rate": shares.rate,
            "low": shares.low,
            "high": shares.high,
            "expected": [np.average(expected[m], weights=sampled.weight[m]) for m in parts],
        }
    )


def _nothing(confidence: float) -> Tolerance:
    unknown = float("nan")
    none = Eye(unknown, unknown, unknown, 0)
    return Tolerance(
        used="keepers",
        sharp=none,
        keep=none,
        times_handbook=unknown,
        ceiling=unknown,
        floor=unknown,
        steepness=unknown,
        bursts=0,
        nothing=unknown,
        flags=(NO_DISTANCES,),
        confidence=confidence,
        calibration=pd.DataFrame(columns=list(GROUP_COLUMNS), dtype=float),
        draws=np.zeros((0, 4)),
        sharp_draws=np.zeros((0, 2)),
    )
