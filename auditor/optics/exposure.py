"""Brightness of the scene from the exposure that was given."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from auditor.optics.lens import Floats, known


def exposure_value(f_number: npt.ArrayLike, exposure_time_s: npt.ArrayLike, iso: npt.ArrayLike) -> Floats:
    """Brightness of the scene as an exposure value at ISO 100, log2(N^2 / t) - log2(S / 100).

    Parameters
    ----------
    f_number, exposure_time_s, iso : array_like
        f-number N, exposure time t [s], sensitivity S, of a well exposed frame.

    Returns
    -------
    numpy.ndarray or numpy.float64
        Exposure value [stops]; NaN where one of the three is unknown.

    Examples
    --------
    >>> float(exposure_value(16, 1 / 128, 100)), float(exposure_value(8, 1 / 512, 800))
    (15.0, 12.0)
    """
    number, time, speed = (np.asarray(v, dtype=float) for v in (f_number, exposure_time_s, iso))
    with np.errstate(all="ignore"):
        value = np.log2(number**2 / time) - np.log2(speed / 100)
        return np.where(known(number, time, speed), value, np.nan)[()]
