"""What stands on the page, as plain values: everything counted, chosen and worded, nothing drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from auditor.show.page.ring_scale import Engraving
from auditor.show.words.next_time import Step


@dataclass(frozen=True, slots=True)
class Said:
    """One text in metres and in feet; the two are the same where no distance stands in it."""

    m: str
    ft: str

    def __bool__(self) -> bool:
        return bool(self.m)

    def in_units(self, units: str) -> str:
        """The text in one of the two."""
        return self.m if units == "m" else self.ft


def said(write: Callable[[str], str]) -> Said:
    """Write a text for both units.

    Examples
    --------
    >>> said(lambda units: f"2 {units}")
    Said(m='2 m', ft='2 ft')
    """
    return Said(write("m"), write("ft"))


@dataclass(frozen=True, slots=True)
class Mark:
    """One dot, or one bar of many frames, at its place on the scale.

    Attributes
    ----------
    at : float
        Place along, from 0 to 1.
    level : int
        Place in its column, counted from the line; of a bar, the frames in it.
    kept : bool or None
        None where nobody said.
    sharp : str
        ``yes``, ``no`` or empty.
    rows : tuple of int
        Rows of the frame table behind it; of a large bar, some of them.
    """

    at: float
    level: int
    kept: bool | None
    sharp: str
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Chip:
    """One preset, or one setting to change to, with the frames against its zone.

    Attributes
    ----------
    key : str
        Unique on the page.
    label : str
    now : bool
        Whether it is shown first.
    near_at, far_at : float
        Ends of the zone along the scale.
    near, far : Said
    marks : tuple of Mark
        Dots, or bars where ``bars``.
    bars : bool
    engravings : tuple of Engraving
    finding : Said
        What the picture shows, in words.
    without_distance : str
        How many frames could not be drawn; empty if none.
    """

    key: str
    label: str
    now: bool
    near_at: float
    far_at: float
    near: Said
    far: Said
    marks: tuple[Mark, ...]
    bars: bool
    engravings: tuple[Engraving, ...]
    finding: Said
    without_distance: str


@dataclass(frozen=True, slots=True)
class Rate:
    """A share with its interval and its n: ``hits`` of ``of``; NaN where nothing counts."""

    share: float
    low: float
    high: float
    hits: int
    of: int


@dataclass(frozen=True, slots=True)
class PresetRow:
    """One row of plot and table; ``sharp`` is None where nobody judged sharpness."""

    name: str
    setting: Said
    zone: Said
    now: bool
    kept: Rate
    sharp: Rate | None


@dataclass(frozen=True, slots=True)
class Difference:
    """What one preset brings more than another, in points of 100 presses, with its interval."""

    better: str
    worse: str
    points: float
    low: float
    high: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Cause:
    """Frames of 100 not kept that one cause accounts for."""

    name: str
    label: str
    of_100: int


@dataclass(frozen=True, slots=True)
class Cell:
    """One setting in the picture of ring by stop; ``share`` NaN where it was not valued."""

    share: float
    now: bool
    best: bool


@dataclass(frozen=True, slots=True)
class RingByStop:
    """What each stop and engraving would bring, in one light.

    Attributes
    ----------
    light : str
        Empty for all light.
    stops : tuple of str
    rings : tuple of str
        In the ring's own unit, which ``unit`` names.
    unit : str
    cells : tuple of tuple of Cell
        One row for each stop.
    of_passers : bool
        Whether the subjects come from a stretch pressed at anyone.
    subjects : int
        How many were measured.
    """

    light: str
    stops: tuple[str, ...]
    rings: tuple[str, ...]
    unit: str
    cells: tuple[tuple[Cell, ...], ...]
    of_passers: bool = False
    subjects: int = 0


@dataclass(frozen=True, slots=True)
class Telling:
    """One frame to look at, and why."""

    row: int
    file: str
    why: str
    about: Said


@dataclass(frozen=True, slots=True)
class NextTime:
    """One lens's decision in words; page, screen and card say nothing else of it.

    Attributes
    ----------
    headline, expect : Said
    instead, blur, walk : Said
        What to change instead, what blur still costs, the next walk; empty where there is nothing to say.
    sure : tuple of str
        What it rests on.
    step : Step
        The one step that helps most; its command is empty where nothing does.
    """

    headline: Said
    expect: Said
    instead: Said
    blur: Said
    walk: Said
    sure: tuple[str, ...]
    step: Step


@dataclass(frozen=True, slots=True)
class LensView:
    """Everything that the page says of one lens."""

    name: str
    next_time: NextTime
    chips: tuple[Chip, ...]
    presets: tuple[PresetRow, ...]
    presets_title: str
    top: float
    differences: tuple[Difference, ...]
    causes: tuple[Cause, ...]
    causes_title: str
    causes_known: int
    reasons: tuple[tuple[str, int], ...]
    reasons_noted: int
    rings: tuple[RingByStop, ...]
    telling: tuple[Telling, ...]
