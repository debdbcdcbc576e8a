"""Whether people press where the ring is: then the subjects met do not speak for passers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr
from scipy.stats import rankdata

from auditor.evidence.subjects import Subjects

FEWEST = 5  # subjects of a preset that enter the test
LEVEL = 0.07  # one-sided; simulated: flagged in 7 % where presses do not follow
RARE_HITS = 0.2  # share of presses kept, below which the others stand for all


@dataclass(frozen=True, slots=True)
class FollowRing:
    """Whether they do; None, and p NaN, where fewer than two rings have enough subjects."""

    follow: bool | None
    p_value: float  # one-sided


def presses_follow_ring(subjects: Subjects) -> FollowRing:
    """Test whether distances rise from preset to preset of a lens in the order of their rings.

    Spearman's rank correlation of distance and ring, one-sided, with the t approximation (Kendall & Gibbons,
    Rank Correlation Methods, 5th ed. 1990, 4.15). Keepers stand nearer to the ring whoever was pressed at, so
    where they are few only the others enter.
    """
    unknown = FollowRing(None, float("nan"))
    own = ~subjects.anyone
    if not own.any():
        return unknown
    weight = subjects.weight[own]
    if (weight @ subjects.hit[own]) <= RARE_HITS * weight.sum():
        own &= ~subjects.hit
    counts = np.bincount(subjects.preset[own], minlength=len(subjects.presets))
    own &= counts[subjects.preset] >= FEWEST
    rings = subjects.focus_distance_m[own]
    if np.unique(np.round(1 / rings, 3)).size < 2:
        return unknown
    r = _correlation(rankdata(subjects.stated_log_m[own]), rankdata(rings))
    n = int(own.sum())
    t = r * np.sqrt((n - 2) / max(1 - r * r, 1e-12))
    p_value = float(stdtr(n - 2, -t))
    return FollowRing(p_value < LEVEL, p_value)


def _correlation(a: npt.NDArray[np.float64], b: npt.NDArray[np.float64]) -> float:
    return float(np.corrcoef(a, b)[0, 1]) if a.std() > 0 and b.std() > 0 else 0.0
