"""What stands on the page, as plain values: everything counted, chosen and worded, nothing drawn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from auditor.show.decided import Decided
from auditor.show.page.ring_scale import Engraving


class Said(NamedTuple):
    """One text in metres and in feet; the two are the same where no distance stands in it."""

    m: str
    ft: str

    def in_units(self, units: str) -> str:
        """The text in one of the two."""
        return self.m if units == "m" else self.ft


def said(write: Callable[[str], str]) -> Said:
    """Write a text for both units.

    >>> said(lambda units: f"2 {units}")
    Said(m='2 m', ft='2 ft')
    """
    return Said(write("m"), write("ft"))


class Mark(NamedTuple):
    """One dot, or one bar of many frames, at its place on the scale."""

    at: float  # along, from 0 to 1
    level: int  # place in its column, counted from the line; of a bar, the frames in it
    kept: bool | None  # None where nobody said
    sharp: str  # yes, no or empty
    rows: tuple[int, ...]  # of the frame table; of a large bar, some of them


@dataclass(frozen=True, slots=True)
class Chip:
    """One preset, or one setting to change to, with the frames against its zone."""

    key: str  # unique on the page
    label: str
    now: bool  # whether it is shown first
    near_at: float  # ends of the zone along the scale
    far_at: float
    near: Said
    far: Said
    marks: tuple[Mark, ...]
    bars: bool  # whether marks are bars
    engravings: tuple[Engraving, ...]
    finding: str  # what the picture shows, in words
    without_distance: str  # how many frames could not be drawn; empty if none


class Difference(NamedTuple):
    """What one preset brings more than another, in points of 100 presses, with its interval."""

    better: str
    worse: str
    points: float
    low: float
    high: float
    sure: bool


class Cell(NamedTuple):
    """One setting in the picture of ring by stop; ``share`` NaN where it was not valued."""

    share: float
    now: bool
    best: bool
    alike: bool  # cannot be told apart from the best, and promises nearly as much


class RingByStop(NamedTuple):
    """What each stop and engraving would bring, in one light."""

    light: str  # empty for all light
    stops: tuple[str, ...]
    rings: tuple[str, ...]  # in the ring's own unit
    unit: str
    cells: tuple[tuple[Cell, ...], ...]  # one row for each stop
    of_passers: bool  # whether the subjects come from a stretch pressed at anyone
    subjects: int  # how many were measured

    @property
    def has_region(self) -> bool:
        """Whether another cell does what the best one does."""
        return any(cell.alike and not cell.best for row in self.cells for cell in row)

    @property
    def top(self) -> float:
        """The largest share."""
        shares = (cell.share for row in self.cells for cell in row)
        return max((share for share in shares if share == share), default=1.0)


@dataclass(frozen=True, slots=True)
class LensView:
    """Everything that the page says of one lens."""

    decided: Decided
    chips: tuple[Chip, ...]
    presets: list[Any]  # rows of the table of presets, the best first, with their `name` and whether `now`
    presets_title: str
    top: float  # right end of the presets' axis, a share
    differences: tuple[Difference, ...]
    causes: Mapping[str, int]  # frames of 100 not kept that each cause accounts for
    causes_known: int
    reasons: Counter[str]  # the photographer's own, for frames not kept
    rings: tuple[RingByStop, ...]

    @property
    def name(self) -> str:
        """Name of the lens."""
        return self.decided.lens
