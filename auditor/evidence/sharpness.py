"""Verdicts on sharpness, counted: how many of those judged were sharp, put back to all frames.

Frames were judged by chance within preset and mark; each one judged stands for its share of them. Unsure is
no verdict.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import mannwhitneyu

from auditor.evidence.bursts import burst_codes
from auditor.evidence.subjects import frames_met
from auditor.evidence.weighted_shares import Sampled, weighted_shares

FEWEST_OF_A_KIND, SURELY = 5, 0.01
SHARP_COLUMNS = ("sharp", "sharp_judged", "sharp_rate", "sharp_low", "sharp_high")


def judged_frames(table: pd.DataFrame) -> tuple[pd.DataFrame, Sampled]:
    """Return the zone-focused frames with a verdict, yes or no, with a fresh index, and how they were drawn.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table. Of a lens of which nothing counts, all frames stand for each other.
    """
    frames = frames_met(table)
    cell = frames.groupby([frames["preset"].fillna(""), frames["counted_as"].fillna("")], sort=False).ngroup()
    judged = frames["sharp"].isin(["yes", "no"]).to_numpy(bool)
    code = cell.to_numpy(np.intp)
    size, known = np.bincount(code, minlength=1), np.bincount(code, judged, minlength=1)
    weight = (size / np.maximum(known, 1))[code]
    chosen = frames[judged].reset_index(drop=True)
    return chosen, Sampled(weight[judged], code[judged], burst_codes(chosen))


def verdicts_reversed(frames: pd.DataFrame) -> bool:
    """Whether frames judged sharp have surely more blur than those judged soft: something was noted wrongly.

    Rank sum test, one-sided, one frame of each burst and verdict (Mann and Whitney, Annals of Mathematical
    Statistics 18, 1947).

    Parameters
    ----------
    frames : pandas.DataFrame
        With ``sharp`` and ``blur_mm``, of one lens or several.
    """
    judged = frames[frames["sharp"].isin(["yes", "no"]) & frames["blur_mm"].notna()]
    judged = judged.drop_duplicates(["session", "burst", "preset", "sharp"])
    yes = judged["sharp"].eq("yes").to_numpy(bool)
    if min(yes.sum(), (~yes).sum()) < FEWEST_OF_A_KIND:
        return False
    blur = judged["blur_mm"].to_numpy(float)
    return bool(mannwhitneyu(blur[yes], blur[~yes], alternative="greater").pvalue < SURELY)


def sharp_rates(
    chosen: pd.DataFrame,
    sampled: Sampled,
    group: npt.NDArray[np.intp],
    groups: int,
    confidence: float,
) -> pd.DataFrame:
    """Count the sharp ones of each group, their share put back to all frames.

    Parameters
    ----------
    chosen, sampled
        From :func:`judged_frames`.
    group : numpy.ndarray of int, shape (n,)
        Group of each frame, 0..groups-1, -1 for none.
    groups : int
    confidence : float

    Returns
    -------
    pandas.DataFrame
        :data:`SHARP_COLUMNS`, one row a group; counts as they are, rates weighted and NaN without a verdict.
    """
    yes = chosen["sharp"].eq("yes").to_numpy(bool)
    shares = weighted_shares(yes, group, groups, sampled, confidence)
    own = group >= 0
    values = (
        np.bincount(group[own], yes[own], minlength=groups).astype(int),
        np.bincount(group[own], minlength=groups),
        shares.rate,
        shares.low,
        shares.high,
    )
    return pd.DataFrame(dict(zip(SHARP_COLUMNS, values, strict=True)))
