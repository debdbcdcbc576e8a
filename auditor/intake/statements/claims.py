"""Claims: what one reader states of which rows, as typed. Nothing is weighed or converted here.

Readers return claims and change no table; :mod:`auditor.intake.resolve` decides between them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from auditor.errors import Problem
from auditor.intake.frame_index import Rows


@dataclass(frozen=True, slots=True, eq=False)
class Claim:
    """One quantity of some frames, from one source."""

    quantity: str  # and source, who states it: see auditor.intake.precedence.PRECEDENCE
    source: str
    rows: Rows
    # Distances in metres by the convention of from_lens. NaN or None says that something was stated which
    # cannot be used: weaker sources do not speak for it.
    typed: np.ndarray
    place: str = ""  # the file where it stands
    depth: float = 0  # of one source the deepest wins: the nearest file
    from_lens: bool = False  # whether a distance counts from the lens rather than from the sensor plane
    rel_sd: np.ndarray | None = None  # of a distance that was measured; None where it is to be assumed


@dataclass(frozen=True, slots=True)
class Claims:
    """What readers state."""

    stated: tuple[Claim, ...] = ()
    problems: tuple[Problem, ...] = ()  # what was written and cannot be used
    rows_read: int = 0  # of notes files
    rows_matched: int = 0  # those among them whose frame was found

    def moved(self, by: int) -> Claims:
        """The same claims of rows further down."""
        return replace(self, stated=tuple(replace(claim, rows=claim.rows + by) for claim in self.stated))


def together(parts: Iterable[Claims]) -> Claims:
    """Put the claims of several readers into one."""
    every = list(parts)
    return Claims(
        tuple(claim for part in every for claim in part.stated),
        tuple(problem for part in every for problem in part.problems),
        sum(part.rows_read for part in every),
        sum(part.rows_matched for part in every),
    )


def objects(values: Iterable[Any]) -> np.ndarray:
    """Values as an array of objects, whatever they are; shape (k,)."""
    every = list(values)
    array = np.empty(len(every), dtype=object)
    for i, value in enumerate(every):
        array[i] = value
    return array
