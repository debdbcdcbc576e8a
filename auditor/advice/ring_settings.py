"""The settings that may be advised: full stops within those used or stated, at engravings of the ring."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.evidence.proportions import Floats
from auditor.intake.statements.session import Lens
from auditor.optics.lens import MM_PER_M, known
from auditor.optics.rings import FULL_STOPS, usual_ring_m
from auditor.settings import Settings

_SAME_STOP = 0.03
_UNSTATED = Settings()


def settings_on_ring(frames: pd.DataFrame, lens: Lens | None, settings: Settings) -> tuple[Floats, Floats]:
    """Return every setting that may be advised for a lens.

    Stops are the lens's own, else full ones; only those between the smallest and the largest f-number used,
    widened to ``f_number_min`` and ``f_number_max`` where the photographer stated them: sharpness alone would
    always ask for a smaller opening. Distances are engravings, of the lens where stated, else the usual ones
    of the unit in use; none is converted from the other unit, and no distance read from a file is added.
    F-numbers and distances have shape (a,). Reads ``f_number, focal_length_mm``.
    """
    used = frames["f_number"].to_numpy(float)
    used = used[known(used)]
    focal = float(frames["focal_length_mm"].median())
    if not used.size:
        return np.zeros(0), np.zeros(0)
    # Slips and experiments are no habit: the middle 98 % of the frames.
    low, high = np.quantile(used, [0.01, 0.99], method="nearest")
    if settings.f_number_min != _UNSTATED.f_number_min:
        low = settings.f_number_min
    if settings.f_number_max != _UNSTATED.f_number_max:
        high = settings.f_number_max
    own = (lens.f_stops if lens else ()) or FULL_STOPS
    stops = [stop for stop in sorted(set(own)) if low * (1 - _SAME_STOP) <= stop <= high * (1 + _SAME_STOP)]
    if not stops:  # between two full stops: those used
        stops = sorted(set(np.round(used[(used >= low) & (used <= high)], 2).tolist()))
    ring = [m for m in ring_of(lens, settings) if m > 4 * focal / MM_PER_M]
    number, focus = np.meshgrid(stops, ring, indexing="ij")
    return number.ravel().astype(float), focus.ravel().astype(float)


def ring_of(lens: Lens | None, settings: Settings) -> Sequence[float]:
    """Engravings of a lens [m]: stated, else the usual ones of the unit in use."""
    return lens.ring_m if lens is not None and lens.ring_m else usual_ring_m(settings.units)
