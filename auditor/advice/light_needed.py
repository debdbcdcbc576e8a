"""How much light a planned setting needs: for plans that are made without an archive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from auditor.advice.limits import USUAL_ISO_MAX, USUAL_SHUTTER_S, USUAL_SLOWEST_S
from auditor.optics.exposure import exposure_value
from auditor.optics.lens import Floats
from auditor.settings import Settings


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
