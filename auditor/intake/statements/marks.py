"""Keeper marks: what was stated in words, ratings and labels.

``xmp:Rating`` is a real number; -1 is not kept, absent or 0 is unmarked (ISO 16684-1, table 5).
"""

import numpy as np
import pandas as pd

from auditor.errors import UnitError
from auditor.intake.frame_index import Rows
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.session import Marks

YES, NO, UNMARKED = 1, -1, 0  # verdicts in arrays of int8
_WORDS = {"yes": YES, "no": NO}
SPELLINGS = dict.fromkeys(("yes", "y", "true", "1", "1.0", "keeper"), "yes") | dict.fromkeys(
    ("no", "n", "false", "0", "0.0", "not kept"), "no"
)


def parse_verdict(text: str) -> str:
    """Read a mark that a person wrote; UnitError if it is neither yes nor no.

    >>> parse_verdict("Y"), parse_verdict("not kept")
    ('yes', 'no')
    """
    try:
        return SPELLINGS[text.strip().casefold()]
    except KeyError:
        raise UnitError(f"{text!r} is neither yes nor no.", "Write yes or no, or leave it empty.") from None


def verdicts_of_ratings(rating: np.ndarray, min_rating: float) -> np.ndarray:
    """Turn ratings into verdicts, shape (n,) of int8: NaN or 0 unmarked, below 0 or ``min_rating`` not kept.

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


def claim_marks(facts: pd.DataFrame, rows: Rows, marks: Marks) -> Claims:
    """State what ratings and labels in the files mean as marks, by one session file's rules."""
    claims = []
    for source in ("sidecar", "embedded", "exif"):
        ratings = facts[f"{source}_rating"].to_numpy("float64")[rows]
        verdict = verdicts_of_ratings(ratings, marks.min_rating)
        if (marks.keeper_labels or marks.reject_labels) and source != "exif":
            labels = _verdicts_of_labels(facts[f"{source}_label"].to_numpy(object)[rows], marks)
            verdict = np.where(verdict == UNMARKED, labels, verdict)
        marked = verdict != UNMARKED
        if marked.any():
            words = objects("yes" if v == YES else "no" for v in verdict[marked].tolist())
            claims.append(Claim("keeper", source, rows[marked], words))
    return Claims(tuple(claims))
