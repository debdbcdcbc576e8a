"""What is said of keepers over distance."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from auditor.show.words.figures import counted, interval, listed, percent, times, times_span, whole

NO_DISTANCES = (
    "No counted frame has a subject distance, so it cannot be said where frames were lost. The column "
    "subject_distance in notes.csv takes them; auditor prepare --distances 60 picks frames to measure."
)
DRAWN = (
    "The frames with distances were drawn, keepers more readily than others; every share over distance is "
    "put back to all frames that count."
)
SOME = (
    "Distances are known for some frames only, and not for the same part of each preset and mark; every "
    "share over distance is put back to all frames that count."
)
FEW_KEEPERS = 10  # behind a share: with fewer, how many times as often is told beside it
NAMED = 3
_MARKS = {"keeper": "keepers", "not kept": "frames not kept"}


def in_and_out(tally: dict[str, float]) -> str:
    """Say how frames inside their sharp zone fared (:func:`auditor.show.chart_tables.zone_rates`)."""
    inside, outside = tally["in_frames"], tally["out_frames"]
    if not inside and not outside:
        return NO_DISTANCES if tally["no_distance"] else ""
    known = f"Of {counted(inside + outside, 'counted frame')} with a subject distance"
    within = f"{percent(tally['in_rate'])} ({interval(tally['in_low'], tally['in_high'])})"
    without = f"{percent(tally['out_rate'])} ({interval(tally['out_low'], tally['out_high'])})"
    if math.isnan(tally["in_rate"]) and math.isnan(tally["out_rate"]):
        return f"{known}, {whole(inside)} lay inside the sharp zone; they cannot stand for the other frames."
    if not outside:
        return (
            f"{known} all lay inside the sharp zone, where {within} of the frames were kept: the zone cannot "
            "be compared with what lies outside it."
        )
    if not inside:
        return (
            f"{known} none lay inside the sharp zone; {without} of the frames were kept all the same. Check "
            "the focus distance and what distances are measured from."
        )
    measured = f"{whole(inside)} and {whole(outside)} frames with a distance"
    return (
        f"Inside the sharp zone {within} of the frames were kept, outside it {without} "
        f"({measured}){_times_as_often(tally)}."
    )


def drawn(
    frames: int, inside: int, kept_inside: int, kept_outside: int, *, marked: bool, sample: bool
) -> str:
    """Say what the frames of one preset show against its zone."""
    if not frames:
        return "No frame here has a subject distance, so none can be drawn."
    verb = "subject here stood" if frames == 1 else "subjects here stood"
    said = f"{whole(inside)} of {whole(frames)} {verb} in the zone"
    if not marked:
        return f"{said}. Not one carries a mark."
    said += f"; kept: {whole(kept_inside)} of them and {whole(kept_outside)} outside."
    if sample:
        said += " Keepers and others were measured in unlike parts, so dots are no rates."
    return said


def not_drawn(frames: int) -> str:
    """Say how many frames have no distance; empty if none."""
    return f"{counted(frames, 'frame')} without a distance not drawn." if frames else ""


def _times_as_often(tally: dict[str, float]) -> str:
    """Say how many times as often frames inside were kept, where few keepers stand behind the shares."""
    if min(tally["in_kept"], tally["out_kept"]) >= FEW_KEEPERS or not tally["times_high"] > 0:
        return ""
    span = times_span(tally["times_low"], tally["times_high"])
    return f": {times(tally['times'])} times as often inside ({span})"


def times_overall(band: Any) -> str:
    """Write how many times as often a band's frames were kept as all, where few keepers stand behind it."""
    if band.keepers >= FEW_KEEPERS or not band.times_overall > 0:
        return ""
    return f", ×{times(band.times_overall)}"


def put_back(tally: dict[str, float]) -> str:
    """Say that shares are put back to all frames; empty where every counted frame has a distance."""
    if not tally["put_back"]:
        return ""
    return DRAWN if tally["drawn"] else SOME


def without_distances(unheard: pd.DataFrame) -> str:
    """Name the presets and marks that no share over distance speaks for; empty if there are none."""
    if not len(unheard):
        return ""
    cells = [
        f"the {whole(row.frames)} {_MARKS[row.counted_as]} of “{row.preset}”" for row in unheard.itertuples()
    ]
    more = f" and {len(cells) - NAMED} more groups" if len(cells) > NAMED else ""
    return f"No distance is known of {listed(cells[:NAMED])}{more}, which stay out of these shares."


def lane_count(tally: dict[str, float]) -> str:
    """Say a lane's shares and their n beside its bars."""
    if not tally["in_frames"] and not tally["out_frames"]:
        return "nothing counted at a known distance"
    within, without = (
        f"{percent(tally[f'{side}_rate'])}, n {whole(tally[f'{side}_frames'])}"
        if tally[f"{side}_frames"]
        else "none"
        for side in ("in", "out")
    )
    return f"kept in zone {within} · outside {without}"
