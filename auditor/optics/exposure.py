"""Brightness of the scene from the exposure that was given."""

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import Floats, known

# Exposure times as cameras show them, 1/t (common practice, no source).
_SHUTTERS = np.array(
    [8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160,
     125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4]
)  # fmt: skip


def exposure_value(f_number: npt.ArrayLike, exposure_time_s: npt.ArrayLike, iso: npt.ArrayLike) -> Floats:
    """Brightness of the scene [stops] of a well exposed frame: exposure value at ISO 100.

    log2(N^2 / t) - log2(S / 100); NaN where one of the three is unknown.

    >>> float(exposure_value(16, 1 / 128, 100)), float(exposure_value(8, 1 / 512, 800))
    (15.0, 12.0)
    """
    number, time, speed = (np.asarray(v, dtype=float) for v in (f_number, exposure_time_s, iso))
    with np.errstate(all="ignore"):
        value = np.log2(number**2 / time) - np.log2(speed / 100)
        return np.where(known(number, time, speed), value, np.nan)[()]


def nominal_shutter_s(exposure_time_s: npt.ArrayLike) -> Floats:
    """The nearest exposure time that cameras show [s]; times of 0.3 s and longer stay as they are.

    >>> (1 / nominal_shutter_s([1 / 128, 1 / 512, 1 / 203])).round().tolist()
    [125.0, 500.0, 200.0]
    """
    time = np.asarray(exposure_time_s, dtype=float)
    with np.errstate(all="ignore"):
        nearest = np.abs(np.log(time)[..., None] + np.log(_SHUTTERS)).argmin(axis=-1)
        return np.where(np.isnan(time) | (time >= 0.3), time, 1 / _SHUTTERS[nearest])[()]
