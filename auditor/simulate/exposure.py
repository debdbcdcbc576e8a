"""How an invented camera answers the light: exposure time first, then sensitivity, in thirds of a stop."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Third-stop series as engraved (common practice, no source).
SHUTTERS = np.array([1000, 800, 640, 500, 400, 320, 250, 200, 160, 125])
ISOS = np.array(
    [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400,
     8000, 10000, 12800]
)  # fmt: skip
_WANTED = 3  # 1/500 s, in SHUTTERS
_LONGER_FROM, _SHORTER_FROM = 6.0, 2.0  # stops above ISO 100: 6400 and 400


def market_light(time_s: Floats, session: npt.NDArray[np.intp], rng: np.random.Generator) -> Floats:
    """Exposure value at ISO 100 under a market's roof: clouds, skylights and dark corners, shape (n,)."""
    sessions = int(session[-1]) + 1
    base = rng.normal(9.6, 0.6, sessions)
    slow, quick = rng.uniform(0, 2 * np.pi, (2, sessions))
    clouds = 0.7 * np.sin(2 * np.pi * time_s / 5400 + slow[session])
    corners = 0.5 * np.sin(2 * np.pi * time_s / 700 + quick[session])
    return np.asarray(base[session] + clouds + corners + rng.normal(0, 0.3, len(time_s)))


def expose(exposure_value: Floats, f_number: Floats) -> tuple[Floats, Floats]:
    """Choose exposure time [s] and ISO for a given f-number: N^2/t = 2^EV ISO/100.

    1/500 s is wanted; the time grows to 1/125 s above ISO 6400 and shrinks to 1/1000 s below ISO 400.

    Examples
    --------
    >>> expose(np.array([15.0, 10.0, 7.0]), np.array([8.0, 8.0, 8.0]))
    (array([0.001, 0.002, 0.008]), array([ 200., 3200., 6400.]))
    """
    stops = np.log2(f_number**2 * SHUTTERS[_WANTED]) - exposure_value  # above ISO 100, at the wanted time
    longer = np.clip(stops - _LONGER_FROM, 0, 2) - np.clip(_SHORTER_FROM - stops, 0, 1)
    shutter = np.clip(np.rint(_WANTED + 3 * longer), 0, len(SHUTTERS) - 1).astype(np.intp)
    rest = stops - (shutter - _WANTED) / 3
    iso = ISOS[np.clip(np.rint(3 * rest), 0, len(ISOS) - 1).astype(np.intp)]
    return 1.0 / SHUTTERS[shutter], iso.astype("float64")
