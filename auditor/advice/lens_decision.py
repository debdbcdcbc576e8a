"""What is decided of an archive: a frozen object for each lens."""

from dataclasses import dataclass

import pandas as pd

from auditor.advice.decision import Decision
from auditor.advice.gate import PresetGate
from auditor.advice.paired import Habit, Paired
from auditor.evidence.blur_tolerance import Tolerances
from auditor.evidence.level import Level, NextWalk


@dataclass(frozen=True, slots=True)
class SubjectsStatement:
    """Of 100 subjects pressed at: shares sharp as it was set, and at the best setting."""

    n: int  # measured subjects
    n_effective: float
    share_now: float
    now_low: float
    now_high: float
    share_best: float  # of the setting in the decision, else the best that may be advised; NaN without one
    low: float
    high: float
    presses_follow_ring: bool | None  # True: these shares speak of those pressed at, not of passers
    of_passers: bool  # whether the subjects come from a stretch pressed at anyone


@dataclass(frozen=True, slots=True)
class Situation:
    """The decision for one preset in use, or for one kind of light."""

    preset: str | None
    light: str | None
    decision: Decision
    subjects: SubjectsStatement
    paired: Paired | None


@dataclass(frozen=True, slots=True)
class WalkWorth:
    """What a further walk is for: ``compare`` two settings, press at ``anyone``, or ``nothing`` to test."""

    purpose: str
    expected_gain: float


@dataclass(frozen=True, slots=True)
class LensDecision:
    """Everything that is said of one lens."""

    lens: str
    focal_length_mm: float
    tolerances: Tolerances
    measured: int  # presses with a distance, whoever was pressed at
    subjects: SubjectsStatement
    paired: Paired | None  # every setting that may be advised, with its shares
    settings: pd.DataFrame  # the same with zones, exposures and hit rates, the best first
    stops: pd.DataFrame  # each f-number at its best engraving; both see :mod:`auditor.advice.valued`
    decision: Decision
    situations: tuple[Situation, ...]  # by preset, the most used first; then by light, where several count
    level: Level
    next_walk: NextWalk | None  # None where nothing was counted
    walk_worth: WalkWorth
    gates: tuple[PresetGate, ...]
    habit: Habit
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Decisions:
    """One decision for each lens, the most used first."""

    lenses: tuple[LensDecision, ...]

    def of(self, lens: str) -> LensDecision | None:
        """The decision for a lens, by its name."""
        return next((one for one in self.lenses if one.lens.casefold() == lens.strip().casefold()), None)
