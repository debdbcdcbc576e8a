"""Verdicts on sharpness, counted: how many of those judged were sharp, put back to all frames.

Frames were judged by chance within preset and mark; each one judged stands for its share of them. Unsure is
no verdict.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.evidence.bursts import Codes, burst_codes, combined_codes
from auditor.evidence.subjects import weigh_by_mark
from auditor.evidence.weighted_shares import Sampled, weighted_shares

FEWEST_OF_A_KIND, SURELY = 5, 0.01
SHARP_COLUMNS = ("sharp", "sharp_judged", "sharp_rate", "sharp_low", "sharp_high")


@dataclass(frozen=True, slots=True)
class JudgedFrames:
    """The zone-focused frames with a verdict, yes or no, with a fresh index, and how they were drawn."""

    frames: pd.DataFrame
    sampled: Sampled


def judged_frames(frames: pd.DataFrame) -> JudgedFrames:
    """Choose those of the frames met that were judged, whether their marks count or not.

    Reads ``preset, counted_as, sharp, session, burst``.
    """
    judged = frames["sharp"].isin(["yes", "no"]).to_numpy(bool)
    weight, cell, _ = weigh_by_mark(frames, combined_codes(frames["preset"].fillna("")), judged)
    chosen = frames[judged].reset_index(drop=True)
    return JudgedFrames(chosen, Sampled(weight[judged], cell[judged], burst_codes(chosen)))


def verdicts_reversed(frames: pd.DataFrame) -> bool:
    """Whether frames judged sharp have surely more blur than those judged soft: something was noted wrongly.

    Rank sum test, one-sided, one frame of each burst and verdict (Mann and Whitney, Annals of Mathematical
    Statistics 18, 1947). Reads ``sharp, blur_mm, session, burst, preset``.
    """
    judged = frames[frames["sharp"].isin(["yes", "no"]) & frames["blur_mm"].notna()]
    judged = judged.drop_duplicates(["session", "burst", "preset", "sharp"])
    yes = judged["sharp"].eq("yes").to_numpy(bool)
    if min(yes.sum(), (~yes).sum()) < FEWEST_OF_A_KIND:
        return False
    from scipy.stats import mannwhitneyu  # scipy.stats is slow to import

    blur = judged["blur_mm"].to_numpy(float)
    return bool(mannwhitneyu(blur[yes], blur[~yes], alternative="greater").pvalue < SURELY)


def sharp_rates(judged: JudgedFrames, group: Codes, groups: int, confidence: float) -> pd.DataFrame:
    """Count the sharp ones of each group of judged frames, their share put back to all frames.

    ``group`` (0..groups-1, -1 for none) has shape (n,). Returns :data:`SHARP_COLUMNS`, one row a group:
    counts as they are, rates NaN without a verdict.
    """
    yes = judged.frames["sharp"].eq("yes").to_numpy(bool)
    shares = weighted_shares(yes, group, groups, judged.sampled, confidence)
    own = group >= 0
    values = (
        np.bincount(group[own], yes[own], minlength=groups).astype(int),
        np.bincount(group[own], minlength=groups),
        shares.rate,
        shares.low,
        shares.high,
    )
    return pd.DataFrame(dict(zip(SHARP_COLUMNS, values, strict=True)))
