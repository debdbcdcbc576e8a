"""What each frame counts as: its mark, or what the rules make of a frame without one.

Photographers mark only what they keep (common practice, no source), so frames before the last marked one of a
session count as not kept; where choosing stopped is inferred, and that frame and all after it are left out.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT
from auditor.intake.frame_index import FrameIndex, Rows
from auditor.intake.statements.marks import NO, UNMARKED, YES, verdicts_of_words
from auditor.intake.statements.session import SessionFile
from auditor.text import collapse

# A last mark this many times the usual gap after the one before, and so many frames, may be a remembered one.
LATE_TIMES, LATE_FRAMES, LATE_MARKS = 10, 30, 4
Governed = tuple[SessionFile, str, Rows]
_COUNTED_AS = np.array([LEFT_OUT, KEEPER, NOT_KEPT], dtype=object)  # by verdict


def count_marks(
    table: pd.DataFrame, governed: Sequence[Governed], selects_matched: np.ndarray, index: FrameIndex
) -> tuple[np.ndarray, list[Problem]]:
    """Decide what each frame counts as, and name the sessions that could not be counted.

    ``governed``: each session file, the rule for frames without a mark, and the rows that both hold for.
    Where a folder of selects made a frame a keeper, the choosing of its session is complete.
    """
    counted = verdicts_of_words(table["keeper"])  # a verdict, or left out as long as nothing is known
    unmarked = counted == UNMARKED
    auto = np.zeros(len(table), dtype=bool)
    for _, rule, rows in governed:
        if rule == "auto":
            auto[rows] = True
        elif rule != "leave-out":
            counted[rows[unmarked[rows]]] = YES if rule == "keeper" else NO
    if not auto.any():
        return _COUNTED_AS[counted], []
    problems: list[Problem] = []
    culled = _culled_to(index, governed, problems)
    sessions = table["session"].to_numpy("float64")
    cameras = pd.factorize(table["camera"])[0]
    outcome: dict[float, str] = {}
    late: list[int] = []
    by_session = pd.Series(np.flatnonzero(auto)).groupby(sessions[auto], sort=True)
    for session, positions in by_session:
        rows = positions.to_numpy()
        known = ~np.isnan(culled[rows]) & unmarked[rows].any()
        counted[rows[known & (index.rank[rows] > culled[rows])]] = UNMARKED
        looked_at = known & (index.rank[rows] <= culled[rows])
        counted[rows[looked_at & unmarked[rows]]] = NO
        left = rows[~known][np.argsort(index.rank[rows[~known]])]
        complete = bool(selects_matched[left].any())
        outcome[float(session)] = _count_session(left, counted, cameras, late, complete=complete)
    problems += _late_marks(table, late)
    problems += _silent_sessions(table, outcome, sessions, counted)
    return _COUNTED_AS[counted], problems


def _count_session(
    rows: np.ndarray, counted: np.ndarray, cameras: np.ndarray, late: list[int], *, complete: bool
) -> str:
    """Apply the automatic rule to one session's rows, in order; returns what was found in it.

    Rows of last marks that stand alone, long after the one before, are added to ``late``.
    """
    verdicts = counted[rows]
    if not (verdicts == UNMARKED).any():
        return "marked"
    if not (verdicts == YES).any():
        counted[rows] = UNMARKED
        return "unmarked" if (verdicts == UNMARKED).all() else "rejects"
    if complete:
        counted[rows[verdicts == UNMARKED]] = NO
        return "selects"
    for camera in np.unique(cameras[rows]):
        own = rows[cameras[rows] == camera]
        marked = np.flatnonzero(counted[own] != UNMARKED)
        # The place where choosing stopped is inferred: stopping at a keeper would flatter the rate.
        end = marked[-1] if len(marked) else 0
        gaps = np.diff(marked)
        if len(gaps) >= LATE_MARKS and gaps[-1] >= max(LATE_FRAMES, LATE_TIMES * np.median(gaps[:-1])):
            late.append(int(own[end]))
        before = own[:end]
        counted[before[counted[before] == UNMARKED]] = NO
        counted[own[end:]] = UNMARKED
    return "inferred"


def _late_marks(table: pd.DataFrame, late: list[int]) -> list[Problem]:
    """Name last marks that may have been remembered, and not come to in turn."""
    if not late:
        return []
    files = collapse([str(file) for file in table["file"].iloc[late]], limit=3)
    what = f"The last mark of a session stands alone, long after the one before: {files}."
    step = "If you had stopped choosing before it, name the last frame you looked at as culled_to."
    return [Problem(None, f"{what} All frames between the two count as not kept.", step)]


def _culled_to(index: FrameIndex, governed: Sequence[Governed], problems: list[Problem]) -> np.ndarray:
    """Place in the order of each row's ``culled_to`` frame; NaN where it says nothing of the row.

    A frame with a capture time says nothing of frames without, nor the other way round.
    """
    limit = np.full(len(index), np.nan)
    for session, rule, rows in governed:
        marks = session.marks
        if marks.culled_to is None or rule != "auto" or not len(rows):
            continue
        own = set(rows.tolist())
        hits = [row for row in index.find(marks.culled_to, session.path) if row in own]
        if len(hits) == 1:
            timeless = np.isnan(index.time_s)
            limit[rows[timeless[rows] == timeless[hits[0]]]] = index.rank[hits[0]]
        else:
            found = "There is no frame" if not hits else "There are several frames"
            what = f"[marks] culled_to: {found} {marks.culled_to!r}."
            step = "It was ignored. Write the frame's name or its path below the session file."
            problems.append(Problem(str(session.path), what, step, ignored=True))
    return limit


def _silent_sessions(
    table: pd.DataFrame, outcome: dict[float, str], sessions: np.ndarray, counted: np.ndarray
) -> list[Problem]:
    """Name the sessions that were left out whole, with the rate both ways where that matters."""
    by_session = table.groupby(sessions)
    starts, firsts = by_session["captured_at"].min(), by_session["file"].first()
    between: dict[bool, list[float]] = {True: [], False: []}  # those with keepers; rolls are apart
    for session, what in outcome.items():
        if what in ("marked", "selects", "inferred"):
            between[bool(pd.isna(starts[session]))].append(session)
    rejects = [s for s, what in outcome.items() if what == "rejects"]
    silent = []
    for session, what in outcome.items():
        others = between[bool(pd.isna(starts[session]))]
        if what == "unmarked" and others and min(others) < session < max(others):
            silent.append(session)

    def named(numbers: list[float]) -> str:
        frames = int(np.isin(sessions, numbers).sum())
        shown = [
            f"roll from {firsts[s]}" if pd.isna(starts[s]) else f"{starts[s]:%Y-%m-%d %H:%M}" for s in numbers
        ]
        noun = "session" if len(numbers) == 1 else "sessions"
        return f"{len(numbers)} {noun} with {frames} frames ({collapse(shown, limit=3)})"

    problems: list[Problem] = []
    if rejects:
        what = f"Only rejects are marked in {named(rejects)}; left out."
        problems.append(Problem(None, what, 'Set unmarked = "keeper" if you only mark rejects.'))
    if silent:
        kept, frames = int((counted == YES).sum()), int((counted != UNMARKED).sum())
        more = int(np.isin(sessions, silent).sum())
        what = (
            f"No mark in {named(silent)}, between sessions with keepers; left out. So counted, "
            f"{kept} of {frames} frames are keepers ({100 * kept / max(frames, 1):.0f} %); had you looked "
            f"through these and kept none, {kept} of {frames + more} ({100 * kept / (frames + more):.0f} %)."
        )
        step = 'Set culled_to, or unmarked = "not-kept", if you did look through them.'
        problems.append(Problem(None, what, step))
    return problems
