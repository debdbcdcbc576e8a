"""The decision: one rule, in one order, for every lens, situation and light.

The first that holds: cannot_tell (the gate is closed, or too few subjects), not_focus, change, latitude,
keep, else cannot_tell, with what would help most. All that is said of settings is derived from this object.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from auditor.advice.paired import Paired, Setting, chance_above
from auditor.evidence.bursts import Codes
from auditor.evidence.tolerance import VERDICTS

Kind = Literal["keep", "change", "latitude", "not_focus", "cannot_tell"]
RestsOn = Literal["optics", "sharp", "keepers"]
Why = Literal[
    "few_subjects", "gate_closed", "presses_follow_ring", "blur_decides_nothing", "surely_better",
    "cannot_be_told_apart", "nothing_gains", "too_uncertain", "no_setting",
]  # fmt: skip
Help = Literal["", "distances", "verdicts", "anyone", "ring_check"]

FEWEST_SUBJECTS = 20
NOTHING = 0.75
BETTER = 0.9
LATITUDE = 0.05
UNLIKELY = 0.2


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do about one lens, situation or light."""

    kind: Kind
    setting: Setting | None  # what to set, where a change is advised
    latitude: tuple[Setting, ...]  # that cannot be told apart and promise within 5 % of the best, it first
    gain_ratio: float  # sharp presses of the best setting over those now; NaN where nothing was compared
    gain_low: float
    gain_high: float
    chance_better: float  # that the best setting makes more presses sharp
    rests_on: RestsOn  # sharp from 30 verdicts on, keepers where marks narrowed the tolerance, else optics
    gate: Literal["open", "closed"]
    why: Why
    would_help_most: Help


def decide_by_rule(
    paired: Paired | None,
    *,
    subjects: int,
    nothing: float,
    gate_closed: bool,
    verdicts: int,
    rests_on: RestsOn,
    worth: float,
    used: Setting | None = None,
) -> Decision:
    """Apply the rule to a comparison of the settings that may be advised; None: nothing could be compared.

    ``subjects`` are measured ones, ``nothing`` is the chance that blur decides nothing, ``worth`` the
    smallest gain worth acting on, 0.1 for a tenth, ``used`` the setting used most.
    """
    best = None if paired is None else paired.best_tried()
    undecided = Decision("cannot_tell", None, (), *_gain(paired, best), rests_on,
                         "closed" if gate_closed else "open", "too_uncertain",
                         "verdicts" if verdicts < VERDICTS else "distances")  # fmt: skip
    if gate_closed:
        return replace(undecided, why="gate_closed", would_help_most="ring_check")
    if paired is None or subjects < FEWEST_SUBJECTS:
        return replace(undecided, why="few_subjects", would_help_most="distances")
    if nothing >= NOTHING:
        return replace(undecided, kind="not_focus", why="blur_decides_nothing", would_help_most="")
    if best is None:
        return replace(undecided, why="no_setting")
    decided, able = replace(undecided, would_help_most=""), np.flatnonzero(paired.tried)
    surely = able[(paired.chance_better[able] >= BETTER) & (paired.gain[able] >= 1 + worth)]
    if surely.size:
        chosen = int(surely[paired.share[surely].argmax()])
        as_good = alike(paired, able, chosen)
        for row, one in ((row, paired.setting(row)) for row in surely):
            # Of settings as good as the best, the one that is used most changes least.
            if used and used.is_at(one.f_number, one.focus_distance_m) and one in as_good:
                chosen = int(row)
        gain, low, high, chance = _gain(paired, chosen)
        return replace(
            decided, kind="change", setting=paired.setting(chosen), latitude=as_good, gain_ratio=gain,
            gain_low=low, gain_high=high, chance_better=chance, why="surely_better",
        )  # fmt: skip
    # The present setting counts as one of those that cannot be told apart.
    settings = alike(paired, able, best)
    if paired.now >= (1 - LATITUDE) * paired.share[best] and len(settings) > 1:
        return replace(decided, kind="latitude", latitude=settings, why="cannot_be_told_apart")
    if chance_of_any_gain(paired, able, worth) < UNLIKELY:
        return replace(decided, kind="keep", why="nothing_gains")
    return undecided


def alike(paired: Paired, able: Codes, best: int) -> tuple[Setting, ...]:
    """Settings that cannot be told apart from the best and promise within 5 % of it, by their share."""
    near = able[paired.share[able] >= (1 - LATITUDE) * paired.share[best]]
    apart = chance_above(paired.draws[best], paired.draws[near], np.log1p(LATITUDE))
    rows = near[apart < BETTER]
    return tuple(paired.setting(row) for row in rows[np.argsort(-paired.share[rows], kind="stable")])


def chance_of_any_gain(paired: Paired, able: Codes, worth: float) -> float:
    """Chance that any of the settings brings at least ``worth`` more than what is set now."""
    return float(chance_above(paired.draws[able].max(axis=0), paired.now_draws, float(np.log1p(worth))))


def _gain(paired: Paired | None, row: int | None) -> tuple[float, float, float, float]:
    """Gain of a setting with its interval, and the chance that it is better; NaN without one."""
    if paired is None or row is None:
        return (float("nan"),) * 4
    parts = (paired.gain, paired.gain_low, paired.gain_high, paired.chance_better)
    gain, low, high, chance = (float(part[row]) for part in parts)
    return gain, low, high, chance
