"""What is said of presets compared within the same sessions and the same light."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from auditor.show.words.figures import about, counted, listed, points, points_interval, whole

MOST_BURSTS = 1000  # of one preset: more than walks can bring
TOLD_SAID, OTHERS_SAID = 8, 3  # pairs spelled out: those told apart, and others


def title(sure: Sequence[tuple[str, str]]) -> str:
    """Say in a title which presets beat which; pairs of better and worse, at least one."""
    best = sure[0][0]
    beaten = [worse for better, worse in sure if better == best]
    more = f" and {len(beaten) - 2} more" if len(beaten) > 2 else ""
    return f"{_quoted([best])[0]} keeps more than {listed(_quoted(beaten[:2]))}{more}"


def pairs_to_say(pairs: pd.DataFrame) -> list[Any]:
    """Choose the pairs worth a sentence: those told apart, then of the others the best known."""
    known = pairs.assign(known=pairs[["shared_a", "shared_b"]].min(axis=1)).sort_values(
        "known", ascending=False, kind="stable"
    )
    told = known["better"].notna()
    return [*known[told].head(TOLD_SAID).itertuples(), *known[~told].head(OTHERS_SAID).itertuples()]


def pair(row: Any) -> str:
    """Say how two presets compare."""
    a, b = _quoted([row.preset_a, row.preset_b])
    if row.status == "same_setting":
        return f"{a} and {b} are one setting under two names, and are not compared."
    if row.status != "compared":
        outings = row.status == "different_outings"
        apart, doing = ("on the same outing", "outing") if outings else ("in the same light", "light")
        return (
            f"{a} and {b} were never used {apart}; their plain rates differ by "
            f"{points(abs(row.rate_a - row.rate_b))}, which may be the {doing}'s doing."
        )
    shared = f"{whole(row.shared_a)} and {counted(row.shared_b, 'burst')}"
    if math.isnan(row.p_value):
        return f"{a} and {b} share too little to compare ({shared})."
    if isinstance(row.better, str):
        winner, loser, low, high = (a, b, row.low, row.high)
        if row.better != row.preset_a:
            winner, loser, low, high = (b, a, -row.high, -row.low)
        size = f"{points(abs(row.difference))} ({points_interval(low, high)})"
        return f"{winner} worked better than {loser} by {size}; {shared} compared."
    start = (
        f"{a} and {b} cannot be told apart: a difference of {points(row.difference)} "
        f"({points_interval(row.low, row.high)}), {shared}"
    )
    if pd.isna(row.more_bursts):
        return f"{start}: too small to act on."
    if row.more_bursts > MOST_BURSTS:
        return f"{start}. It would not show in {whole(MOST_BURSTS)} more bursts of each."
    if row.more_bursts > 0:
        return (
            f"{start}. It would show in about {about(row.more_bursts)} more bursts of each, if it is there."
        )
    return f"{start}."


def _quoted(names: list[Any]) -> list[str]:
    return [f"“{name}”" for name in names]
