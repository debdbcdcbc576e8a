"""Keeper marks: what was stated, where it was stated, and what the rules make of frames without a mark.

Order of trust: notes, selects, sidecar, embedded, exif. ``xmp:Rating`` is a real number; -1 is not kept,
absent or 0 is unmarked (ISO 16684-1, table 5).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT, captured_s
from auditor.intake.facts import collapse
from auditor.intake.names import FrameNames
from auditor.intake.session import Marks

_SOURCES = ("notes", "selects", "sidecar", "embedded", "exif")


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
    numpy.ndarray of object, shape (n,)
        ``"yes"``, ``"no"`` or None.

    Examples
    --------
    >>> verdicts_of_ratings(np.array([np.nan, 0, -1, 1, 3]), 2).tolist()
    [None, None, 'no', 'no', 'yes']
    """
    verdict = np.full(rating.shape, None, dtype=object)
    with np.errstate(invalid="ignore"):
        verdict[(rating < 0) | ((rating > 0) & (rating < min_rating))] = "no"
        verdict[rating >= min_rating] = "yes"
    return verdict


def _verdicts_of_labels(labels: np.ndarray, marks: Marks) -> np.ndarray:
    verdict = np.full(labels.shape, None, dtype=object)
    kept = {label.casefold() for label in marks.keeper_labels}
    rejected = {label.casefold() for label in marks.reject_labels}
    for i, label in enumerate(labels):
        if isinstance(label, str):
            word = label.strip().casefold()
            verdict[i] = "yes" if word in kept else "no" if word in rejected else None
    return verdict


def _where(mask: np.ndarray, value: object, otherwise: object) -> np.ndarray:
    """Choose element by element among texts and None, shape of the mask."""
    chosen = np.empty(mask.shape, dtype=object)
    chosen[:] = otherwise
    chosen[mask] = value[mask] if isinstance(value, np.ndarray) else value
    return chosen


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

    def get(name: str) -> np.ndarray:
        return np.asarray(table[name].to_numpy(object)[rows])

    by_label = bool(marks.keeper_labels or marks.reject_labels)
    stated: dict[str, np.ndarray] = {"notes": get("note_keeper")}
    if selected is not None:
        stated["selects"] = _where(selected[rows], "yes", None)
    for source in ("sidecar", "embedded", "exif"):
        rating = table[f"{source}_rating"].to_numpy("float64")[rows]
        verdict = verdicts_of_ratings(rating, marks.min_rating)
        if by_label and source != "exif":
            labels = _verdicts_of_labels(get(f"{source}_label"), marks)
            verdict = np.array([label if v is None else v for v, label in zip(verdict, labels, strict=True)])
        stated[source] = verdict
    keeper, source_of = get("keeper"), get("mark_source")
    before = {name: _where(source_of == name, keeper, None) for name in _SOURCES}
    chosen = np.full(len(rows), None, dtype=object)
    chosen_source = np.full(len(rows), None, dtype=object)
    conflict: dict[tuple[str, str], np.ndarray] = {}
    for source in _SOURCES:
        verdict = stated.get(source, np.full(len(rows), None, dtype=object))
        verdict = np.array(
            [v if isinstance(v, str) else b for v, b in zip(verdict, before[source], strict=True)]
        )
        speaks = np.array([isinstance(v, str) for v in verdict], dtype=bool)
        free = np.array([c is None for c in chosen], dtype=bool)
        for earlier in dict.fromkeys(chosen_source[speaks & ~free]):
            against = speaks & (chosen_source == earlier) & (chosen != verdict)
            if against.any():
                conflict[str(earlier), source] = against
        chosen = _where(free & speaks, verdict, chosen)
        chosen_source = _where(free & speaks, source, chosen_source)
    table.iloc[rows, table.columns.get_loc("keeper")] = chosen
    table.iloc[rows, table.columns.get_loc("mark_source")] = chosen_source
    files = table["file"].to_numpy(object)[rows]
    return [
        Problem(
            None,
            f"{int(mask.sum())} marks disagree between {first} and {second}: {collapse(list(files[mask]))}.",
            f"The one from {first} was used.",
        )
        for (first, second), mask in conflict.items()
    ]


def count_marks(
    table: pd.DataFrame,
    rules: Sequence[str],
    marks: Sequence[Marks],
    selects_matched: np.ndarray,
) -> tuple[np.ndarray, list[Problem]]:
    """Decide what each frame counts as.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``keeper``, ``session``, ``camera`` and ``captured_at``.
    rules : sequence of str, one a row
        ``auto``, ``not-kept``, ``keeper`` or ``leave-out``.
    marks : sequence of Marks, one a row
        For ``culled_to``.
    selects_matched : numpy.ndarray of bool, shape (n,)
        True where the row's folder of selects is in use.

    Returns
    -------
    counted_as : numpy.ndarray of object, shape (n,)
        ``keeper``, ``not kept`` or ``left out``.
    problems : list of Problem
        Sessions that could not be counted, and why.
    """
    keeper = table["keeper"].to_numpy(object)
    kept, rejected = keeper == "yes", keeper == "no"
    unmarked = ~(kept | rejected)
    rule = np.asarray(rules, dtype=object)
    counted = np.where(kept, KEEPER, np.where(rejected, NOT_KEPT, LEFT_OUT)).astype(object)
    counted[unmarked & (rule == "not-kept")] = NOT_KEPT
    counted[unmarked & (rule == "keeper")] = KEEPER
    auto = rule == "auto"
    if not auto.any():
        return counted, []
    times = captured_s(table)
    problems: list[Problem] = []
    culled = _culled_to(table, marks, auto, times, problems)
    sessions = table["session"].to_numpy("float64", na_value=np.nan)
    timed = auto & ~np.isnan(sessions)
    cameras = table["camera"].fillna("").to_numpy(object)
    outcome: dict[float, str] = {}
    by_session = pd.Series(np.flatnonzero(timed)).groupby(sessions[timed], sort=True)
    for session, positions in by_session:
        rows = positions.to_numpy()
        known = ~np.isnan(culled[rows]) & unmarked[rows].any()
        counted[rows[known & (times[rows] > culled[rows])]] = LEFT_OUT
        looked_at = known & (times[rows] <= culled[rows])
        counted[rows[looked_at & unmarked[rows]]] = NOT_KEPT
        outcome[float(session)] = _count_session(
            rows[~known], kept, unmarked, selects_matched, cameras, times, counted
        )
    problems += _silent_sessions(table, outcome, sessions, counted)
    return counted, problems


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
        counted[rows[unmarked[rows]]] = NOT_KEPT
        return "selects"
    if not kept[rows].any():
        counted[rows] = LEFT_OUT
        return "unmarked" if unmarked[rows].all() else "rejects"
    for camera in set(cameras[rows]):
        own = rows[cameras[rows] == camera]
        own = own[np.lexsort((own, times[own]))]
        marked = np.flatnonzero(~unmarked[own])
        # The place where choosing stopped is inferred: stopping at a keeper would flatter the rate.
        end = marked[-1] if len(marked) else 0
        before = own[:end]
        counted[before[unmarked[before]]] = NOT_KEPT
        counted[own[end:]] = LEFT_OUT
    return "inferred"


def _culled_to(
    table: pd.DataFrame,
    marks: Sequence[Marks],
    auto: np.ndarray,
    times: np.ndarray,
    problems: list[Problem],
) -> np.ndarray:
    """Capture time of each row's ``culled_to`` frame; NaN where none is named."""
    limit = np.full(len(table), np.nan)
    groups: dict[int, list[int]] = {}
    for row in np.flatnonzero(auto).tolist():
        if marks[row].culled_to is not None:
            groups.setdefault(id(marks[row]), []).append(row)
    files = table["file"].to_numpy(object)
    for rows in groups.values():
        names = FrameNames((row, str(files[row])) for row in rows)
        hits = [row for row in names.find(str(marks[rows[0]].culled_to)) if not np.isnan(times[row])]
        if len(hits) == 1:
            limit[rows] = times[hits[0]]
        else:
            what = "There is no frame" if not hits else "There are several frames"
            problems.append(
                Problem(
                    None,
                    f"[marks] culled_to: {what} {marks[rows[0]].culled_to!r} with a capture time.",
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
        kept, frames = int((counted == KEEPER).sum()), int((counted != LEFT_OUT).sum())
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
