"""How far the subject may truly have been, given a distance that somebody guessed.

A guess scatters around the truth (classical error), so far guesses are mostly too far and near ones too near.
Each guess is therefore pulled toward the distances met at its preset before its blur is judged: with a guess
error s and true log distances spread by x, the truth is normal around m + k (guess - m), k = x²/(x² + s²),
with standard deviation s sqrt(k) (regression calibration: Carroll, Ruppert, Stefanski & Crainiceanu,
Measurement Error in Nonlinear Models, 2nd ed. 2006, ch. 4).
"""

import numpy as np
import numpy.typing as npt

from auditor.evidence.proportions import Floats

FAR_M = 60.0  # beyond this an error of a guess moves no blur, and the distances met are not learned from it
SMALLEST_TRUST = 0.1  # a guess is never dismissed altogether, however alike the distances met seem
BURSTS_FOR_SPREAD = 20.0  # weight, in bursts, of the pooled spread in the spread of one preset
BURSTS_FOR_MEAN = 2.0


def likely_log_distance(
    log_guess: Floats, error_sd: Floats, weight: Floats, group: npt.NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Return mean and standard deviation of the true log distance of each burst, shape (n,).

    ``log_guess`` is that of the guess [m], finite, ``error_sd`` its standard deviation (0: measured),
    ``group`` the preset (0, 1, ...): people press where they believe the zone to be, so each preset meets
    distances of its own.
    """
    near = log_guess < np.log(FAR_M)
    known = weight * near
    if not known.sum() > 0:
        return log_guess.copy(), np.zeros_like(log_guess)
    n_groups = int(group.max()) + 1

    def total(values: Floats) -> Floats:
        return np.bincount(group, values, minlength=n_groups).astype(float)

    size = total(known)
    overall = float(np.average(log_guess[near], weights=weight[near]))
    centre = (total(known * log_guess) + BURSTS_FOR_MEAN * overall) / (size + BURSTS_FOR_MEAN)
    squares = total(known * (log_guess - centre[group]) ** 2)
    errors = total(known * error_sd**2)
    pooled = float((squares - errors).sum() / known.sum())
    true_variance = (squares - errors + BURSTS_FOR_SPREAD * pooled) / (size + BURSTS_FOR_SPREAD)
    variance = np.maximum(true_variance, 0.0)[group]
    trust = variance / np.maximum(variance + error_sd**2, 1e-12)
    trust = np.where(error_sd > 0, np.maximum(trust, SMALLEST_TRUST), 1.0)
    trust = np.where(near, trust, 1.0)
    mean = centre[group] + trust * (log_guess - centre[group])
    return mean, np.where(near, error_sd * np.sqrt(trust), 0.0)
