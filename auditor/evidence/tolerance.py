"""The keeper tolerance: how much blur on the sensor this photographer accepts."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence import tolerance_checks as checks
from auditor.evidence.burst_blur import BurstBlur, burst_blur
from auditor.evidence.burst_evidence import gather
from auditor.evidence.keeper_curve import keep_probability
from auditor.evidence.proportions import Floats
from auditor.evidence.sampling import sampling_factor
from auditor.evidence.tolerance_fit import ToleranceFit, fit_tolerance_curve
from auditor.optics.blur import allowance_mm
from auditor.optics.sensors import parse_criterion
from auditor.settings import Settings

SLOW_M_S = 0.6  # a stroll, less than half of the usual walking speed
BURSTS_FOR_A_LENS = 150
HANDBOOK_DIAGONAL_MM = 43.267  # 36x24 mm, where the sensor is unknown


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The keeper curve of a photographer, with what it rests on.

    Attributes
    ----------
    blur_mm, low, high : float
        The tolerance: blur diameter at which one frame's chance has fallen half way from ceiling to floor,
        with its interval. NaN where nothing could be fitted.
    times_handbook : float
        The tolerance in units of the handbook criterion of the sensor.
    ceiling, floor, steepness : float
        The rest of the curve, of one frame (see :mod:`auditor.evidence.keeper_curve`).
    tries : float
        How many independent frames the photographer's bursts are worth on average: a burst's chance is
        1 - (1 - P)^tries. 1 where bursts are single frames, or more frames bring nothing.
    bursts, hits : int
        Bursts with a known blur, and those that hold a keeper.
    flags : tuple of str
        Doubts, from :data:`auditor.evidence.tolerance_checks.FLAGS`.
    confidence : float
    fit_p_value : float
        Goodness of fit; small where the curve does not go through the rates.
    ranges : dict of str to float
        The tolerance refitted with ``half_guess_error``, ``double_guess_error``, ``speed_0.6`` and
        ``ceiling_by_distance``; NaN where a refit was not possible. Empty for a single lens.
    calibration : pandas.DataFrame
        See :func:`auditor.evidence.tolerance_checks.calibration`.
    draws : numpy.ndarray, shape (d, 5)
        Curves as likely as the data say, to carry the uncertainty on: tolerance in mm, steepness, ceiling,
        floor, growth. No rows where nothing was fitted.
    by_lens : dict of str to Tolerance
        A tolerance of its own for each lens that carries one; empty: pooled over the lenses.
    """

    blur_mm: float
    low: float
    high: float
    times_handbook: float
    ceiling: float
    floor: float
    steepness: float
    tries: float
    bursts: int
    hits: int
    flags: tuple[str, ...]
    confidence: float
    fit_p_value: float
    calibration: pd.DataFrame
    draws: Floats
    ranges: dict[str, float] = field(default_factory=dict)
    by_lens: dict[str, Tolerance] = field(default_factory=dict)

    @property
    def fitted(self) -> bool:
        """Whether there is a curve at all."""
        return bool(np.isfinite(self.blur_mm))

    @property
    def carries(self) -> bool:
        """Whether sentences and advice may rest on it."""
        return self.fitted and not checks.FORBIDDING.intersection(self.flags)

    def keep_chance(self, blur_mm: npt.ArrayLike) -> Floats:
        """Return the chance that one frame of this blur is a keeper, any shape."""
        return keep_probability(blur_mm, self.blur_mm, self.steepness, self.ceiling, self.floor)

    def hit_chance(self, blur_mm: npt.ArrayLike) -> Floats:
        """Return the chance that an average burst of this blur holds a keeper, any shape."""
        return np.asarray(-np.expm1(self.tries * np.log1p(-self.keep_chance(blur_mm))))


def fit_tolerance(table: pd.DataFrame, settings: Settings, *, refits: bool = True) -> Tolerance:
    """Fit the keeper tolerance of a frame table, pooled and per lens where the data carry it.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table with its optics columns. Counted, zone-focused frames with a blur are used.
    settings : Settings
        ``confidence``, ``guess_sd``, ``speed_m_s``.
    refits : bool
        Also fit with other assumptions and per lens.

    Returns
    -------
    Tolerance
        Always; NaN and flags where the data say nothing.
    """
    bursts = burst_blur(table, settings)
    handbook = handbook_mm(table)
    fit = _fit(bursts, handbook, settings.confidence)
    result = _described(bursts, fit, handbook, settings.confidence)
    flags = list(result.flags)
    if (lopsided := checks.lopsided_distances(table)) is not None:
        flags.append(lopsided)
    enough = fit is not None and checks.NOT_ENOUGH not in flags
    if enough and not checks.falls_within_outings(table) < checks.OUTINGS_LEVEL:
        flags.append(checks.BETWEEN_OUTINGS)
    if not refits or fit is None:
        return replace(result, flags=tuple(flags))
    ranges = _refit(table, settings, bursts, handbook)
    guesses = [ranges["half_guess_error"], ranges["double_guess_error"]]
    if _outside(guesses, result):
        flags.append(checks.LEANS_ON_GUESS)
    if _outside([ranges["speed_0.6"]], result):
        flags.append(checks.LEANS_ON_SPEED)
    if _outside([ranges["ceiling_by_distance"]], result):
        flags.append(checks.CHOSEN_BY_DISTANCE)
    lenses = _per_lens(bursts, handbook, settings.confidence)
    return replace(result, flags=tuple(flags), ranges=ranges, by_lens=lenses)


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


def handbook_mm(table: pd.DataFrame) -> float:
    """Return the handbook criterion of the archive's usual sensor [mm]."""
    width, height = (table[f"sensor_{side}_mm"].to_numpy(float) for side in ("width", "height"))
    diagonal = np.hypot(width, height)
    known = diagonal[np.isfinite(diagonal)]
    usual = float(np.median(known)) if known.size else HANDBOOK_DIAGONAL_MM
    return float(parse_criterion("handbook").coc_mm(usual))


def _fit(
    bursts: BurstBlur, handbook: float, confidence: float, *, slope: bool = False
) -> ToleranceFit | None:
    if not bursts.hit.any() or bursts.hit.all():
        return None
    evidence = gather(bursts, by_distance=slope)
    evidence = evidence.weighted(sampling_factor(bursts))
    return fit_tolerance_curve(evidence, handbook, confidence, slope=slope)


def _described(bursts: BurstBlur, fit: ToleranceFit | None, handbook: float, confidence: float) -> Tolerance:
    unknown = float("nan")
    expected = np.full(len(bursts), np.nan) if fit is None else checks.expected_rates(bursts, fit)
    size = unknown if fit is None else fit.tolerance_mm
    flags = checks.enough_flags(bursts, size, at_edge=fit is not None and fit.at_edge)
    p_value = unknown if fit is None else checks.goodness_of_fit(bursts, expected)
    if p_value < checks.POOR_FIT_LEVEL:
        flags.append(checks.POOR_FIT)
    if not len(bursts):
        flags.append(checks.NO_DISTANCES)
    shared: dict[str, Any] = {
        "bursts": len(bursts),
        "hits": int(bursts.hit.sum()),
        "flags": tuple(flags),
        "confidence": confidence,
        "fit_p_value": p_value,
        "calibration": checks.calibration(bursts, expected, confidence),
    }
    if fit is None:
        nothing: dict[str, Any] = dict.fromkeys(
            ("blur_mm", "low", "high", "times_handbook", "ceiling", "floor", "steepness", "tries"), unknown
        )
        return Tolerance(**nothing, draws=np.zeros((0, 5)), **shared)
    grown = (
        1.0 if np.isnan(fit.growth) else float(np.average(bursts.frames**fit.growth, weights=bursts.weight))
    )
    return Tolerance(
        blur_mm=fit.tolerance_mm,
        low=fit.low,
        high=fit.high,
        times_handbook=fit.tolerance_mm / handbook,
        ceiling=fit.ceiling,
        floor=fit.floor,
        steepness=fit.steepness,
        tries=grown,
        draws=fit.draws,
        **shared,
    )


def _refit(table: pd.DataFrame, settings: Settings, bursts: BurstBlur, handbook: float) -> dict[str, float]:
    changed = {
        "half_guess_error": burst_blur(table, settings, 0.5),
        "double_guess_error": burst_blur(table, settings, 2.0),
        "speed_0.6": burst_blur(table, settings.changed(speed_m_s=SLOW_M_S)),
    }
    fits = {name: _fit(other, handbook, settings.confidence) for name, other in changed.items()}
    if settings.speed_m_s <= SLOW_M_S:  # said to be as slow, or to stand still
        fits["speed_0.6"] = None
    fits["ceiling_by_distance"] = _fit(bursts, handbook, settings.confidence, slope=True)
    return {name: float("nan") if fit is None else fit.tolerance_mm for name, fit in fits.items()}


def _outside(values: list[float], tolerance: Tolerance) -> bool:
    return any(value < tolerance.low or value > tolerance.high for value in values)


def _per_lens(bursts: BurstBlur, handbook: float, confidence: float) -> dict[str, Tolerance]:
    lenses = pd.Series(bursts.lenses).dropna().value_counts()
    if len(lenses) < 2:
        return {}
    found = {}
    for lens in lenses[lenses >= BURSTS_FOR_A_LENS].index:
        own = bursts.chosen(bursts.lenses == lens)
        fit = _fit(own, handbook, confidence)
        described = _described(own, fit, handbook, confidence)
        if fit is not None and described.carries:
            found[str(lens)] = described
    return found
