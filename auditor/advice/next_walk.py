"""The next walk in blocks: which setting when, under the names that presets already have."""

from dataclasses import astuple, dataclass

import numpy as np
import pandas as pd

from auditor.advice.lens_decision import LensDecision
from auditor.advice.paired import SAME, Setting
from auditor.units import format_distance, format_f_number

PRESSES = 60


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the walk."""

    preset: str  # its own name where that setting is in use, else a name made of the setting
    setting: Setting
    presses: int
    pressed: str  # zone or anyone


@dataclass(frozen=True, slots=True)
class WalkPlan:
    """What to do on the next walk.

    Two settings go A B B A, so that light and luck which rise or fall over the walk weigh on both alike (Cox,
    Planning of Experiments, 1958, ch. 3).
    """

    lens: str
    purpose: str  # compare or anyone
    blocks: tuple[Block, ...]  # in order
    presses: int  # of all blocks


def plan_walk(lens: LensDecision, frames: pd.DataFrame, presses: int = PRESSES) -> WalkPlan | None:
    """Lay out the next walk with a lens; None where there is nothing to test.

    Names are those of presets: reads ``focal_length_mm, preset, f_number, focus_distance_m``.
    """
    worth = lens.walk_worth
    if worth.purpose == "nothing" or not lens.habit:
        return None
    usual = lens.habit[0][0]
    settings = [usual]
    if worth.purpose == "compare":
        other = _other(lens, usual)
        if other is None:
            return None
        settings.append(other)
    order = (0, 1, 1, 0) if len(settings) == 2 else (0,)
    share = np.diff(np.round(np.linspace(0, presses, len(order) + 1)).astype(int))
    how = "anyone" if worth.purpose == "anyone" else "zone"
    names = [_name(frames, lens.focal_length_mm, setting) for setting in settings]
    return WalkPlan(
        lens=lens.lens,
        purpose=worth.purpose,
        blocks=tuple(
            Block(names[place], settings[place], int(n), how) for place, n in zip(order, share, strict=True)
        ),
        presses=presses,
    )


def _other(lens: LensDecision, usual: Setting) -> Setting | None:
    """The setting to hold against the usual one: that of the decision, else the best other one tried."""
    if lens.decision.setting is not None and not usual.is_at(*astuple(lens.decision.setting)):
        return lens.decision.setting
    if lens.paired is None:
        return None
    for row in np.argsort(-lens.paired.share, kind="stable"):
        setting = lens.paired.setting(row)
        if lens.paired.tried[row] and not usual.is_at(*astuple(setting)):
            return setting
    return None


def _name(frames: pd.DataFrame, focal_length_mm: float, setting: Setting) -> str:
    """Name of the preset most used with this setting, else one made of it."""
    own = frames[(frames["focal_length_mm"] / focal_length_mm - 1).abs() <= SAME]
    kinds = own.groupby(["preset", "f_number", "focus_distance_m"]).size().sort_values(ascending=False)
    for name, number, focus in kinds.index:
        if setting.is_at(number, focus):
            return str(name)
    return f"{format_f_number(setting.f_number)} at {format_distance(setting.focus_distance_m)}"
