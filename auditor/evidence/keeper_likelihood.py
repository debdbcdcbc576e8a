"""How likely the keeper marks of measured subjects are, for a grid of tolerances and steepnesses.

A press at distance x with blur b is kept with chance C (phi + (1 - phi) F(b)), logit C = alpha
+ gamma (x0 - x) + log(frames) / 2: the moment decides, blur within it. Level alpha, floor phi and interest in
near subjects gamma are summed over their priors, so that people who keep 1 of 100 and people who keep 60 are
both likely. Presses drawn by mark are put right by the odds with which they were drawn (case and control:
Prentice & Pyke, Biometrika 66:403, 1979; Scott & Wild, Biometrika 84:57, 1997).
"""

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit, logsumexp

from auditor.evidence.proportions import Floats

MOST_CELLS = 300  # presses beyond this are put together where they are alike
LEVEL_CENTRE, LEVEL_SD = float(logit(0.12)), 1.5
FLOORS = expit(-1.8 + 1.8 * np.array([-1.8, -0.9, 0.0, 0.9, 1.8]))
FLOOR_WEIGHTS = np.exp(-0.5 * np.array([-1.8, -0.9, 0.0, 0.9, 1.8]) ** 2)
FLOOR_WEIGHTS = FLOOR_WEIGHTS / FLOOR_WEIGHTS.sum()
_NEAR = 0.7 * np.array([-1.6, -0.8, 0.0, 0.8, 1.6])
_NEAR_LOG = -0.5 * (_NEAR / 0.7) ** 2
_LEVELS = 11
_FINER = 5  # so many times as many levels where no sum over the grid evens them out
_BURST = 0.5  # logit for each factor e of frames


def keeper_log_likelihood(
    left: npt.NDArray[np.floating],
    hit: npt.NDArray[np.bool_],
    drawn_odds: Floats,
    log_m: Floats,
    frames: Floats,
    count: Floats,
) -> tuple[Floats, float]:
    """Return the log likelihood of the marks on the grid, shape (g, len(FLOORS)), and that with F = 1.

    ``left``, shape (n, g), is F of each press at each of g points of the grid; ``hit, drawn_odds, log_m,
    frames``, shape (n,), are those of :class:`auditor.evidence.subjects.Subjects`, ``count`` how many presses
    each row speaks for. Level and interest are summed over; the prior of the floor is not in it.
    """
    stands = count * np.exp(-drawn_odds * hit)
    rate = float(np.clip((hit * stands).sum() / stands.sum(), 0.002, 0.9))
    levels = np.linspace(logit(rate) - 1.2, min(logit(rate) + 3.6, 4.0), _LEVELS)
    middle = float(np.average(log_m, weights=count))
    tilt = _NEAR * (middle - log_m)[:, None] + _BURST * np.log(frames)[:, None]
    ceiling, weight = _ceilings(levels, tilt)
    odds = np.expm1(np.clip(drawn_odds, -12, 12)).astype(np.float32)
    by_floor = np.empty((left.shape[1], FLOORS.size))
    for place, floor in enumerate(FLOORS):
        kept = (floor + (1 - floor) * left).astype(np.float32)
        by_floor[:, place] = logsumexp(_sum_over(kept, ceiling, hit, odds, count) + weight, axis=1)
    # Where blur decides nothing, ceiling and level are one: the same levels hold the overall rate.
    ceiling, weight = _ceilings(np.linspace(levels[0], levels[-1], _FINER * (_LEVELS - 1) + 1), tilt)
    plain = _sum_over(np.ones((len(hit), 1), np.float32), ceiling, hit, odds, count)
    return by_floor, float(logsumexp(plain[0] + weight))


def _ceilings(levels: Floats, tilt: Floats) -> tuple[npt.NDArray[np.float32], Floats]:
    """Chance of each moment, shape (n, levels times interests), and the log prior of these."""
    prior = -0.5 * ((levels - LEVEL_CENTRE) / LEVEL_SD) ** 2
    weight = prior[:, None] - logsumexp(prior) + (_NEAR_LOG - logsumexp(_NEAR_LOG))
    ceiling = expit(levels[None, :, None] + tilt[:, None, :]).astype(np.float32)
    return ceiling.reshape(len(tilt), -1), weight.ravel()


def _sum_over(
    kept: npt.NDArray[np.float32],
    ceiling: npt.NDArray[np.float32],
    hit: npt.NDArray[np.bool_],
    odds: npt.NDArray[np.float32],
    count: Floats,
) -> Floats:
    """Log likelihood at each grid point and ceiling, shape (g, ceilings)."""
    total = np.zeros((kept.shape[1], ceiling.shape[1]))
    for row in range(len(hit)):
        chance = kept[row, :, None] * ceiling[row]
        seen = chance if hit[row] else 1 - chance
        total += count[row] * np.log(np.maximum(seen, 1e-9) / (1 + chance * odds[row]))
    return total


def put_alike_together(
    shares: npt.NDArray[np.float32], classes: Floats, *columns: Floats
) -> tuple[npt.NDArray[np.float32], list[Floats], Floats]:
    """Put presses together that are alike in blur and in every column; few are left as they are.

    ``shares`` (n, classes) and ``columns`` (n,), compared in steps of a quarter, come back as means of the
    groups, with the number of presses in each.
    """
    n = len(shares)
    if n <= MOST_CELLS:
        return shares, list(columns), np.ones(n)
    mean = shares @ classes
    key = np.round(np.stack([mean / 0.15, *(4 * column for column in columns)]), 0)
    _, group = np.unique(key, axis=1, return_inverse=True)
    group = group.ravel()
    count = np.bincount(group).astype(float)
    together = np.zeros((count.size, shares.shape[1]), dtype=np.float32)
    np.add.at(together, group, shares)
    means = [np.bincount(group, column) / count for column in columns]
    return (together / count[:, None]).astype(np.float32), means, count
