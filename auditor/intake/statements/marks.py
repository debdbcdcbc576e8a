"""Keeper marks: what was stated, and where it was stated.

Order of trust: notes, selects, sidecar, embedded, exif. ``xmp:Rating`` is a real number; -1 is not kept,
absent or 0 is unmarked (ISO 16684-1, table 5).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.errors import Problem, UnitError
from auditor.intake.statements.session import Marks
from auditor.text import collapse

_SOURCES = ("notes", "selects", "sidecar", "embedded", "exif")
YES, NO, UNMARKED = 1, -1, 0  # verdicts in arrays of int8
_WORDS = {"yes": YES, "no": NO}
_SPELLINGS = dict.fromkeys(("yes", "y", "true", "1", "1.0", "keeper"), "yes") | dict.fromkeys(
    ("no", "n", "false", "0", "0.0", "not kept"), "no"
)


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


def verdicts_of_words(words: pd.Series) -> np.ndarray:
    """Turn ``yes``, ``no`` and missing words into verdicts, shape (n,) of int8."""
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
    stated["notes"] = verdicts_of_words(own["note_keeper"])
    if selected is not None:
        stated["selects"][selected[rows]] = YES
    for source in ("sidecar", "embedded", "exif"):
        stated[source] = verdicts_of_ratings(own[f"{source}_rating"].to_numpy("float64"), marks.min_rating)
        if (marks.keeper_labels or marks.reject_labels) and source != "exif":
            labels = _verdicts_of_labels(own[f"{source}_label"].to_numpy(object), marks)
            stated[source] = np.where(stated[source] == UNMARKED, labels, stated[source])
    before, before_source = verdicts_of_words(own["keeper"]), own["mark_source"]
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
