"""What a tape says of the rings, for each frame: how far its lens stands from where engravings put it."""

from collections.abc import Iterable
from dataclasses import astuple

import numpy as np
import pandas as pd

from auditor.errors import Problem, SettingError
from auditor.intake.statements.session import Lens
from auditor.optics.ring_check import extension_mm, find_shift
from auditor.optics.scales import engraved_for
from auditor.text import collapse
from auditor.units import format_distance

SAME_MM = 1e-3  # shifts within it are one adapter's


def frame_shifts(
    table: pd.DataFrame, checked: Iterable[tuple[np.ndarray, Lens]]
) -> tuple[np.ndarray, tuple[Problem, ...]]:
    """How much farther out each frame's lens is than its engravings mean [mm], shape (frames,), and doubts.

    ``checked`` are rows of a lens and what the session file says of it; other lenses are shifted as the table
    itself says, or as the same lens was elsewhere; NaN where nobody checked, or several did with unlike
    results. A problem is a reading of ring or scale that cannot be used, or that no adapter explains. Reads
    ``lens, focal_length_mm, focus_distance_m, focus_true_m, ring_shift_mm``.
    """
    shifts, problems = shifts_in(table)
    for rows, lens in checked:
        focal_mm = lens.focal_length_mm
        if np.isnan(focal_mm):  # a lens known by name: what its frames record
            focal_mm = pd.Series(table["focal_length_mm"].to_numpy("float64")[rows]).median()
        name = lens.name or f"{focal_mm:g} mm"
        if np.isnan(focal_mm) and (lens.scale or lens.ring_checks):
            what = f"{name}: its ring cannot be checked, since nothing tells its focal length."
            problems.append(Problem(None, what, "State focal_length in its [[lens]].", ignored=True))
            continue
        if lens.scale:
            try:
                engraved_for(focal_mm, *np.array([astuple(one) for one in lens.scale]).T)
            except SettingError as error:
                problems.append(Problem(None, f"{name}: {error.what}", error.next_step))
        if not lens.ring_checks:
            continue
        marks, focused = zip(*((read.mark_m, read.focuses_m) for read in lens.ring_checks), strict=True)
        try:
            found = find_shift(focal_mm, marks, focused)
        except SettingError as error:
            problems.append(Problem(None, f"{name}: {error.what}", error.next_step))
            continue
        shifts[rows] = found.shift_mm
        if found.disagree:
            odd = ", ".join(
                f"{format_distance(marks[at])} at {format_distance(focused[at])}" for at in found.disagree
            )
            what = f"{name}: no one adapter explains the readings of its ring; doubtful: {odd}."
            step = "Measure these marks again; zones take the shift that fits all of them best."
            problems.append(Problem(None, what, step))
    # A ring is off whichever session file says so, unless they contradict each other.
    least, most = (_by_lens(shifts, table, how) for how in ("min", "max"))
    unchecked = np.isnan(shifts) & ~np.isnan(least) & table["focus_distance_m"].notna().to_numpy()
    for rows, what in (
        (unchecked & (most - least <= SAME_MM), "go by that of another session file"),
        (unchecked & (most - least > SAME_MM), "stay as engraved: other session files disagree"),
    ):
        if count := int(rows.sum()):
            names = collapse(list(table["lens"][rows].fillna("lens without a name").unique()))
            said = f"{names}: frames without a ring_check ({count}) {what}."
            step = "State ring_check there too, or name another adapter's lens otherwise."
            problems.append(Problem(None, said, step, frames=count))
    return np.where(unchecked & (most - least <= SAME_MM), least, shifts), tuple(problems)


def known_shift_mm(table: pd.DataFrame) -> np.ndarray:
    """Shift of each frame's lens [mm], as its zone was worked out; 0 where nobody checked its ring."""
    known = "ring_shift_mm" in table
    return np.nan_to_num(table["ring_shift_mm"].to_numpy("float64")) if known else np.zeros(len(table))


def shifts_in(table: pd.DataFrame) -> tuple[np.ndarray, list[Problem]]:
    """Shift of each frame's lens; else what ``focus_true_m`` tells of it, or of the lens's other frames."""
    if "ring_shift_mm" in table and table["ring_shift_mm"].notna().any():
        return np.array(table["ring_shift_mm"], dtype="float64"), []
    focal, mark, true = (
        table[name].to_numpy("float64") for name in ("focal_length_mm", "focus_distance_m", "focus_true_m")
    )
    own = np.where(np.isfinite(true), extension_mm(true, focal) - extension_mm(mark, focal), np.nan)
    shifts = np.where(np.isnan(own), _by_lens(own, table, "median"), own)
    lost = int((np.isinf(true) & np.isfinite(mark) & np.isnan(shifts)).sum())
    if not lost:
        return shifts, []
    what = f"Focused past infinity, and nothing tells by how much: {lost} of {len(table)} frames."
    step = "State ring_check of the lens in a session file; zones leave it out."
    return shifts, [Problem(None, what, step)]


def _by_lens(shift_mm: np.ndarray, table: pd.DataFrame, how: str) -> np.ndarray:
    """The median, or what else is asked for, over the frames of each lens, shape (n,)."""
    by_lens = [table["lens"].fillna(""), table["focal_length_mm"]]
    found = pd.Series(shift_mm, table.index).groupby(by_lens, dropna=False).transform(how)
    return np.array(found, dtype="float64")
