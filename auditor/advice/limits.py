"""How far a photographer lets the camera go, stated or seen in frames, and the light that plans need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.optics.exposure import exposure_value
from auditor.optics.lens import Floats, known
from auditor.settings import Settings

EV_STEP = 1 / 3  # [stops] cameras expose in thirds (common practice, no source)
RARE = 0.02  # share of frames from which on something is taken for a habit
TIME_SLIPS = 0.05  # share of the longer times that may be slips and experiments
ISO_SLIPS = 0.005  # share of the frames whose sensitivity may be one
# What is assumed where an archive says nothing (common practice, no source).
USUAL_ISO_MIN, USUAL_ISO_MAX = 100.0, 6400.0
USUAL_SHUTTER_S, USUAL_SLOWEST_S = 1 / 250, 1 / 125
_OTHER_TIME = 2 ** (1 / 4)  # a time that differs by more than this factor is another one
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Limits:
    """How far a camera may go to meet the light."""

    iso_min: float  # never asked for
    iso_max: float
    wanted_shutter_s: float  # kept while the sensitivity can follow
    slowest_shutter_s: float


def find_limits(table: pd.DataFrame, settings: Settings) -> Limits:
    """Take the limits that were stated, and infer the others from the exposures in the archive.

    The wanted time is the one most used. A sensitivity or a time that was never called for says nothing of
    how far its owner would go: the lowest sensitivity shows in frames with shorter times than the usual one,
    the slowest time in frames with longer ones than the wanted, and where there are none the usual values
    are assumed. The highest sensitivity is the highest one used, but for a few slips, and unless it is the
    only one: one that never followed the light has no limit that shows. Reads ``exposure_time_s, iso``.
    """
    time, iso = (table[name].to_numpy(float) for name in ("exposure_time_s", "iso"))
    time, iso = np.where(known(time), time, np.nan), np.where(known(iso), iso, np.nan)
    only = single_iso(iso)
    seen = _quantile(iso, 1 - ISO_SLIPS) if np.isnan(only) else np.nan
    iso_max = _first(settings.iso_max, seen, np.fmax(USUAL_ISO_MAX, only))
    with np.errstate(invalid="ignore"):
        following = time[~(iso >= iso_max * (1 - _ROUNDING))]  # an unknown sensitivity counts
        most_used = _most_used(following if known(following).any() else time)
        wanted = _first(settings.wanted_shutter_s, most_used, USUAL_SHUTTER_S)
        longer = time > wanted * _OTHER_TIME
        # A wish for the next walk says nothing of the light in which these frames were taken.
        shorter = time < (most_used if np.isfinite(most_used) else wanted) / _OTHER_TIME
    called_for = longer.sum() >= max(RARE * np.isfinite(time).sum(), 2)
    slowest_seen = _quantile(time[longer], 1 - TIME_SLIPS) if called_for else np.nan
    slowest = _first(settings.slowest_shutter_s, slowest_seen, max(USUAL_SLOWEST_S, wanted))
    lowest = min(USUAL_ISO_MIN, np.nanmin(iso, initial=USUAL_ISO_MIN))
    bright = np.isfinite(iso) & shorter
    if bright.sum() >= max(RARE * np.isfinite(iso).sum(), 2):
        lowest = float(np.median(iso[bright]))
    if settings.wanted_shutter_s is None:
        wanted = min(wanted, slowest)
    return Limits(
        iso_min=min(lowest, iso_max),
        iso_max=iso_max,
        wanted_shutter_s=wanted,
        slowest_shutter_s=max(slowest, wanted),
    )


def single_iso(iso: Floats) -> float:
    """Return the only sensitivity ever used; NaN where there are several, or none is known."""
    used = np.unique(iso[known(iso)])
    return float(used[0]) if used.size == 1 else np.nan


def _first(stated: float | None, seen: float, usual: float) -> float:
    """The value that was stated, else seen in the archive, else the usual one."""
    return stated if stated is not None else seen if np.isfinite(seen) else usual


def _quantile(values: Floats, share: float) -> float:
    finite = values[np.isfinite(values)]
    return float(np.quantile(finite, share, method="nearest")) if finite.size else np.nan


def _most_used(time_s: Floats) -> float:
    """Most frequent exposure time, alike ones (within a sixth of a stop) taken together [s]."""
    time = time_s[np.isfinite(time_s)]
    if not time.size:
        return np.nan
    thirds = np.round(np.log2(time) / EV_STEP).astype(np.intp)
    codes, counts = np.unique(thirds, return_counts=True)
    return float(np.median(time[thirds == codes[counts.argmax()]]))


@dataclass(frozen=True, slots=True)
class LightNeeded:
    """The light that each f-number needs, as exposure values at ISO 100; arrays of shape (stops,)."""

    wanted_ev: Floats  # from here on the wanted exposure time is kept
    darkest_ev: Floats  # below this the frame cannot be taken
    iso_max: float  # the limits behind them
    wanted_shutter_s: float
    slowest_shutter_s: float


def light_needed(f_number: npt.ArrayLike, settings: Settings) -> LightNeeded:
    """Least light for the wanted and for the slowest exposure time at the highest ISO.

    Limits that were not stated are the usual ones: ISO 6400, 1/250 s, 1/125 s.

    Examples
    --------
    >>> needed = light_needed([8.0], Settings(iso_max=6400, wanted_shutter_s=1 / 512))
    >>> needed.wanted_ev.round(2).tolist(), needed.darkest_ev.round(2).tolist()
    ([9.0], [6.97])
    """
    number = np.atleast_1d(np.asarray(f_number, dtype=float))
    iso = settings.iso_max or USUAL_ISO_MAX
    wanted = settings.wanted_shutter_s or min(USUAL_SHUTTER_S, settings.slowest_shutter_s or USUAL_SHUTTER_S)
    slowest = max(settings.slowest_shutter_s or USUAL_SLOWEST_S, wanted)
    return LightNeeded(
        exposure_value(number, wanted, iso), exposure_value(number, slowest, iso), iso, wanted, slowest
    )
