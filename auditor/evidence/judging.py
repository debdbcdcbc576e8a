"""How well a photographer judges distance by eye: guesses made before measuring, against the measures."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FEWEST_GUESSES = 10  # from which the spread replaces the assumed one
LEAST_SD = 0.03  # nobody's eye is credited with less (estimate, no source)


@dataclass(frozen=True, slots=True)
class Judging:
    """Guesses against measures, in logarithms of distance.

    ``guess_sd`` is bias and spread together, because guesses are used as they were made.
    """

    guesses: int  # pairs of a guess and a measure
    bias: float  # median of log(guess / measure): below zero the guess is short; NaN without a pair
    spread: float  # robust standard deviation, the measures' own error taken off; NaN below two
    guess_sd: float | None  # relative, in place of the assumed one; None below FEWEST_GUESSES pairs


def judge_guesses(
    guess_m: npt.ArrayLike, measured_m: npt.ArrayLike, measured_rel_sd: npt.ArrayLike
) -> Judging:
    """Hold guesses against measures [m] of shape (n,), with the relative standard deviation of the measures.

    A pair with an unknown or infinite side is passed over. The spread is 1.4826 times the median absolute
    deviation (Hampel 1974, JASA 69:383), the mean square of the measures' own errors taken off.

    >>> found = judge_guesses([2.0, 2.2, 1.8], [2.0, 2.0, 2.0], 0.0)
    >>> found.guesses, round(found.bias, 3), round(found.spread, 3), found.guess_sd
    (3, 0.0, 0.141, None)
    """
    guess, measured, own = np.broadcast_arrays(
        *(np.asarray(value, dtype="float64") for value in (guess_m, measured_m, measured_rel_sd))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.log(guess / measured)
    known = np.isfinite(error) & np.isfinite(own)
    error, own = error[known], own[known]
    n = len(error)
    bias = float(np.median(error)) if n else math.nan
    if n < 2:
        return Judging(n, bias, math.nan, None)
    seen = 1.4826 * float(np.median(np.abs(error - bias)))
    spread = math.sqrt(max(seen**2 - float(np.mean(own**2)), LEAST_SD**2))
    guess_sd = math.hypot(bias, spread) if n >= FEWEST_GUESSES else None
    return Judging(n, bias, spread, guess_sd)
