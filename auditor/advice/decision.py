"""The decision: one rule, in one order, for every lens, situation and light.

The first that holds: cannot_tell (the gate is closed, or too few subjects), not_focus, change, latitude,
keep, else cannot_tell, with what would help most. Everything told of settings is derived from this object.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from auditor.advice.paired import Paired, Setting, chance_above
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
    """What to do about one lens, situation or light.

    Attributes
    ----------
    kind : str
        ``keep``, ``change``, ``latitude``, ``not_focus`` or ``cannot_tell``.
    setting : Setting or None
        What to set, where a change is advised.
    latitude : tuple of Setting
        Settings that cannot be told apart and promise within 5 % of the best, the best first.
    gain_ratio, gain_low, gain_high : float
        Sharp presses of the best setting over those now; NaN where nothing could be compared.
    chance_better : float
        Chance that the best setting makes more presses sharp.
    rests_on : str
        ``sharp`` from 30 verdicts on, ``keepers`` where marks narrowed the tolerance, else ``optics``.
    gate : {"open", "closed"}
    why, would_help_most : str
        One word each (see ``Why`` and ``Help``).
    """

    kind: Kind
    setting: Setting | None
    latitude: tuple[Setting, ...]
    gain_ratio: float
    gain_low: float
    gain_high: float
    chance_better: float
    rests_on: RestsOn
    gate: Literal["open", "closed"]
    why: Why
    would_help_most: Help


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the rule knows besides the comparison.

    Attributes
    ----------
    subjects : int
        Measured subjects.
    nothing : float
        Chance that blur decides nothing.
    gate_closed : bool
    verdicts : int
    rests_on : str
    worth : float
        Smallest gain worth acting on, 0.1 for a tenth.
    """

    subjects: int
    nothing: float
    gate_closed: bool
    verdicts: int
    rests_on: RestsOn
    worth: float


def decide_by_rule(paired: Paired | None, known: Circumstances) -> Decision:
    """Apply the rule to a comparison.

    Parameters
    ----------
    paired : Paired or None
        Of the settings that may be advised; None where nothing could be compared.
    known : Circumstances
    """
    helps = _most_helpful(known)
    if known.gate_closed:
        return _without(known, paired, "cannot_tell", "gate_closed", "ring_check")
    if paired is None or known.subjects < FEWEST_SUBJECTS:
        return _without(known, paired, "cannot_tell", "few_subjects", "distances")
    if known.nothing >= NOTHING:
        return _without(known, paired, "not_focus", "blur_decides_nothing", "")
    able = np.flatnonzero(paired.tried)
    if not able.size:
        return _without(known, paired, "cannot_tell", "no_setting", helps)
    best = int(able[paired.share[able].argmax()])
    surely = able[(paired.chance_better[able] >= BETTER) & (paired.gain[able] >= 1 + known.worth)]
    if surely.size:
        chosen = int(surely[paired.share[surely].argmax()])
        return _told(known, paired, chosen, able, "change", "surely_better", "")
    # The present setting counts as one of those that cannot be told apart.
    if paired.now >= (1 - LATITUDE) * paired.share[best] and len(alike(paired, able, best)) > 1:
        return _told(known, paired, best, able, "latitude", "cannot_be_told_apart", "")
    if chance_of_any_gain(paired, able, known.worth) < UNLIKELY:
        return _told(known, paired, best, able, "keep", "nothing_gains", "")
    return _told(known, paired, best, able, "cannot_tell", "too_uncertain", helps)


def alike(paired: Paired, able: npt.NDArray[np.intp], best: int) -> npt.NDArray[np.intp]:
    """Rows that cannot be told apart from the best and promise within 5 % of it, by their share."""
    near = able[paired.share[able] >= (1 - LATITUDE) * paired.share[best]]
    apart = chance_above(paired.draws[best], paired.draws[near], np.log1p(LATITUDE))
    rows = near[apart < BETTER]
    return np.asarray(rows[np.argsort(-paired.share[rows], kind="stable")])


def chance_of_any_gain(paired: Paired, able: npt.NDArray[np.intp], worth: float) -> float:
    """Chance that any of the settings brings at least ``worth`` more than what is set now."""
    return float(chance_above(paired.draws[able].max(axis=0), paired.now_draws, float(np.log1p(worth))))


def _most_helpful(known: Circumstances) -> Help:
    return "verdicts" if known.verdicts < VERDICTS else "distances"


def _without(
    known: Circumstances,
    paired: Paired | None,
    kind: Kind,
    why: Why,
    helps: Help,
) -> Decision:
    able = np.zeros(0, np.intp) if paired is None else np.flatnonzero(paired.tried)
    gain = (float("nan"),) * 4
    if paired is not None and able.size:
        best = int(able[paired.share[able].argmax()])
        gain = _gain(paired, best)
    return Decision(
        kind=kind,
        setting=None,
        latitude=(),
        gain_ratio=gain[0],
        gain_low=gain[1],
        gain_high=gain[2],
        chance_better=gain[3],
        rests_on=known.rests_on,
        gate="closed" if known.gate_closed else "open",
        why=why,
        would_help_most=helps,
    )


def _told(
    known: Circumstances,
    paired: Paired,
    row: int,
    able: npt.NDArray[np.intp],
    kind: Kind,
    why: Why,
    helps: Help,
) -> Decision:
    gain = _gain(paired, row)
    rows = alike(paired, able, row) if kind in ("latitude", "change") else np.zeros(0, np.intp)
    return Decision(
        kind=kind,
        setting=_setting(paired, row) if kind == "change" else None,
        latitude=tuple(_setting(paired, int(r)) for r in rows),
        gain_ratio=gain[0],
        gain_low=gain[1],
        gain_high=gain[2],
        chance_better=gain[3],
        rests_on=known.rests_on,
        gate="open",
        why=why,
        would_help_most=helps,
    )


def _gain(paired: Paired, row: int) -> tuple[float, float, float, float]:
    return (
        float(paired.gain[row]),
        float(paired.gain_low[row]),
        float(paired.gain_high[row]),
        float(paired.chance_better[row]),
    )


def _setting(paired: Paired, row: int) -> Setting:
    return Setting(float(paired.f_number[row]), float(paired.focus_distance_m[row]))
