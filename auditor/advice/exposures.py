"""Which exposure times each f-number would have had in the light that was met."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.advice.light import (
    Light,
    expose,
    light_met,
    nominal_iso,
    nominal_shutter_s,
)
from auditor.advice.limits import EV_STEP, Limits, find_limits
from auditor.optics.lens import Floats, known
from auditor.settings import Settings


@dataclass(frozen=True, slots=True)
class Times:
    """Exposure times of one f-number.

    Attributes
    ----------
    exposure_time_s, share : numpy.ndarray, shape (t,)
        Times [s] and their share of the frames; the shares sum to ``taken``.
    taken : float
        Share of the frames that could be taken.
    median_time_s, median_iso : float
        Of the frames that could be taken, as cameras show them; NaN where unknown.
    """

    exposure_time_s: Floats
    share: Floats
    taken: float
    median_time_s: float
    median_iso: float


@dataclass(frozen=True, slots=True)
class Exposures:
    """The light met and how the camera answers it.

    Attributes
    ----------
    light : Light
        ``light.frames`` is 0 where no frame tells its light; then the exposure times that were used stand in
        for it, whatever the f-number.
    limits : Limits
    used_s, used_share : numpy.ndarray, shape (u,)
        Exposure times used [s], in steps of a third of a stop, and their shares.
    """

    light: Light
    limits: Limits
    used_s: Floats
    used_share: Floats

    def at(self, f_number: float) -> Times:
        """Exposure times at an f-number."""
        if not self.light.frames:
            median = _median(self.used_s, self.used_share)
            return Times(self.used_s, self.used_share, 1.0, float(nominal_shutter_s(median)), np.nan)
        exposed = expose(self.light.ev, f_number, self.limits)
        taken = exposed.taken
        share = self.light.share[taken]
        times, place = np.unique(np.round(np.log2(exposed.exposure_time_s[taken]), 3), return_inverse=True)
        return Times(
            np.asarray(2.0**times, dtype=float),
            np.bincount(place.ravel(), share, minlength=times.size).astype(float),
            float(share.sum()),
            float(nominal_shutter_s(_median(exposed.exposure_time_s[taken], share))),
            float(nominal_iso(_median(exposed.iso[taken], share))),
        )

    def median_isos(self, f_number: Floats) -> Floats:
        """Median sensitivity at each of many f-numbers."""
        numbers, place = np.unique(f_number, return_inverse=True)
        return np.array([self.at(float(number)).median_iso for number in numbers])[place]

    def in_light(self, light: Light) -> Exposures:
        """The same camera in another light."""
        return Exposures(light, self.limits, self.used_s, self.used_share)


def exposures_met(frames: pd.DataFrame, settings: Settings) -> Exposures | None:
    """Gather light, limits and exposure times of the frames; None where no exposure time is known."""
    # A flash is not the light of the scene, nor does the exposure time tell what it froze.
    frames = frames[~frames["flash"].fillna(False).to_numpy(bool)]
    limits = find_limits(frames, settings)
    time = frames["exposure_time_s"].to_numpy(float)
    time = time[known(time)]
    if not time.size:
        return None
    steps, counts = np.unique(np.round(np.log2(time) / EV_STEP), return_counts=True)
    return Exposures(light_met(frames), limits, 2.0 ** (steps * EV_STEP), counts / time.size)


def _median(values: Floats, share: Floats) -> float:
    if not values.size:
        return np.nan
    order = np.argsort(values)
    place = np.cumsum(share[order])
    return float(values[order][np.searchsorted(place, place[-1] / 2)])
