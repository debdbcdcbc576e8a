"""What a tape says of the rings, for each frame: how far its lens stands from where engravings put it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from auditor.errors import Problem, SettingError
from auditor.intake.statements.session import Lens
from auditor.optics.ring_check import find_shift
from auditor.units import format_distance


def frame_shifts(
    frames: int, checked: Iterable[tuple[np.ndarray, Lens]]
) -> tuple[np.ndarray, tuple[Problem, ...]]:
    """How much farther out each frame's lens is than its engravings mean [mm], shape (frames,), and doubts.

    ``checked`` are rows of a lens and what the session file says of it; NaN where nobody checked its ring. A
    problem is a reading that cannot be used, or that no one adapter explains.
    """
    shifts, problems = np.full(frames, np.nan), []
    for rows, lens in checked:
        if not lens.ring_checks:
            continue
        name = lens.name or f"{lens.focal_length_mm:g} mm"
        marks, focused = zip(*((read.mark_m, read.focuses_m) for read in lens.ring_checks), strict=True)
        try:
            found = find_shift(lens.focal_length_mm, marks, focused)
        except SettingError as error:
            problems.append(Problem(None, f"{name}: {error.what}", error.next_step))
            continue
        shifts[rows] = found.shift_mm
        if found.disagree:
            odd = ", ".join(
                f"{format_distance(marks[at])} at {format_distance(focused[at])}" for at in found.disagree
            )
            problems.append(
                Problem(
                    None,
                    f"{name}: no one adapter explains the readings of its ring; doubtful: {odd}.",
                    "Measure these marks again; zones take the shift that fits all of them best.",
                )
            )
    return shifts, tuple(problems)
