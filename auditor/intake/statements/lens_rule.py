"""The one rule for "is it this lens": by its name, else by its focal length.

A name decides where it is that of a declared lens; else the focal length does, within 2 %, since rings and
files round it. A file contradicts a preset where it records another name, or a focal length that is off by
more than 10 %, which no rounding explains.
"""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from auditor.intake.statements.session import Lens

SAME_FOCAL = 0.02
OTHER_FOCAL = 0.10


def off_by(values: np.ndarray, wanted: np.ndarray | float) -> np.ndarray:
    """Relative difference from what is wanted; NaN where either is unknown, 0 where both are infinite."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.abs(np.minimum(values, 1e9) / np.minimum(wanted, 1e9) - 1))


def is_lens(
    lens: Lens, declared: Sequence[Lens], names: np.ndarray, focal_lengths_mm: np.ndarray
) -> np.ndarray:
    """Which frames, by their lens names and focal lengths, were taken with a declared lens; shape (k,)."""
    known = {other.name.casefold() for other in declared if other.name}
    own = (lens.name or "").casefold()
    by_name = _where(names, lambda word: word == own)
    undeclared = ~_where(names, lambda word: word in known)
    return by_name | (undeclared & (off_by(focal_lengths_mm, lens.focal_length_mm) <= SAME_FOCAL))


def find_lens(lenses: Sequence[Lens], name: str | None, focal_length_mm: float) -> Lens | None:
    """Find the declared lens of one frame, the first that fits."""
    names, focal = np.array([name], dtype=object), np.array([focal_length_mm])
    return next((lens for lens in lenses if is_lens(lens, lenses, names, focal)[0]), None)


def contradicts(
    name: str | None, focal_length_mm: float, names: np.ndarray, focal_lengths_mm: np.ndarray
) -> np.ndarray:
    """Which frames' files record another lens, or another focal length, than a preset states; shape (k,)."""
    other = off_by(focal_lengths_mm, focal_length_mm) > OTHER_FOCAL
    if name is not None:
        other |= _where(names, lambda word: word != name.casefold())
    return other


def _where(names: np.ndarray, holds: Callable[[str], bool]) -> np.ndarray:
    """Where something holds of a name; False where none is known. Each name is looked at once."""
    codes, known = pd.factorize(names)
    answers = np.array([*(holds(str(name).casefold()) for name in known), False], dtype=bool)
    return np.asarray(answers[codes])
