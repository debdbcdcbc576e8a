"""The light of a scene, and the exposure a camera would have chosen in it at another f-number.

Exposure value at ISO 100: N^2 / t = 2^EV S / 100 (APEX). The photographer's way of exposing is taken to be
the usual one of zone focusing: f-number fixed, a wanted exposure time, the sensitivity following the light up
to a limit, and only then a longer time, down to a slowest one. In more light than the lowest sensitivity can
bear the time becomes shorter; that no shutter is too slow for that is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.advice.limits import EV_STEP, Limits, single_iso
from auditor.optics.exposure import exposure_value
from auditor.optics.lens import Floats

_ROUNDING = 1e-9
# Exposure times and sensitivities as they are shown, in third stops (common practice, no source).
_SHUTTERS = np.array(
    [8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160,
     125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4]
)  # fmt: skip
_ISOS = np.array(
    [25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500,
     3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200, 64000, 80000,
     102400]
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Exposure:
    """What the camera would have done; arrays of one shape.

    Attributes
    ----------
    exposure_time_s : numpy.ndarray
        Exposure time [s]; where the light is too low, the slowest one.
    iso : numpy.ndarray
        Sensitivity.
    taken : numpy.ndarray of bool
        False where even the slowest time and the highest sensitivity are not enough.
    """

    exposure_time_s: Floats
    iso: Floats
    taken: npt.NDArray[np.bool_]


def expose(ev: npt.ArrayLike, f_number: npt.ArrayLike, limits: Limits) -> Exposure:
    """Exposure time and sensitivity in a given light.

    Parameters
    ----------
    ev : array_like
        Exposure value at ISO 100.
    f_number : array_like
    limits : Limits

    Returns
    -------
    Exposure
        NaN, and not taken, where the light is unknown.

    Examples
    --------
    At ISO 6400 and 1/500 s f/8 needs EV 9; one stop darker the time doubles, three stops are too many.

    >>> limits = Limits(100, 6400, 1 / 500, 1 / 125)
    >>> light = np.log2(8**2 * 500 / 64) - np.array([0.0, 1.0, 3.0])
    >>> exposed = expose(light, 8, limits)
    >>> exposed.iso.round().tolist(), (1 / exposed.exposure_time_s).round().tolist(), exposed.taken.tolist()
    ([6400.0, 6400.0, 6400.0], [500.0, 250.0, 125.0], [True, True, False])
    """
    light = np.asarray(ev, dtype=float)
    number = np.asarray(f_number, dtype=float)
    with np.errstate(all="ignore"):
        iso_time = 100 * number**2 / 2**light  # S t, as much as the light asks for
        iso = np.clip(iso_time / limits.wanted_shutter_s, limits.iso_min, limits.iso_max)
        time = iso_time / iso
        taken = time <= limits.slowest_shutter_s * (1 + _ROUNDING)
        time = np.minimum(time, limits.slowest_shutter_s)
    return Exposure(time, iso, taken)


@dataclass(frozen=True, slots=True)
class Light:
    """The light that was met, as shares of frames in steps of a third of a stop.

    Attributes
    ----------
    ev : numpy.ndarray, shape (l,)
        Exposure values at ISO 100, ascending.
    share : numpy.ndarray, shape (l,)
        Share of the frames, summing to 1.
    frames : int
        Frames whose light is known.
    """

    ev: Floats
    share: Floats
    frames: int

    def between(self, low: float, high: float) -> Light:
        """The same for the frames in a slice of the light, by shares from the darkest on, 0 to 1."""
        ends = np.cumsum(self.share)
        starts = ends - self.share
        part = np.clip(np.minimum(ends, high) - np.maximum(starts, low), 0.0, None)
        kept = part > _ROUNDING
        return Light(self.ev[kept], part[kept] / part.sum(), round(self.frames * (high - low)))


def light_met(table: pd.DataFrame) -> Light:
    """Gather the light of every frame with a known f-number, exposure time and sensitivity.

    Where only a single sensitivity was ever used, all was set by hand, and no light can be told.
    """
    if np.isfinite(single_iso(table["iso"].to_numpy(float))):
        table = table.head(0)
    ev = exposure_value(*(table[name].to_numpy(float) for name in ("f_number", "exposure_time_s", "iso")))
    ev = np.atleast_1d(ev)[np.isfinite(np.atleast_1d(ev))]
    steps, counts = np.unique(np.round(ev / EV_STEP), return_counts=True)
    return Light(steps * EV_STEP, counts / max(ev.size, 1), int(ev.size))


def nominal_shutter_s(exposure_time_s: npt.ArrayLike) -> Floats:
    """The nearest exposure time that cameras show [s]; times of 0.3 s and longer stay as they are.

    Examples
    --------
    >>> (1 / nominal_shutter_s([1 / 128, 1 / 512, 1 / 203])).round().tolist()
    [125.0, 500.0, 200.0]
    """
    time = np.asarray(exposure_time_s, dtype=float)
    with np.errstate(all="ignore"):
        nearest = np.abs(np.log(time)[..., None] + np.log(_SHUTTERS)).argmin(axis=-1)
        return np.where(np.isnan(time) | (time >= 0.3), time, 1 / _SHUTTERS[nearest])[()]


def nominal_iso(iso: npt.ArrayLike) -> Floats:
    """The nearest sensitivity that cameras show; NaN stays NaN.

    Examples
    --------
    >>> nominal_iso([104.0, 1290.0, 5080.0, 6500.0]).tolist()
    [100.0, 1250.0, 5000.0, 6400.0]
    """
    value = np.asarray(iso, dtype=float)
    with np.errstate(all="ignore"):
        nearest = np.abs(np.log(value)[..., None] - np.log(_ISOS)).argmin(axis=-1)
        return np.where(np.isnan(value), np.nan, _ISOS[nearest])[()]
