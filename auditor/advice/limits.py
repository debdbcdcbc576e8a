"""How far a photographer lets the camera go, stated or seen in frames, and the light that plans need."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.optics.exposure import exposure_value
from auditor.optics.lens import Floats, known
from auditor.settings import Settings

EV_STEP = 1 / 3  # [stops] cameras expose in thirds (common practice, no source)
RARE = 0.02  # share of frames from which on something is taken for a habit
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


def find_limits(table: pd.DataFrame, settings: Settings) -> Limits:
    """Take the limits that were stated, and infer the others from the exposures in the archive.

    The wanted time is the one most used. A sensitivity that was never called for says nothing of how far its
    owner would go: the lowest shows in frames with shorter times than the usual one, and where there are none
    the usual one is assumed. The highest is the highest used, but for a few slips, and unless it is the only
    one: one that never followed the light has no limit that shows. Reads ``exposure_time_s, iso``.
    """
    time, iso = (table[name].to_numpy(float) for name in ("exposure_time_s", "iso"))
    time, iso = np.where(known(time), time, np.nan), np.where(known(iso), iso, np.nan)
    used = iso[np.isfinite(iso)]
    single = used.size > 0 and used.min() == used.max()
    iso_max = settings.iso_max
    if iso_max is None:
        iso_max = float(np.quantile(used, 1 - ISO_SLIPS, method="nearest")) if used.size else USUAL_ISO_MAX
        iso_max = max(iso_max, USUAL_ISO_MAX) if single else iso_max
    with np.errstate(invalid="ignore"):
        following = time[~(iso >= iso_max * (1 - _ROUNDING))]  # an unknown sensitivity counts
        most_used = _most_used(following if known(following).any() else time)
        # A wish for the next walk says nothing of the light in which these frames were taken.
        bright = np.isfinite(iso) & (time < most_used / _OTHER_TIME)
    wanted = settings.wanted_shutter_s
    if wanted is None:
        wanted = most_used if np.isfinite(most_used) else USUAL_SHUTTER_S
        wanted = min(wanted, settings.slowest_shutter_s or wanted)
    lowest = float(min(USUAL_ISO_MIN, used.min(initial=USUAL_ISO_MIN)))
    if bright.sum() >= max(RARE * used.size, 2):
        lowest = float(np.median(iso[bright]))
    return Limits(min(lowest, iso_max), iso_max, wanted)


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
