"""Several subjects in one frame: which of them stood in the sharp zone."""

import numpy as np
import pandas as pd

HELD = ("all_in_zone", "only_first_in_zone", "only_others_in_zone", "none_in_zone")


def count_company(frames: pd.DataFrame) -> dict[str, int]:
    """Count the frames with several subjects by which of them the zone held, keys :data:`HELD`.

    Frames without a zone, or with one distance alone, are not counted. Reads ``near_limit_m, far_limit_m,
    subject_distance_m, other_subjects_m``.
    """
    held = held_in_zone(frames)
    return {name: int((held == name).sum()) for name in HELD}


def company_by_preset(frames: pd.DataFrame) -> dict[str, dict[str, int]]:
    """Count them for each preset that has such frames, in the order of their names. Reads ``preset``, too."""
    several = frames[frames["other_subjects_m"].notna()]
    found = {str(name): count_company(own) for name, own in several.groupby("preset")}
    return {name: counts for name, counts in found.items() if any(counts.values())}


def held_in_zone(frames: pd.DataFrame) -> np.ndarray:
    """Say of each frame which of its subjects the zone held, one of :data:`HELD`, shape (n,) of object.

    Further subjects than the one meant are joined by ``|``; the first counts as the only one also where some
    of the others are held. None for one subject, and where zone or distance is unknown.

    >>> zone = {"near_limit_m": 1.5, "far_limit_m": 4.0}
    >>> several = {"subject_distance_m": [2.0, 2.0, 1.0], "other_subjects_m": ["3.96", "3|5", None]}
    >>> held_in_zone(pd.DataFrame(zone | several)).tolist()
    ['all_in_zone', 'only_first_in_zone', None]
    """
    held = np.full(len(frames), None, dtype=object)
    limits = frames[["near_limit_m", "far_limit_m", "subject_distance_m"]].to_numpy(float)
    for row, text in enumerate(frames["other_subjects_m"]):
        if not isinstance(text, str) or not text or np.isnan(limits[row]).any():
            continue
        near, far, first = limits[row]
        others = [near <= float(part) <= far for part in text.split("|")]
        if near <= first <= far:
            held[row] = HELD[0] if all(others) else HELD[1]
        else:
            held[row] = HELD[2] if any(others) else HELD[3]
    return held
