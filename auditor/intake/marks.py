"""Keeper marks: what was stated, where it was stated, and what the rules make of frames without a mark.

Order of trust: notes, selects, sidecar, embedded, exif. ``xmp:Rating`` is a real number; -1 is not kept,
absent or 0 is unmarked (ISO 16684-1, table 5).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.errors import Problem, UnitError
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT, captured_s
from auditor.intake.facts import collapse
from auditor.intake.names import FrameNames
from auditor.intake.session import Marks

_SOURCES = ("notes", "selects", "sidecar", "embedded", "exif")
YES, NO, UNMARKED = 1, -1, 0  # verdicts in arrays of int8
_WORDS = {"yes": YES, "no": NO}
_SPELLINGS = dict.fromkeys(("yes", "y", "true", "1", "1.0", "keeper"), "yes") | dict.fromkeys(
    ("no", "n", "false", "0", "0.0", "not kept"), "no"
)
_COUNTED_AS = np.array([LEFT_OUT, KEEPER, NOT_KEPT], dtype=object)  # by verdict
COUNTED_BEFORE = "counted_before"  # column: what a frame table says of frames whose marks have not changed


def parse_verdict(text: str) -> str:
    """Read a mark that a person wrote.

    Raises
    ------
    UnitError
        If it is neither yes nor no.

    Examples
    --------
    >>> parse_verdict("Y"), parse_verdict("not kept")
    ('yes', 'no')
    """
    try:
        return _SPELLINGS[text.strip().casefold()]
    except KeyError:
        raise UnitError(f"{text!r} is neither yes nor no.", "Write yes or no, or leave it empty.") from None


def verdicts_of_ratings(rating: np.ndarray, min_rating: float) -> np.ndarray:
    """Turn ratings into verdicts.

    Parameters
    ----------
    rating : numpy.ndarray of float, shape (n,)
        NaN or 0 unmarked, below 0 not kept.
    min_rating : float
        Lowest rating of a keeper.

    Returns
    -------
    numpy.ndarray of int8, shape (n,)
        :data:`YES`, :data:`NO` or :data:`UNMARKED`.

    Examples
    --------
    >>> verdicts_of_ratings(np.array([np.nan, 0, -1, 1, 3]), 2).tolist()
    [0, 0, -1, -1, 1]
    """
    verdict = np.full(rating.shape, UNMARKED, dtype=np.int8)
    with np.errstate(invalid="ignore"):
        verdict[(rating < 0) | ((rating > 0) & (rating < min_rating))] = NO
        verdict[rating >= min_rating] = YES
    return verdict


def _verdicts_of_labels(labels: np.ndarray, marks: Marks) -> np.ndarray:
    kept = {label.casefold() for label in marks.keeper_labels}
    rejected = {label.casefold() for label in marks.reject_labels}

    def verdict(label: object) -> int:
        word = label.strip().casefold() if isinstance(label, str) else None
        return YES if word in kept else NO if word in rejected else UNMARKED

    return np.array([verdict(label) for label in labels], dtype=np.int8)


def _verdicts_of_words(words: pd.Series) -> np.ndarray:
    codes, known = pd.factorize(words)
    verdicts = np.array([*(_WORDS.get(str(word), UNMARKED) for word in known), UNMARKED], dtype=np.int8)
    return np.asarray(verdicts[codes])  # unknown has the code -1


def state_marks(
    table: pd.DataFrame, rows: np.ndarray, marks: Marks, selected: np.ndarray | None
) -> list[Problem]:
    """Fill ``keeper`` and ``mark_source`` of the rows, in place, from every place a mark can stand.

    Parameters
    ----------
    table : pandas.DataFrame
        With the columns ``note_keeper``, ``sidecar_rating``, ``embedded_rating``, ``exif_rating``,
        ``sidecar_label``, ``embedded_label``; a mark already in ``keeper`` (from a frame table) stays
        where no better source speaks.
    rows : numpy.ndarray of int
    marks : Marks
    selected : numpy.ndarray of bool, shape (len(table),), or None
        Frames found in a folder of selects.

    Returns
    -------
    list of Problem
        Frames whose sources disagree.
    """
    own = table.iloc[rows]
    stated = {name: np.full(len(rows), UNMARKED, dtype=np.int8) for name in _SOURCES}
    stated["notes"] = _verdicts_of_words(own["note_keeper"])
    if selected is not None:
        stated["selects"][selected[rows]] = YES
    for source in ("sidecar", "embedded", "exif"):
        stated[source] = verdicts_of_ratings(own[f"{source}_rating"].to_numpy("float64"), marks.min_rating)
        if (marks.keeper_labels or marks.reject_labels) and source != "exif":
            labels = _verdicts_of_labels(own[f"{source}_label"].to_numpy(object), marks)
            stated[source] = np.where(stated[source] == UNMARKED, labels, stated[source])
    before, before_source = _verdicts_of_words(own["keeper"]), own["mark_source"]
    chosen = np.full(len(rows), UNMARKED, dtype=np.int8)
    chosen_source = np.full(len(rows), None, dtype=object)
    conflict: dict[tuple[str, str], np.ndarray] = {}
    for source, verdict in stated.items():
        in_table = before_source.eq(source).fillna(False).to_numpy(bool)
        verdict = np.where((verdict == UNMARKED) & in_table, before, verdict)
        free, speaks = chosen == UNMARKED, verdict != UNMARKED
        for earlier in dict.fromkeys(chosen_source[speaks & ~free]):
            against = speaks & (chosen_source == earlier) & (chosen != verdict)
            if against.any():
                conflict[str(earlier), source] = against
        chosen = np.where(free, verdict, chosen)
        chosen_source[free & speaks] = source
    words = np.full(len(rows), None, dtype=object)
    words[chosen == YES], words[chosen == NO] = "yes", "no"
    table.iloc[rows, table.columns.get_loc("keeper")] = words
    table.iloc[rows, table.columns.get_loc("mark_source")] = chosen_source
    files = own["file"].to_numpy(object)
    return [
        Problem(
            None,
            f"{int(mask.sum())} marks disagree between {first} and {second}: {collapse(list(files[mask]))}.",
            f"The one from {first} was used.",
        )
        for (first, second), mask in conflict.items()
    ]


def counts_fit_marks(counted: pd.Series, keeper: pd.Series) -> bool:
    """Whether a frame table says of every frame what it counted as, and nothing that its marks forbid."""
    kept, rejected = keeper.eq("yes").fillna(False), keeper.eq("no").fillna(False)
    forbidden = (kept & counted.eq(NOT_KEPT)) | (rejected & counted.eq(KEEPER))
    return bool(counted.isin(_COUNTED_AS.tolist()).all() and not forbidden.fillna(False).any())


def count_marks(
    table: pd.DataFrame,
    governed: Sequence[tuple[Marks, str, np.ndarray]],
    selects_matched: np.ndarray,
) -> tuple[np.ndarray, list[Problem]]:
    """Decide what each frame counts as.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``keeper``, ``session``, ``camera`` and ``captured_at``.
    governed : sequence of (Marks, str, numpy.ndarray of int)
        The marks of each session file, the rule for frames without a mark (``auto``, ``not-kept``,
        ``keeper`` or ``leave-out``), and the rows that both hold for.
    selects_matched : numpy.ndarray of bool, shape (n,)
        True where the row's folder of selects is in use.

    Returns
    -------
    counted_as : numpy.ndarray of object, shape (n,)
        ``keeper``, ``not kept`` or ``left out``.
    problems : list of Problem
        Sessions that could not be counted, and why.
    """
    counted = _verdicts_of_words(table["keeper"])  # a verdict, or left out as long as nothing is known
    kept, unmarked = counted == YES, counted == UNMARKED
    auto = np.zeros(len(table), dtype=bool)
    for _, rule, rows in governed:
        if rule == "auto":
            auto[rows] = True
        elif rule != "leave-out":
            counted[rows[unmarked[rows]]] = YES if rule == "keeper" else NO
    if not auto.any():
        return _COUNTED_AS[counted], []
    times = captured_s(table)
    problems: list[Problem] = []
    culled = _culled_to(table, governed, times, problems)
    sessions = table["session"].to_numpy("float64", na_value=np.nan)
    timed = auto & ~np.isnan(sessions)
    cameras = pd.factorize(table["camera"])[0]
    outcome: dict[float, str] = {}
    by_session = pd.Series(np.flatnonzero(timed)).groupby(sessions[timed], sort=True)
    for session, positions in by_session:
        rows = positions.to_numpy()
        known = ~np.isnan(culled[rows]) & unmarked[rows].any()
        counted[rows[known & (times[rows] > culled[rows])]] = UNMARKED
        looked_at = known & (times[rows] <= culled[rows])
        counted[rows[looked_at & unmarked[rows]]] = NO
        outcome[float(session)] = _count_session(
            rows[~known], kept, unmarked, selects_matched, cameras, times, counted
        )
    problems += _silent_sessions(table, outcome, sessions, counted)
    return _COUNTED_AS[counted], problems


def _count_session(
    rows: np.ndarray,
    kept: np.ndarray,
    unmarked: np.ndarray,
    selects_matched: np.ndarray,
    cameras: np.ndarray,
    times: np.ndarray,
    counted: np.ndarray,
) -> str:
    """Apply the automatic rule to one session, in place; returns what was found in it."""
    if not len(rows) or not unmarked[rows].any():
        return "marked"
    if selects_matched[rows].any() and kept[rows].any():
        counted[rows[unmarked[rows]]] = NO
        return "selects"
    if not kept[rows].any():
        counted[rows] = UNMARKED
        return "unmarked" if unmarked[rows].all() else "rejects"
    for camera in np.unique(cameras[rows]):
        own = rows[cameras[rows] == camera]
        own = own[np.lexsort((own, times[own]))]
        marked = np.flatnonzero(~unmarked[own])
        # The place where choosing stopped is inferred: stopping at a keeper would flatter the rate.
        end = marked[-1] if len(marked) else 0
        before = own[:end]
        counted[before[unmarked[before]]] = NO
        counted[own[end:]] = UNMARKED
    return "inferred"


def _culled_to(
    table: pd.DataFrame,
    governed: Sequence[tuple[Marks, str, np.ndarray]],
    times: np.ndarray,
    problems: list[Problem],
) -> np.ndarray:
    """Capture time of each row's ``culled_to`` frame; NaN where none is named."""
    limit = np.full(len(table), np.nan)
    for marks, rule, rows in governed:
        if marks.culled_to is None or rule != "auto" or not len(rows):
            continue
        names = FrameNames(zip(rows.tolist(), table["file"].iloc[rows], strict=True))
        hits = [row for row in names.find(marks.culled_to) if not np.isnan(times[row])]
        if len(hits) == 1:
            limit[rows] = times[hits[0]]
        else:
            what = "There is no frame" if not hits else "There are several frames"
            problems.append(
                Problem(
                    None,
                    f"[marks] culled_to: {what} {marks.culled_to!r} with a capture time.",
                    "It was ignored. Write the frame's name or its path below the session file.",
                )
            )
    return limit


def _silent_sessions(
    table: pd.DataFrame, outcome: dict[float, str], sessions: np.ndarray, counted: np.ndarray
) -> list[Problem]:
    """Name the sessions that were left out whole, with the rate both ways where that matters."""
    with_keeper = [s for s, what in outcome.items() if what in ("marked", "selects", "inferred")]
    between = (min(with_keeper), max(with_keeper)) if with_keeper else (np.inf, -np.inf)
    rejects = [s for s, what in outcome.items() if what == "rejects"]
    silent = [s for s, what in outcome.items() if what == "unmarked" and between[0] < s < between[1]]
    times, all_sessions = table["captured_at"], pd.Series(sessions, index=table.index)

    def named(numbers: list[float]) -> str:
        chosen = all_sessions.isin(numbers)
        starts = times[chosen].groupby(all_sessions[chosen]).min()
        dates = collapse([f"{start:%Y-%m-%d %H:%M}" for start in starts], limit=3)
        noun = "session" if len(numbers) == 1 else "sessions"
        return f"{len(numbers)} {noun} with {int(chosen.sum())} frames ({dates})"

    problems: list[Problem] = []
    if rejects:
        problems.append(
            Problem(
                None,
                f"Only rejects are marked in {named(rejects)}; left out.",
                'Set unmarked = "keeper" if you only mark rejects.',
            )
        )
    if silent:
        kept, frames = int((counted == YES).sum()), int((counted != UNMARKED).sum())
        more = int(all_sessions.isin(silent).sum())
        problems.append(
            Problem(
                None,
                f"No mark in {named(silent)}, between sessions with keepers; left out. Keepers are "
                f"{kept / max(frames, 1):.1%} of {frames} frames without, {kept / (frames + more):.1%} of "
                f"{frames + more} if none of these was kept.",
                'Set culled_to, or unmarked = "not-kept", if you did look through them.',
            )
        )
    return problems
