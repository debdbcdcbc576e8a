"""What is said of presets: their hit rates, and how they compare within the same sessions and light."""

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from auditor.evidence.presets import OTHER
from auditor.show.words.figures import (
    about,
    counted,
    interval,
    listed,
    percent,
    points,
    points_interval,
    setting,
    shorten,
    whole,
)

MOST_BURSTS = 1000  # of one preset: more than walks can bring
TOLD_SAID, OTHERS_SAID = 8, 3  # pairs spelled out: those told apart, and others


def preset_label(row: Any, units: str, limit: int = 1000) -> str:
    """Name a preset with its setting, unless the name says it; a long name is cut, the setting never."""
    if row.preset == OTHER:
        return "other presets together"
    set_to = setting(row.focal_length_mm, row.f_number, row.focus_distance_m, units)
    grouped = str(row.preset_source) == "grouped"
    name = (row.lens if isinstance(row.lens, str) else "") if grouped else str(row.preset)
    if not name or (grouped and name == set_to.partition(" f/")[0]):
        return set_to
    return f"{shorten(name, max(limit - len(set_to) - 3, 8))} · {set_to}"


def ring_and_stop(row: Any, units: str) -> str:
    """Write a preset's setting, without the lens."""
    return setting(row.focal_length_mm, row.f_number, row.focus_distance_m, units).partition(" mm ")[2]


def burst_count(hits: float, bursts: float) -> str:
    """Say a rate's n beside the chart."""
    return f"{whole(hits)} of {counted(bursts, 'burst')}" if bursts else "nothing counted"


def by_frames(rates: dict[str, float], confidence: float) -> str:
    """Say how it went by frames; empty where nothing counts."""
    if not rates["frames"]:
        return ""
    level = f"{100 * confidence:g} % interval {interval(rates['frame_low'], rates['frame_high'])}"
    return (
        f"Frame by frame, {whole(rates['keepers'])} of {counted(rates['frames'], 'frame')} were kept: "
        f"{percent(rates['frame_rate'])} ({level}). Bursts are the fairer count: of a burst, one keeper is "
        "enough."
    )


def best_of_all(sure: Sequence[tuple[str, str]]) -> str:
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
    surely = known["better"].notna()
    return [*known[surely].head(TOLD_SAID).itertuples(), *known[~surely].head(OTHERS_SAID).itertuples()]


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
        winner, loser, sign = (a, b, 1) if row.better == row.preset_a else (b, a, -1)
        span = points_interval(*sorted((sign * row.low, sign * row.high)))
        size = f"{points(abs(row.difference))} ({span})"
        return f"{winner} worked better than {loser} by {size}; {shared} compared."
    start = (
        f"{a} and {b} cannot be told apart: a difference of {points(row.difference)} "
        f"({points_interval(row.low, row.high)}), {shared}"
    )
    if pd.isna(row.more_bursts):
        return f"{start}: too small to act on."
    if row.more_bursts > MOST_BURSTS:
        return f"{start}. It would not show in {whole(MOST_BURSTS)} more bursts of each."
    more = f" It would show in about {about(row.more_bursts)} more bursts of each, if it is there."
    return f"{start}.{more if row.more_bursts > 0 else ''}"


def _quoted(names: list[Any]) -> list[str]:
    return [f"“{name}”" for name in names]
