"""Whether people press where the ring is: then the subjects met do not speak for passers."""

from __future__ import annotations

import numpy as np
from scipy.stats import spearmanr

from auditor.evidence.subjects import Subjects

FEWEST = 5  # subjects of a preset that enter the test
LEVEL = 0.07  # one-sided; simulated: flagged in 7 % where presses do not follow
RARE_HITS = 0.2  # share of presses kept, below which the others stand for all


def presses_follow_ring(subjects: Subjects) -> bool | None:
    """Test whether distances rise from preset to preset of a lens in the order of their rings.

    Spearman's rank correlation of distance and ring, one-sided, with the t approximation (Kendall & Gibbons,
    Rank Correlation Methods, 5th ed. 1990, 4.15). Keepers stand nearer to the ring whoever was pressed at, so
    where they are few only the others enter. None where fewer than two rings have enough subjects.
    """
    own = ~subjects.anyone
    if not own.any():
        return None
    weight = subjects.weight[own]
    if (weight @ subjects.hit[own]) <= RARE_HITS * weight.sum():
        own &= ~subjects.hit
    counts = np.bincount(subjects.preset[own], minlength=len(subjects.presets))
    own &= counts[subjects.preset] >= FEWEST
    rings = subjects.focus_distance_m[own]
    if np.unique(np.round(1 / rings, 3)).size < 2:
        return None
    distances = subjects.stated_log_m[own]
    if np.ptp(distances) == 0:
        return False
    return bool(spearmanr(distances, rings, alternative="greater").pvalue < LEVEL)
