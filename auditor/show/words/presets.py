"""What is said of the presets and their hit rates."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from auditor.evidence.presets import OTHER
from auditor.show.words.figures import counted, interval, listed, percent, setting, shorten, whole

NO_MARKS = (
    "No frame carries a mark that counts, so there is no hit rate yet. Save ratings into the files or into "
    "sidecars, or name a folder of selects with --keepers, and run the audit again."
)
NO_PRESETS = (
    "No frame has a whole zone setting (focal length, f-number and focus distance). Lenses that report "
    "nothing need a session file: auditor prepare writes one to fill in."
)


def preset_label(row: Any, units: str, limit: int = 1000) -> str:
    """Name a preset with its setting, unless the name says it already.

    Parameters
    ----------
    row : named tuple or pandas.Series
        A row of the presets as shown.
    units : str
    limit : int
        Most characters; a longer name is cut, the setting never.
    """
    if row.preset == OTHER:
        return "other presets together"
    set_to = setting(row.focal_length_mm, row.f_number, row.focus_distance_m, units)
    grouped = str(row.preset_source) == "grouped"
    name = (row.lens if isinstance(row.lens, str) else "") if grouped else str(row.preset)
    if not name or (grouped and name == set_to.partition(" f/")[0]):
        return set_to
    return f"{shorten(name, max(limit - len(set_to) - 3, 8))} · {set_to}"


def in_prose(row: Any, units: str) -> str:
    """Name a preset inside a sentence."""
    name, dot, set_to = preset_label(row, units).partition(" · ")
    return f"“{name}” ({set_to})" if dot else name


def burst_count(hits: float, bursts: float) -> str:
    """Say a rate's n beside the chart."""
    return f"{whole(hits)} of {counted(bursts, 'burst')}" if bursts else "nothing counted"


def overall(rates: dict[str, float], confidence: float) -> str:
    """Say how it went on the whole."""
    if not rates["bursts"]:
        return NO_MARKS
    level = f"{100 * confidence:g} % interval {interval(rates['low'], rates['high'])}"
    if not rates["hits"]:
        return (
            f"None of the {counted(rates['bursts'], 'burst')} that count holds a keeper; with so many, the "
            f"true rate can still be up to {percent(rates['high'])}."
        )
    verb = "holds" if rates["hits"] == 1 else "hold"
    return (
        f"Of {counted(rates['bursts'], 'burst')} that count, {whole(rates['hits'])} {verb} a keeper: a hit "
        f"rate of {percent(rates['hit_rate'])} ({level})."
    )


def nothing_counts(counts: Mapping[str, int | None]) -> str:
    """Say why there is no hit rate: no mark, or marks on frames that belong to no preset."""
    marked = counts["marked"] or 0
    if not marked:
        return NO_MARKS
    return (
        f"{whole(counts['keepers'] or 0)} of {counted(marked, 'frame')} that count were kept, but none "
        "of them belongs to a preset, so there is no hit rate yet."
    )


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


def which_worked(presets: pd.DataFrame, units: str) -> str:
    """Say which preset did best, and whether that can be told from chance by the intervals alone.

    Non-overlapping intervals are a stricter test than a difference needs, so it errs on the side of
    "cannot tell".
    """
    known = presets[(presets["bursts"] > 0) & (presets["preset"] != OTHER)]
    if not len(presets):
        return NO_PRESETS
    if not len(known):
        return ""
    # By the rate pulled toward the common one: three of three is no better than sixty of a hundred.
    ordered = known.sort_values("shrunk_rate", ascending=False, kind="stable")
    best = ordered.iloc[0]
    name = in_prose(best, units)
    rate = f"{percent(best.hit_rate)} of {counted(best.bursts, 'burst')} ({interval(best.low, best.high)})"
    if len(ordered) == 1:
        if (presets["bursts"] > 0).sum() > 1:  # the small ones together
            return f"Only one preset has more than a few counted frames: {name}, with {rate}."
        return f"Only one preset has counted bursts: {name}."
    if not best.hits:
        return "No preset brought a keeper, so none can be preferred."
    rest = ordered.iloc[1:]
    beaten = rest[rest["high"] < best.low]
    if len(beaten) == len(rest):
        against = "the other" if len(rest) == 1 else "every other"
        return (
            f"The preset {name} worked best: {rate}, above the interval of {against} preset. Places and "
            "light may have had their part in that."
        )
    start = f"The preset {name} is ahead with {rate}"
    if not len(beaten):
        return f"{start}, but the intervals overlap: these frames cannot tell the presets apart."
    names = listed([f"“{label}”" for label in beaten["preset"].head(3)])
    more = f" and {len(beaten) - 3} more" if len(beaten) > 3 else ""
    return f"{start}; that is clearly above {names}{more}, but cannot be told from the rest."


def ahead(presets: pd.DataFrame, units: str) -> str:
    """Name the preset that is ahead by its rate pulled toward the common one; empty with fewer than two."""
    known = presets[(presets["bursts"] > 0) & (presets["preset"] != OTHER)]
    if len(known) < 2 or not known["hits"].any():
        return ""
    best = known.loc[known["shrunk_rate"].idxmax()]
    rate = f"{percent(best.hit_rate)} of {counted(best.bursts, 'burst')} ({interval(best.low, best.high)})"
    return f"Ahead so far, perhaps by chance or by place and light, is {in_prose(best, units)} with {rate}."


def chart_finding(presets: pd.DataFrame, units: str) -> str:
    """State the finding of the preset chart for those who cannot see it."""
    parts = [
        f"{preset_label(row, units)}: {percent(row.hit_rate)}, interval {interval(row.low, row.high)}, "
        f"{burst_count(row.hits, row.bursts)}"
        for row in presets.itertuples()
        if not math.isnan(row.hit_rate)
    ]
    return "Hit rate of each preset. " + "; ".join(parts) + "." if parts else NO_MARKS
