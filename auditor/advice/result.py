"""What advice consists of."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.limits import Limits
from auditor.text import json_safe


@dataclass(frozen=True, slots=True)
class ValuedSetting:
    """One setting and what it should bring.

    Attributes
    ----------
    f_number, focus_distance_m, near_limit_m, far_limit_m : float
        The setting and its sharp zone; distances from the sensor plane [m].
    expected_hit_rate, low, high : float
        Expected share of bursts with a keeper, over the distances and the light met, and its interval.
    median_shutter_s, median_iso : float
        Of the exposures it would have had.
    within_experience : bool
        Whether subjects were met around that focus distance, or the ring is already used there.
    expected_keepers_per_hour : float
        At the pace kept so far, one keeper a hit; NaN where the times are unknown.
    not_taken : float
        Share of the frames for which the light would have been too low.
    ring_off_rate : float
        Expected hit rate with the ring off by a tenth, on the worse side; NaN where it was not worked out.
    preset : str or None
        Name of the preset in use, if it is one.
    observed_hit_rate, observed_low, observed_high : float
        Share of its bursts that held a keeper, and its interval; NaN if it was never used.
    observed_keepers_per_hour : float
    bursts : int
        Counted bursts taken with it.
    """

    f_number: float
    focus_distance_m: float
    near_limit_m: float
    far_limit_m: float
    expected_hit_rate: float
    low: float
    high: float
    median_shutter_s: float
    median_iso: float
    within_experience: bool
    expected_keepers_per_hour: float = np.nan
    not_taken: float = np.nan
    ring_off_rate: float = np.nan
    preset: str | None = None
    observed_hit_rate: float = np.nan
    observed_low: float = np.nan
    observed_high: float = np.nan
    observed_keepers_per_hour: float = np.nan
    bursts: int = 0


@dataclass(frozen=True, slots=True)
class LightKind:
    """The setting for one kind of light.

    Attributes
    ----------
    name : str
        ``bright``, ``medium`` or ``dim``: the upper, middle and lower third of the frames by light.
    from_ev, to_ev : float
        Its exposure values at ISO 100.
    setting : ValuedSetting
        The best one there.
    loss : float
        What the one setting for all light gives away there, in hit rate.
    """

    name: str
    from_ev: float
    to_ev: float
    setting: ValuedSetting
    loss: float


@dataclass(frozen=True, slots=True)
class Advice:
    """What to set next with one lens.

    Attributes
    ----------
    lens : str
    focal_length_mm : float
    other_lenses : tuple of str
        The archive's other lenses, the most used first.
    settings : tuple of ValuedSetting
        What may be advised, in order of preference.
    current : tuple of ValuedSetting
        The presets in use, the one with most bursts first.
    gain, gain_low, gain_high : float
        Expected hit rate of the first setting over that of the first preset in use, and its interval.
    gain_ratio, gain_ratio_low, gain_ratio_high : float
        The same as a share of what that preset brings.
    chance_better : float
        Chance that the first setting brings more at all; NaN where only counts speak.
    distinguishable : bool
        Whether that interval excludes no difference.
    change_advised : bool
    frames_needed : int or None
        Further frames that should tell the two apart; 0 where they are told apart, None where unknown.
    one_serves_all : bool
        Whether one setting serves every kind of light.
    by_light : tuple of LightKind
        Bright, medium, dim; empty where the light is unknown.
    distances_known : int
        Bursts with a known subject distance.
    experience_from_m, experience_to_m : float
        Where nine tenths of the known subject distances lie [m].
    limits : Limits or None
        Limits of the exposure.
    flags : tuple of str
        See :mod:`auditor.advice.flags`, and the flags of the keeper tolerance.
    grid : pandas.DataFrame
        Every setting that was valued, for charts: ``f_number, focus_distance_m, expected_hit_rate, low, high,
        within_experience``.
    coc_mm : float
        Circle of confusion behind the settings' sharp zones.
    """

    lens: str
    focal_length_mm: float
    other_lenses: tuple[str, ...]
    settings: tuple[ValuedSetting, ...]
    current: tuple[ValuedSetting, ...]
    gain: float
    gain_low: float
    gain_high: float
    gain_ratio: float
    gain_ratio_low: float
    gain_ratio_high: float
    chance_better: float
    distinguishable: bool
    change_advised: bool
    frames_needed: int | None
    one_serves_all: bool
    by_light: tuple[LightKind, ...]
    distances_known: int
    experience_from_m: float
    experience_to_m: float
    limits: Limits | None
    flags: tuple[str, ...]
    grid: pd.DataFrame
    coc_mm: float = np.nan

    @property
    def by_curve(self) -> bool:
        """Whether it rests on the keeper curve, and not on the counts of the presets in use alone."""
        return len(self.grid) > 0


@dataclass(frozen=True, slots=True)
class RingInUse:
    """What one f-number brings at a distance that the ring was used at; see :class:`TunedStop`."""

    focus_distance_m: float
    expected: float
    low: float
    high: float
    observed: float
    n: int


@dataclass(frozen=True, slots=True)
class TunedStop:
    """What one f-number brings at its best ring setting.

    Attributes
    ----------
    f_number, focus_distance_m : float
    expected, low, high : float
        Expected hit rate and its interval.
    observed, observed_low, observed_high : float
        Share of the bursts at this f-number, at any ring setting, that held a keeper; NaN if never used.
    n : int
        Those bursts.
    lost_to_defocus, lost_to_motion, lost_to_diffraction, lost_to_light : float
        What each takes from the hit rate of a subject without blur; together with ``expected`` they add up to
        it. Light: frames that could not be taken.
    median_shutter_s, median_iso : float
    at_rings_in_use : tuple of RingInUse
    """

    f_number: float
    focus_distance_m: float
    expected: float
    low: float
    high: float
    observed: float
    observed_low: float
    observed_high: float
    n: int
    lost_to_defocus: float
    lost_to_motion: float
    lost_to_diffraction: float
    lost_to_light: float
    median_shutter_s: float
    median_iso: float
    at_rings_in_use: tuple[RingInUse, ...] = ()


@dataclass(frozen=True, slots=True)
class Tuning:
    """The apertures of one lens.

    Attributes
    ----------
    lens : str
    focal_length_mm : float
    other_lenses : tuple of str
    stops : tuple of TunedStop
        In ascending order of the f-number.
    prefer : dict
        The f-number to prefer in ``bright``, ``medium`` and ``dim`` light; None where unknown.
    preferred : float or None
        The one f-number to prefer over all light met.
    light_ev : dict
        Exposure values at ISO 100 where ``dim`` ends and ``bright`` begins, under these names.
    limits : Limits or None
    flags : tuple of str
    """

    lens: str
    focal_length_mm: float
    other_lenses: tuple[str, ...]
    stops: tuple[TunedStop, ...]
    prefer: dict[str, float | None]
    preferred: float | None
    light_ev: dict[str, float]
    limits: Limits | None
    flags: tuple[str, ...]


def as_json(result: Advice | Tuning) -> dict[str, Any]:
    """The result as plain JSON values; infinite is null beside a true ``<key>_is_infinite``."""
    values = {name: getattr(result, name) for name in type(result).__slots__ if name != "grid"}
    return dict(json_safe({name: _unfolded(value) for name, value in values.items()}))


def _unfolded(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_unfolded(item) for item in value]
    return asdict(value) if hasattr(value, "__dataclass_fields__") else value
