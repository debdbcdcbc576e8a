"""Lays the session file's stretches over the frames: which preset was on the lens when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.intake.statements.filling import fill_from_preset
from auditor.intake.statements.moments import MomentFinder, Order, time_order
from auditor.intake.statements.session import SessionFile, Stretch
from auditor.text import collapse


def apply_stretches(
    table: pd.DataFrame, rows: np.ndarray, session: SessionFile, below: str = ""
) -> list[Problem]:
    """Fill in, in place, what the stretches of one session file say of the rows it governs.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table with ``session`` numbers; changed in place.
    rows : numpy.ndarray of int
        The rows that this session file governs.
    below : str
        Its folder, as it stands in front of the frames' files.

    Returns
    -------
    list of Problem
    """
    if not session.stretches:
        return []
    problems: list[Problem] = []
    order = time_order(table, rows)
    cameras = table["camera"].to_numpy(object)[order.rows]
    find = MomentFinder(table, order, below)
    owner = _owners(table, order, cameras, session, find, problems)
    presets = {preset.name: preset for preset in session.presets}
    for number, stretch in enumerate(session.stretches):
        covered = order.rows[owner == number]
        if len(covered):
            fill_from_preset(table, covered, presets[stretch.preset], session, problems)
    return problems


def _owners(
    table: pd.DataFrame,
    order: Order,
    cameras: np.ndarray,
    session: SessionFile,
    find: MomentFinder,
    problems: list[Problem],
) -> np.ndarray:
    """Number of the stretch that covers each ordered frame; -1 none."""
    starts: list[int | None] = []
    for stretch in session.stretches:
        problem = _check_camera(stretch, cameras, session)
        position: int | None = None
        if problem is None:
            position, problem = find.position(stretch, stretch.starts, session, default=0)
        if problem is not None:
            problems.append(problem)
        starts.append(None if problem is not None else position)
    owner = np.full(len(order.rows), -1)
    overlaps: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number, stretch in enumerate(session.stretches):
        start = starts[number]
        if start is None:
            continue
        stop, problem = _stop(number, stretch, start, starts, session, order, find)
        if problem is not None:
            problems.append(problem)
            continue
        mine = np.zeros(len(owner), dtype=bool)
        mine[start:stop] = True
        if stretch.camera is not None:
            mine &= cameras == stretch.camera
        for position in np.flatnonzero(mine & (owner >= 0)).tolist():
            overlaps[int(owner[position]), number].append(int(order.rows[position]))
        owner = np.where(mine & (owner < 0), number, owner)
    files = table["file"].to_numpy(object)
    for (first, second), taken in overlaps.items():
        owner[np.isin(order.rows, taken)] = -1
        problems.append(
            Problem(
                f"{session.path}{session.stretches[second].place}",
                f"The stretches {first + 1} ({session.stretches[first].preset!r}) and {second + 1} "
                f"({session.stretches[second].preset!r}) overlap: {collapse([files[i] for i in taken])}.",
                "Neither was applied to these frames. Correct from or to.",
            )
        )
    return owner


def _check_camera(stretch: Stretch, cameras: np.ndarray, session: SessionFile) -> Problem | None:
    if stretch.camera is None or stretch.camera in cameras:
        return None
    known = sorted({str(camera) for camera in cameras if isinstance(camera, str)})
    return Problem(
        f"{session.path}{stretch.place}",
        f"The stretch names a camera {stretch.camera!r} that took none of these frames.",
        f"It was ignored. Cameras found: {', '.join(known) or 'none with a name'}.",
    )


def _stop(
    number: int,
    stretch: Stretch,
    start: int,
    starts: Sequence[int | None],
    session: SessionFile,
    order: Order,
    find: MomentFinder,
) -> tuple[int, Problem | None]:
    if stretch.ends is not None:
        stop, problem = find.position(stretch, stretch.ends, session, default=len(order.rows))
        if problem is None and stop is not None and stop <= start:
            what = f"The stretch ends ({stretch.ends}) before it begins ({stretch.starts})"
            if stop == start:
                what = f"No frame lies from {stretch.starts} to {stretch.ends}, where the stretch is"
            problem = Problem(
                f"{session.path}{stretch.place}", f"{what}.", "It was ignored. Correct from or to."
            )
        return stop or 0, problem
    if stretch.starts is not None and not find.begins_near(stretch.starts, start):
        return 0, Problem(
            f"{session.path}{stretch.place}",
            f"The stretch begins at {stretch.starts}, and no frame was taken soon after that.",
            "It was ignored. Correct from, or add to where the stretch spans a longer time.",
        )
    later = [
        other
        for i, other in enumerate(starts)
        if i != number and other is not None and other > start and _share(stretch, session.stretches[i])
    ]
    session_end = start
    while session_end < len(order.rows) and order.session[session_end] == order.session[start]:
        session_end += 1
    return min([session_end, *later]), None


def _share(one: Stretch, other: Stretch) -> bool:
    return one.camera is None or other.camera is None or one.camera == other.camera
