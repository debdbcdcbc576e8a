"""Several subjects in one frame: which of them stood in the sharp zone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

ALL, FIRST_ONLY, OTHERS_ONLY, NONE = "all", "the first only", "others only", "none"
COUNTED = {
    "all_in_zone": ALL, "only_first_in_zone": FIRST_ONLY, "only_others_in_zone": OTHERS_ONLY,
    "none_in_zone": NONE,
}  # fmt: skip


def count_company(frames: pd.DataFrame) -> dict[str, int]:
    """Count the frames with several subjects by which of them the zone held.

    Frames without a zone, or with one distance alone, are not counted. Reads ``near_limit_m, far_limit_m,
    subject_distance_m, other_subjects_m``.
    """
    near, far, first = (
        frames[name].to_numpy(float) for name in ("near_limit_m", "far_limit_m", "subject_distance_m")
    )
    held = held_in_zone(near, far, first, frames["other_subjects_m"].to_numpy(object))
    return {name: int((held == word).sum()) for name, word in COUNTED.items()}


def company_by_preset(frames: pd.DataFrame) -> dict[str, dict[str, int]]:
    """Count them for each preset that has such frames, in the order of their names. Reads ``preset``, too."""
    several = frames[frames["other_subjects_m"].notna()]
    found = {str(name): count_company(own) for name, own in several.groupby("preset")}
    return {name: counts for name, counts in found.items() if any(counts.values())}


def held_in_zone(
    near_limit_m: np.ndarray,
    far_limit_m: np.ndarray,
    subject_distance_m: np.ndarray,
    other_subjects_m: Sequence[object],
) -> np.ndarray:
    """Say of each frame with several subjects which of them the zone held, shape (n,) of object.

    Limits and the subject meant [m] have shape (n,), further ones are joined by ``|``. ``all``, ``the first
    only`` (also where some of the others are held), ``others only`` (the first not) or ``none``; None for one
    subject, and where zone or distance is unknown.

    Examples
    --------
    >>> zone = np.full(3, 1.5), np.full(3, 4.0)
    >>> held_in_zone(*zone, np.array([2.0, 2.0, 1.0]), ["3.96", "3|5", None]).tolist()
    ['all', 'the first only', None]
    """
    held = np.full(len(subject_distance_m), None, dtype=object)
    for row, text in enumerate(other_subjects_m):
        if not isinstance(text, str) or not text:
            continue
        near, far, first = (float(v[row]) for v in (near_limit_m, far_limit_m, subject_distance_m))
        if np.isnan((near, far, first)).any():
            continue
        others = [near <= float(part) <= far for part in text.split("|")]
        if near <= first <= far:
            held[row] = ALL if all(others) else FIRST_ONLY
        else:
            held[row] = OTHERS_ONLY if any(others) else NONE
    return held
