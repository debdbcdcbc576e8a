"""Whether an archive can speak: its counts agree with what is predicted, and presses do not follow the ring.

Where the counts of some preset clash with its prediction nothing is advised; where people press where the
ring is, the subjects met do not speak for passers.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from scipy.special import bdtr

from auditor.advice.paired import sharp_as_taken
from auditor.evidence.blur_tolerance import LAPSE, Tolerances
from auditor.evidence.bursts import count_presses
from auditor.evidence.level import SPREADS, Level
from auditor.evidence.proportions import Floats
from auditor.evidence.subjects import Subjects
from auditor.frames import equal_as_one

LEVEL = 0.02
APART = 0.2
FEWEST = 5  # subjects with a distance, or verdicts, that a preset needs to enter a test
FOLLOW_LEVEL = 0.07  # one-sided; simulated: flagged in 7 % where presses do not follow
RARE_HITS = 0.2  # share of presses kept, below which the others stand for all
BLOCK = 8_000  # subjects whose draws are in memory at one time
NEAR_SD = 0.7  # interest in near subjects, logit for each factor e: prior of the model


@dataclass(frozen=True, slots=True)
class PresetGate:
    """One preset's counts beside what was predicted for it."""

    preset: str
    by: Literal["keepers", "sharp"]
    counted: int  # presses kept, or judged sharp
    presses: int
    predicted: float
    p_value: float  # two-sided, put right for the number of presets (Holm, Scand. J. Stat. 6:65, 1979)
    clashes: bool = False


def check_gate(
    frames: pd.DataFrame,
    subjects: Subjects,
    tolerances: Tolerances,
    level: Level,
    speed_m_s: float,
    seed: int = 0,
) -> tuple[PresetGate, ...]:
    """Hold the predictions of the presets in use against their counts.

    Kept presses are shared out among presets as their own distances, light and walks say, given how many were
    kept in all; sharp verdicts are held against the sharpness predicted for the judged subjects.

    ``frames`` are the counted, zone-focused ones of one lens, ``subjects`` and ``tolerances`` its own; the
    spread between sessions is that of ``level``. Reads ``session, burst, preset, counted_as``.
    """
    rng = np.random.default_rng(seed)
    found = _by_keepers(frames, subjects, tolerances, level, speed_m_s, rng)
    found += _by_verdicts(subjects, tolerances, speed_m_s)
    adjusted = _holm(np.array([one.p_value for one in found])).tolist()
    return tuple(
        replace(
            one, p_value=p, clashes=p < LEVEL and abs(one.counted - one.predicted) > APART * one.predicted
        )
        for one, p in zip(found, adjusted, strict=True)
    )


def presses_follow_ring(subjects: Subjects) -> bool | None:
    """Test whether distances rise from preset to preset of a lens in the order of their rings.

    Spearman's rank correlation of distance and ring, one-sided, with the t approximation (Kendall & Gibbons,
    Rank Correlation Methods, 5th ed. 1990, 4.15). Keepers stand nearer to the ring whoever was pressed at, so
    where they are few only the others enter. None where fewer than two rings have enough subjects.
    """
    own = ~subjects.anyone
    if not own.any():
        return None
    marked = subjects.chosen(own).marked
    if (marked.weight @ marked.hit) <= RARE_HITS * marked.weight.sum():
        own &= ~subjects.hit
    counts = np.bincount(subjects.preset[own], minlength=len(subjects.presets))
    own &= counts[subjects.preset] >= FEWEST
    rings = subjects.focus_distance_m[own]
    if np.unique(np.round(1 / rings, 3)).size < 2:
        return None
    distances = subjects.stated_log_m[own]
    if np.ptp(distances) == 0:
        return False
    from scipy.stats import spearmanr  # scipy.stats is slow to import

    return bool(spearmanr(distances, rings, alternative="greater").pvalue < FOLLOW_LEVEL)


def _by_keepers(
    frames: pd.DataFrame,
    subjects: Subjects,
    tolerances: Tolerances,
    level: Level,
    speed_m_s: float,
    rng: np.random.Generator,
) -> list[PresetGate]:
    (hit, session, first), subjects = count_presses(frames), subjects.marked
    name = equal_as_one(frames["preset"].fillna(""))[first]
    measured = np.bincount(subjects.preset, minlength=len(subjects.presets)) >= FEWEST
    names = [n for n, enough in zip(subjects.presets, measured, strict=True) if enough and (name == n).any()]
    if len(names) < 2:
        return []
    draws = tolerances.floor.size
    near = NEAR_SD * rng.standard_normal(draws)
    middle = np.average(subjects.log_m, weights=subjects.weight)
    expected, whole = np.zeros((2, len(subjects.presets), draws))
    for start in range(0, len(subjects), BLOCK):
        own = subjects.chosen(slice(start, start + BLOCK))
        left = sharp_as_taken(own, tolerances, speed_m_s, keep=True)
        weight = rng.standard_exponential(left.shape)
        weight *= own.weight[:, None]
        share = weight * (tolerances.floor + (1 - tolerances.floor) * left)
        share *= np.exp(-np.outer(own.log_m - middle, near))
        for code in np.unique(own.preset):
            expected[code] += share[own.preset == code].sum(axis=0)
            whole[code] += weight[own.preset == code].sum(axis=0)
    sigma = rng.choice(SPREADS, draws, p=np.exp(level.log_posterior).sum(axis=0))
    luck = np.exp(sigma * rng.standard_normal((int(session.max()) + 1, draws)))
    presses, counted, rate = [], [], []
    for one in names:
        code, rows = subjects.presets.index(one), name == one
        walks = np.bincount(session[rows], minlength=len(luck)) / rows.sum()
        presses.append(int(rows.sum()))
        counted.append(int(hit[rows].sum()))
        rate.append(expected[code] / whole[code] * (walks @ luck))
    part = np.array(presses)[:, None] * np.array(rate)
    part = part / part.sum(axis=0)
    total = sum(counted)
    return [
        PresetGate(one, "keepers", kept, n, float(total * own.mean()), _two_sided(kept, total, own))
        for one, kept, n, own in zip(names, counted, presses, part, strict=True)
    ]


def _by_verdicts(subjects: Subjects, tolerances: Tolerances, speed_m_s: float) -> list[PresetGate]:
    judged = np.isfinite(subjects.verdict)
    if not judged.any():
        return []
    own = subjects.chosen(judged)
    chance = LAPSE + (1 - 2 * LAPSE) * sharp_as_taken(own, tolerances, speed_m_s)
    rows = []
    for code, name in enumerate(own.presets):
        here = own.preset == code
        n, yes = int(here.sum()), int(own.verdict[here].sum())
        if n >= FEWEST:
            p = _two_sided(yes, n, chance[here].mean(axis=0))
            rows.append(PresetGate(name, "sharp", yes, n, float(chance[here].sum(axis=0).mean()), p))
    return rows


def _two_sided(counted: int, total: int, chance: Floats) -> float:
    """Two-sided predictive p-value, each tail with half of what equals the count, at most 1."""
    chance = np.clip(np.asarray(chance, dtype=float), 1e-9, 1 - 1e-9)
    below = float(bdtr(counted - 1, total, chance).mean()) if counted else 0.0
    at_most = float(bdtr(counted, total, chance).mean())
    middle = (below + at_most) / 2
    return min(1.0, 2 * min(middle, 1 - middle))


def _holm(p_values: Floats) -> Floats:
    n = p_values.size
    order = np.argsort(p_values)
    adjusted = np.maximum.accumulate((n - np.arange(n)) * p_values[order])
    result = np.empty(n)
    result[order] = np.minimum(adjusted, 1.0)
    return result
