"""What defocus, motion, diffraction and too little light each take from the hit rate of a setting."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import factorial

import numpy as np

from auditor.advice.expectation import ALL_CAUSES, Grid, blur_shares, expect
from auditor.advice.valuing import Ground
from auditor.optics.lens import Floats


@dataclass(frozen=True, slots=True)
class Losses:
    """Hit rate lost at each setting, arrays of shape (a,).

    With the expected rate they add up to that of a subject without any blur, always taken.
    """

    defocus: Floats
    motion: Floats
    diffraction: Floats
    light: Floats


def split_losses(ground: Ground, grid: Grid) -> Losses:
    """Share the loss among its causes: the mean over all orders in which they could be removed.

    The causes' blurs add up as squares and the keeper curve bends, so what one of them costs hangs on which
    others are there; the mean over all orders is the only fair share that adds up (Shapley 1953, A value for
    n-person games).

    Parameters
    ----------
    ground : Ground
        Complete.
    grid : Grid
        Settings, a of them.
    """
    averaging, exposures = ground.averaging, ground.exposures
    assert averaging is not None
    assert exposures is not None
    rate = {
        causes: expect(blur_shares(grid, exposures, ground.settings.speed_m_s, causes), averaging).rate
        for size in range(len(ALL_CAUSES) + 1)
        for causes in combinations(ALL_CAUSES, size)
    }
    shares = {cause: shapley_share(cause, rate) for cause in ALL_CAUSES}
    taken = np.array([exposures.at(float(number)).taken for number in grid.f_number])
    sharp = np.full(len(grid), averaging.heights[0].mean())
    return Losses(
        **{cause: np.maximum(loss, 0.0) for cause, loss in shares.items()}, light=sharp * (1 - taken)
    )


def shapley_share(cause: str, rate: dict[tuple[str, ...], Floats]) -> Floats:
    """What one cause takes, given the rate under every set of causes.

    Parameters
    ----------
    cause : str
    rate : dict
        Rates by the causes that are present, in the order of the longest key.

    Examples
    --------
    Two causes, each alone takes 0.2 of 0.5, together 0.3: half of it each.

    >>> rates = {(): 0.5, ("a",): 0.3, ("b",): 0.3, ("a", "b"): 0.2}
    >>> round(float(shapley_share("a", {k: np.asarray(v) for k, v in rates.items()})), 3)
    0.15
    """
    everyone = max(rate, key=len)
    n = len(everyone)
    total = np.zeros_like(rate[()], dtype=float)
    for present in rate:
        if cause not in present:
            with_it = tuple(name for name in everyone if name in present or name == cause)
            orders = factorial(len(present)) * factorial(n - len(present) - 1) / factorial(n)
            total = total + orders * (rate[present] - rate[with_it])
    return total
