"""Whether something drifts over the walks: said only where the interval of the change shows it.

Each walk is one observation, so walks may differ by a luck of their own. A line is fitted through them,
weighted by what each tells, and the change from the first walk to the last has Student's t interval
(Draper & Smith, Applied Regression Analysis, 3rd ed. 1998, ch. 1 and 9). Shares are put on the arcsine of
the square root, where the variance of chance does not depend on the share (Anscombe 1948, Biometrika 35:246).
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from auditor.evidence.proportions import Floats

What = Literal["kept", "distance", "f_number", "ring", "presses"]
FEWEST_WALKS = 6
# One drift of 20 archives without any may be said in all: most of that goes to what scatters most.
FALSE = {"kept": 0.026, "distance": 0.007, "f_number": 0.003, "ring": 0.003, "presses": 0.003}
LEAST = 0.01  # change, of 1 or of 100 presses: less reads as none, and may be the rounding of a sum
# Presses whose own chance weighs as much as the luck of a walk, for the weights: sd 0.7 logit of a rate of 6
# of 100; 0.15 of log distances that scatter by 0.4.
LUCK = {"kept": 30.0, "distance": 7.0, "f_number": 0.0, "ring": 0.0, "presses": 0.0}


@dataclass(frozen=True, slots=True)
class Drift:
    """The change of one thing from the first walk to the last, along the line through all."""

    what: What
    first: float  # at either end of the line: a share, metres, an f-number or presses
    last: float
    low: float  # interval of the change: a difference of shares, else last over first
    high: float
    level: float  # of the interval
    walks: int
    shown: bool  # whether it reads as a change, and its interval leaves out none


def find_drifts(walks: pd.DataFrame) -> tuple[Drift, ...]:
    """Look for each drift in the table of :func:`auditor.evidence.walks.count_walks`."""
    share = (walks["kept"] + 0.375) / (walks["kept_of"] + 0.75)
    with np.errstate(divide="ignore"):
        series: dict[What, tuple[pd.Series, pd.Series]] = {
            "kept": (np.arcsin(np.sqrt(share)), walks["kept_of"]),
            "distance": (walks["log_distance"], walks["zone_of"]),
            "f_number": (walks["log_f_number"], walks["presses"]),
            "ring": (-np.log(walks["vergence"]), walks["presses"]),
            "presses": (np.log(walks["presses"]), walks["presses"]),
        }
    found = [_drift(what, value.to_numpy(float), n.to_numpy(float)) for what, (value, n) in series.items()]
    return tuple(one for one in found if one is not None)


def _drift(what: What, value: Floats, n: Floats) -> Drift | None:
    known = np.isfinite(value) & (n > 0)
    value, n = value[known], n[known]
    if value.size < FEWEST_WALKS:
        return None
    start, change, error = line_through(np.arange(value.size), value, n / (n + LUCK[what]))
    half = float(stdtrit(value.size - 2, 1 - FALSE[what] / 2)) * error
    low, high = change - half, change + half
    if what == "kept":

        def share(angle: float) -> float:
            return math.sin(min(max(angle, 0.0), math.pi / 2)) ** 2

        middle = start + change / 2
        first, last = share(start), share(start + change)
        least, most = (share(middle + end / 2) - share(middle - end / 2) for end in (low, high))
    else:
        first, last = math.exp(start), math.exp(start + change)
        least, most = math.exp(low), math.exp(high)
    seen = abs(last - first if what == "kept" else last / first - 1) >= LEAST
    return Drift(what, first, last, least, most, 1 - FALSE[what], value.size, seen and not low <= 0 <= high)


def line_through(place: npt.ArrayLike, value: Floats, weight: Floats) -> tuple[float, float, float]:
    """Return the line's value at the first place, its change to the last, and that change's standard error.

    Weighted least squares; the scatter about the line is what it is, not what chance alone would make.
    """
    at = np.asarray(place, dtype=float)
    middle, mean = weight @ at / weight.sum(), weight @ value / weight.sum()
    spread = weight @ (at - middle) ** 2
    slope = float(weight @ ((at - middle) * (value - mean)) / spread)
    rest = value - mean - slope * (at - middle)
    reach = float(at[-1] - at[0])
    error = math.sqrt(float(weight @ rest**2) / (at.size - 2) / spread) * reach
    return float(mean + slope * (at[0] - middle)), slope * reach, error
