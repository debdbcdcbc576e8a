"""The next walk as an experiment: which settings to alternate, or whom to press at, so as to learn what would help.

What it is for is part of the decision (:class:`auditor.advice.decide.WalkWorth`): to compare the present setting
with the one that promises most, or to press at anyone where presses follow the ring. Where nothing is to be
tested there is no experiment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.advice.decide import LensDecision
from auditor.advice.paired import Setting
from auditor.intake.statements.session import Lens

PRESSES = 60  # of a usual walk
BLOCK = 15  # presses after which to change over: about every quarter of an hour of walking
SAME = 0.02  # relative: two settings of ring and stop this near are one


@dataclass(frozen=True, slots=True)
class Block:
    """A part of the walk: so many presses at one preset."""

    preset: str
    presses: int


@dataclass(frozen=True, slots=True)
class Experiment:
    """The next walk.

    Attributes
    ----------
    lens : str
    focal_length_mm : float
    f_stops, ring_m : tuple of float
        What the lens can be set to, as far as a session file says; empty otherwise.
    purpose : {"compare", "anyone"}
        To compare settings, or to press at anyone without regard for the zone.
    presets : dict of str to Setting
        Settings to use, each under the name that it has already, if it has one.
    blocks : tuple of Block
        In order; no preset always has the better light.
    expected_gain : float
        What deciding after it should bring at most, as a share; NaN where it cannot be known.
    """

    lens: str
    focal_length_mm: float
    f_stops: tuple[float, ...]
    ring_m: tuple[float, ...]
    purpose: str
    presets: dict[str, Setting]
    blocks: tuple[Block, ...]
    expected_gain: float

    @property
    def presses(self) -> int:
        """Presses of the whole walk."""
        return sum(block.presses for block in self.blocks)


def propose_experiment(
    told: LensDecision, presets: pd.DataFrame, lens: Lens | None, presses: int = PRESSES
) -> Experiment | None:
    """Propose the next walk with a lens; None where nothing is to be tested.

    Parameters
    ----------
    told : LensDecision
    presets : pandas.DataFrame
        Of the archive, with ``preset``, ``focal_length_mm``, ``f_number`` and ``focus_distance_m``: equal
        settings are called what they are called already.
    lens : Lens, optional
        What a session file says of it.
    presses : int
    """
    purpose = told.walk_worth.purpose
    if purpose == "nothing" or not told.habit:
        return None
    chosen = [told.habit[0][0]]
    if purpose == "compare" and told.paired is not None and told.paired.tried.any():
        able = np.flatnonzero(told.paired.tried)
        for row in able[np.argsort(-told.paired.share[able], kind="stable")]:
            other = Setting(float(told.paired.f_number[row]), float(told.paired.focus_distance_m[row]))
            if not _same(other, chosen[0]):
                chosen.append(other)
                break
    names = {_name(setting, told, presets): setting for setting in chosen}
    return Experiment(
        lens=told.lens,
        focal_length_mm=told.focal_length_mm,
        f_stops=lens.f_stops if lens else (),
        ring_m=lens.ring_m if lens else (),
        purpose=purpose,
        presets=names,
        blocks=_blocks(list(names), presses),
        expected_gain=told.walk_worth.expected_gain,
    )


def _same(one: Setting, other: Setting) -> bool:
    """Whether two settings are one, as near as a stop and a ring are set."""
    near = abs(np.log(one.f_number / other.f_number)) <= SAME
    return bool(near and abs(1 / one.focus_distance_m - 1 / other.focus_distance_m) <= SAME / other.focus_distance_m)


def _name(setting: Setting, told: LensDecision, presets: pd.DataFrame) -> str:
    """The name of a preset with this setting, the most used first; else a plain one."""
    for row in presets.itertuples():
        own = abs(np.log(row.focal_length_mm / told.focal_length_mm)) <= SAME
        if own and _same(setting, Setting(row.f_number, row.focus_distance_m)):
            return str(row.preset)
    return "to compare"


def _blocks(names: list[str], presses: int) -> tuple[Block, ...]:
    """Blocks that add up to the presses: A B, B A, ..., the same number of each."""
    if len(names) == 1:
        return (Block(names[0], presses),)
    rounds = max(1, round(presses / (BLOCK * len(names))))
    order = [names[(turn + place) % len(names)] for turn in range(rounds) for place in range(len(names))]
    size, left = divmod(presses, len(order))
    return tuple(Block(name, size + (place < left)) for place, name in enumerate(order))
