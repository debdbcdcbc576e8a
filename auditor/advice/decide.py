"""All of it in order: frame table to one decision for each lens, its situations and its light."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.advice.at_another_stop import LightAnswer, light_answers
from auditor.advice.decision import Decision, decide_by_rule
from auditor.advice.gate import check_gate, presses_follow_ring
from auditor.advice.lens_decision import Decisions, LensDecision, Situation, SubjectsStatement, WalkWorth
from auditor.advice.light_kinds import KINDS, kind_index
from auditor.advice.paired import (
    MOST_SUBJECTS,
    Chances,
    Habit,
    Paired,
    Setting,
    compare_settings,
    with_habit,
    work_out_chances,
)
from auditor.advice.ring_settings import settings_on_ring
from auditor.advice.valued import best_by_stop, value_settings
from auditor.evidence.blur_tolerance import Tolerances, fit_tolerances
from auditor.evidence.bursts import zone_focused
from auditor.evidence.level import Level, fit_level, session_counts
from auditor.evidence.sharpness import verdicts_reversed
from auditor.evidence.subjects import Subjects, gather_subjects, lens_codes
from auditor.evidence.tolerance import FEW_VERDICTS, VERDICTS, VERDICTS_REVERSED
from auditor.intake.statements.lens_rule import find_lens
from auditor.intake.statements.session import Lens
from auditor.settings import Settings

ENOUGH_ANYONE = 20  # distances of a stretch pressed at anyone that stand for passers
NARROWED_SD = 0.45  # posterior of log tolerance below which keepers have narrowed it
WALK_WORTH = 0.05  # a further walk is proposed where it can be expected to bring this much more
PRESSES_FOLLOW_RING = "presses_follow_ring"
LIMITS_INFERRED = "limits_inferred"
_COUNTED = ["session", "burst", "preset", "in_preset", "counted_as", "sharp", "blur_mm"]
_SET = ["lens", "focal_length_mm", "f_number", "focus_distance_m", "exposure_time_s", "iso", "coc_mm"]


def decide(frames: pd.DataFrame, lenses: Sequence[Lens], settings: Settings, *, seed: int = 0) -> Decisions:
    """Decide for every lens of an archive.

    ``frames`` are those of :func:`auditor.evidence.subjects.frames_met`, ``lenses`` is what session files say
    of them, ``seed`` that of the draws. Reads what ``gather_subjects`` reads, and ``blur_mm``.
    """
    if not len(frames):
        return Decisions(())
    subjects = gather_subjects(frames, settings)
    codes, names = lens_codes(frames)
    fits = fit_tolerances(subjects, settings.speed_m_s, settings.confidence, seed)
    order = np.argsort(-np.bincount(codes), kind="stable")
    decided = []
    for code in order:
        own = frames.loc[codes == code, _COUNTED + _SET].reset_index(drop=True)
        met = subjects.chosen(subjects.lens == code)
        decided.append(_Lens(names[code], own, met, fits[code], lenses, settings, seed).decided())
    return Decisions(tuple(decided))


class _Lens:
    """One lens on its way to a decision."""

    def __init__(
        self,
        name: str,
        frames: pd.DataFrame,
        subjects: Subjects,
        tolerances: Tolerances,
        lenses: Sequence[Lens],
        settings: Settings,
        seed: int,
    ) -> None:
        self.name, self.frames, self.settings, self.seed = name, frames, settings, seed
        self.tolerances, self.met = tolerances, subjects
        self.focal_mm = float(frames["focal_length_mm"].median())
        own = frames["lens"].iloc[0]
        entry = find_lens(lenses, own if isinstance(own, str) else None, self.focal_mm)
        self.number, self.focus = settings_on_ring(frames, entry, settings)
        self.answers: tuple[LightAnswer, ...] = light_answers(frames, settings)
        self.follow = presses_follow_ring(subjects)
        self.of_passers = int(subjects.anyone.sum()) >= ENOUGH_ANYONE
        self.spoken = subjects.anyone if self.of_passers else np.ones(len(subjects), dtype=bool)
        self.subjects = subjects.chosen(self.spoken)
        self.habit = _habit(frames)
        self.used = self.habit[0][0] if self.habit else None
        self.sharp, self.keep = self.work_out_chances()

    def work_out_chances(self) -> tuple[Chances | None, Chances | None]:
        """Chances of all subjects for both eyes, where they are few enough to be put through as they are."""
        if not 0 < len(self.met) <= MOST_SUBJECTS or not self.number.size:
            return None, None
        every = with_habit(self.number, self.focus, self.habit if self.of_passers or self.follow else ())
        rng, fitted = np.random.default_rng(self.seed), self.tolerances
        sharp, keep = work_out_chances(
            self.met, fitted, *every, self.answers, self.settings.speed_m_s, rng,
            fitted.log_sharp, fitted.log_keep,
        )  # fmt: skip
        return sharp, keep

    def decided(self) -> LensDecision:
        counted = zone_focused(self.frames[_COUNTED])
        level = fit_level(*session_counts(counted), self.settings.confidence)
        gates = check_gate(counted, self.met, self.tolerances, level, self.settings.speed_m_s, self.seed)
        contrary = verdicts_reversed(self.frames)
        closed = contrary or any(gate.clashes for gate in gates)
        flagged = bool(self.follow) and not self.of_passers
        paired = self.compare(self.subjects, self.spoken, mixed=self.of_passers)
        pooled = self.pooled(closed) if flagged else None
        decision = self.rule(paired, self.subjects, closed, pooled, self.used)
        settings, stops = self.value(paired, level)
        return LensDecision(
            lens=self.name, focal_length_mm=self.focal_mm, tolerances=self.tolerances, measured=len(self.met),
            subjects=self.state(self.subjects, paired, decision), paired=paired, settings=settings,
            stops=stops, decision=decision, level=level,
            situations=self.situations(closed, pooled, decision.setting or self.used),
            next_walk=level.next_walk() if level.presses else None,
            walk_worth=_worth_of_walk(paired, decision, flagged=flagged), gates=gates, habit=self.habit,
            flags=self.flags(flagged=flagged, contrary=contrary),
        )  # fmt: skip

    def value(self, paired: Paired | None, level: Level) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Every setting with what it should bring, and every stop; without rows where none was compared."""
        kept = self.compare(self.subjects, self.spoken, mixed=self.of_passers, keep=True)
        if paired is None or kept is None:
            return pd.DataFrame(), pd.DataFrame()
        coc_mm, met, answer = float(self.frames["coc_mm"].median()), self.subjects, self.answers[0]
        valued = value_settings(paired, kept, level, met, answer, coc_mm, self.settings.confidence)
        return valued, best_by_stop(valued, met, self.tolerances, answer, self.settings.speed_m_s)

    def compare(
        self, subjects: Subjects, rows: npt.NDArray[np.bool_], *, mixed: bool, keep: bool = False
    ) -> Paired | None:
        """Candidates on these subjects; ``mixed``: now is the habit's mixture, not what each was met with."""
        if not len(subjects) or not self.number.size:
            return None
        chances = self.keep if keep else self.sharp
        return compare_settings(
            subjects, self.tolerances, self.number, self.focus, self.answers, self.settings.speed_m_s,
            habit=self.habit if mixed else (), keep=keep, confidence=self.settings.confidence,
            seed=self.seed, chances=chances.chosen(rows) if chances is not None else None,
        )  # fmt: skip

    def rule(
        self, paired: Paired | None, subjects: Subjects, gate_closed: bool, pooled: Decision | None,
        used: Setting | None = None,
    ) -> Decision:  # fmt: skip
        """Apply the rule; a decision from distances that follow the ring must be that of the pooled ones."""
        verdicts, kept = self.tolerances.sharp.count, self.tolerances.keep.count
        narrowed = self.tolerances.sharp_sd <= NARROWED_SD
        own = decide_by_rule(
            paired, subjects=len(subjects), nothing=self.tolerances.nothing, gate_closed=gate_closed,
            verdicts=verdicts, worth=self.settings.worth, used=used,
            rests_on="sharp" if verdicts >= VERDICTS else "keepers" if narrowed and kept else "optics",
        )  # fmt: skip
        same = pooled is None or (own.kind, own.setting) == (pooled.kind, pooled.setting)
        if same or own.kind in ("cannot_tell", "not_focus"):
            return own
        return replace(
            own, kind="cannot_tell", setting=None, latitude=(),
            why="presses_follow_ring", would_help_most="anyone",
        )  # fmt: skip

    def pooled(self, closed: bool) -> Decision:
        """The decision on all distances of the lens, each preset counted equally, now being the habit."""
        weight = self.subjects.weight.copy()
        for code in np.unique(self.subjects.preset):
            own = self.subjects.preset == code
            weight[own] /= weight[own].sum()
        equal = replace(self.subjects, weight=weight)
        return self.rule(self.compare(equal, self.spoken, mixed=True), equal, closed, None, self.used)

    def situations(
        self, closed: bool, pooled: Decision | None, of_lens: Setting | None
    ) -> tuple[Situation, ...]:
        """The decision for each preset where several settings are in use, and for each light that counts.

        What is set for the whole lens, ``of_lens``, holds wherever it is as good.
        """
        met = self.met
        parts: list[tuple[str | None, str | None, npt.NDArray[np.bool_]]] = []
        if len(self.habit) > 1:
            used = self.frames["preset"].fillna("").value_counts().index
            parts = [
                (str(name), None, met.preset == met.presets.index(name))
                for name in used
                if name in met.presets
            ]
        lit = [(light.name, kind_index(met.ev) == place) for place, light in enumerate(KINDS)]
        lit = [(light, own) for light, own in lit if own.sum() >= ENOUGH_ANYONE]
        if len(lit) > 1:
            parts += [(None, light, own) for light, own in lit]
        found = []
        for preset, light, own in parts:
            subjects = met.chosen(own)
            paired = self.compare(subjects, own, mixed=False)
            decision = self.rule(paired, subjects, closed, pooled, of_lens)
            found.append(Situation(preset, light, decision, self.state(subjects, paired, decision), paired))
        return tuple(found)

    def state(self, subjects: Subjects, paired: Paired | None, decision: Decision) -> SubjectsStatement:
        of_passers = self.of_passers and subjects is self.subjects
        follow = None if of_passers else self.follow
        now = best = (float("nan"),) * 3
        if paired is not None:
            now = paired.now, paired.now_low, paired.now_high
            row = _row_of(paired, decision.setting)
            if row is not None:
                best = float(paired.share[row]), float(paired.low[row]), float(paired.high[row])
        return SubjectsStatement(len(subjects), subjects.effective, *now, *best, follow, of_passers)

    def flags(self, *, flagged: bool, contrary: bool) -> tuple[str, ...]:
        holds = {
            PRESSES_FOLLOW_RING: flagged,
            VERDICTS_REVERSED: contrary,
            FEW_VERDICTS: self.tolerances.sharp.count < VERDICTS,
            LIMITS_INFERRED: len(self.answers) > 1,
        }
        return tuple(name for name, does in holds.items() if does)


def _habit(frames: pd.DataFrame) -> Habit:
    """Settings in use with their share of the presses; equal settings pool whatever they are called."""
    setting = ["f_number", "focus_distance_m"]
    press = frames.loc[~frames.duplicated(["session", "burst", "preset"]), setting]
    kinds = press.groupby(setting, sort=False).size().sort_values(ascending=False)
    total = max(float(kinds.sum()), 1.0)
    return tuple((Setting(float(n), float(focus)), float(size) / total) for (n, focus), size in kinds.items())


def _row_of(paired: Paired, setting: Setting | None) -> int | None:
    if setting is not None:
        same = (paired.f_number == setting.f_number) & (paired.focus_distance_m == setting.focus_distance_m)
        return int(np.flatnonzero(same)[0])
    return paired.best_tried()


def _worth_of_walk(paired: Paired | None, decision: Decision, *, flagged: bool) -> WalkWorth:
    """What knowing the tolerance and the subjects exactly would bring, at most (value of information)."""
    if flagged:
        return WalkWorth("anyone", float("nan"))
    if paired is None or not paired.tried.any() or decision.kind in ("not_focus", "latitude", "keep"):
        return WalkWorth("nothing", 0.0)
    informed = np.maximum(paired.draws[paired.tried].max(axis=0), paired.now_draws).mean()
    row = _row_of(paired, decision.setting)
    acting = paired.share[row] if decision.kind == "change" and row is not None else paired.now
    gain = float(informed / max(acting, 1e-4) - 1)
    return WalkWorth("compare" if gain >= WALK_WORTH else "nothing", gain)
