"""The decision: one rule, in one order, for every lens, situation and light.

The first that holds: cannot_tell (the gate is closed, or too few subjects), not_focus, change, latitude,
keep, else cannot_tell, with what would help most. All that is said of settings is derived from this object.
"""

from __future__ import annotations

from dataclasses import dataclass
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
Help = Literal["", "distances", "verdicts", "anyone", "ring_check", "light_limits", "compare"]

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


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the rule knows besides the comparison."""

    subjects: int  # measured ones
    nothing: float  # chance that blur decides nothing
    gate_closed: bool
    verdicts: int
    rests_on: RestsOn
    worth: float  # smallest gain worth acting on, 0.1 for a tenth


def decide_by_rule(paired: Paired | None, known: Circumstances) -> Decision:
    """Apply the rule to a comparison of the settings that may be advised; None: nothing could be compared."""
    able = np.zeros(0, np.intp) if paired is None else np.flatnonzero(paired.tried)
    best = int(able[paired.share[able].argmax()]) if paired is not None and able.size else None
    helps: Help = "verdicts" if known.verdicts < VERDICTS else "distances"
    if known.gate_closed:
        return _decision(known, paired, best, "cannot_tell", "gate_closed", "ring_check")
    if paired is None or known.subjects < FEWEST_SUBJECTS:
        return _decision(known, paired, best, "cannot_tell", "few_subjects", "distances")
    if known.nothing >= NOTHING:
        return _decision(known, paired, best, "not_focus", "blur_decides_nothing")
    if best is None:
        return _decision(known, paired, best, "cannot_tell", "no_setting", helps)
    surely = able[(paired.chance_better[able] >= BETTER) & (paired.gain[able] >= 1 + known.worth)]
    if surely.size:
        chosen = int(surely[paired.share[surely].argmax()])
        rows = alike(paired, able, chosen)
        return _decision(known, paired, chosen, "change", "surely_better", latitude=rows)
    # The present setting counts as one of those that cannot be told apart.
    rows = alike(paired, able, best)
    if paired.now >= (1 - LATITUDE) * paired.share[best] and len(rows) > 1:
        return _decision(known, paired, best, "latitude", "cannot_be_told_apart", latitude=rows)
    if chance_of_any_gain(paired, able, known.worth) < UNLIKELY:
        return _decision(known, paired, best, "keep", "nothing_gains")
    return _decision(known, paired, best, "cannot_tell", "too_uncertain", helps)


def alike(paired: Paired, able: Codes, best: int) -> Codes:
    """Rows that cannot be told apart from the best and promise within 5 % of it, by their share."""
    near = able[paired.share[able] >= (1 - LATITUDE) * paired.share[best]]
    apart = chance_above(paired.draws[best], paired.draws[near], np.log1p(LATITUDE))
    rows = near[apart < BETTER]
    return np.asarray(rows[np.argsort(-paired.share[rows], kind="stable")])


def chance_of_any_gain(paired: Paired, able: Codes, worth: float) -> float:
    """Chance that any of the settings brings at least ``worth`` more than what is set now."""
    return float(chance_above(paired.draws[able].max(axis=0), paired.now_draws, float(np.log1p(worth))))


def _decision(
    known: Circumstances,
    paired: Paired | None,
    row: int | None,
    kind: Kind,
    why: Why,
    helps: Help = "",
    latitude: Codes | tuple[int, ...] = (),
) -> Decision:
    """Put a decision together, with the gain of the setting in ``row``."""

    def setting(at: int) -> Setting:
        assert paired is not None
        return Setting(float(paired.f_number[at]), float(paired.focus_distance_m[at]))

    gain = [float("nan")] * 4
    if paired is not None and row is not None:
        parts = (paired.gain, paired.gain_low, paired.gain_high, paired.chance_better)
        gain = [float(part[row]) for part in parts]
    return Decision(
        kind=kind,
        setting=setting(row) if kind == "change" and row is not None else None,
        latitude=tuple(setting(int(at)) for at in latitude),
        gain_ratio=gain[0],
        gain_low=gain[1],
        gain_high=gain[2],
        chance_better=gain[3],
        rests_on=known.rests_on,
        gate="closed" if known.gate_closed else "open",
        why=why,
        would_help_most=helps,
    )
