"""What is said of keepers over distance."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from auditor.show.words.figures import counted, interval, percent, whole, zone

NO_DISTANCES = (
    "No counted frame has a subject distance, so it cannot be said where frames were lost. The column "
    "subject_distance in notes.csv takes them; auditor prepare --distances 60 picks frames to measure."
)


def in_and_out(tally: dict[str, float]) -> str:
    """Say how frames inside their sharp zone fared against those outside it.

    Parameters
    ----------
    tally : dict
        ``in_kept``, ``in_frames``, ``out_kept``, ``out_frames``, ``no_distance``: counted frames; ``in_low``,
        ``in_high``, ``out_low``, ``out_high``: the intervals of the shares kept.
    """
    inside, outside = tally["in_frames"], tally["out_frames"]
    if not inside and not outside:
        return NO_DISTANCES if tally["no_distance"] else ""
    known = f"Of {counted(inside + outside, 'counted frame')} with a subject distance"
    if not outside:
        return (
            f"{known} all lay inside the sharp zone, and {whole(tally['in_kept'])} were kept: the zone "
            "cannot be compared with what lies outside it."
        )
    if not inside:
        return (
            f"{known} none lay inside the sharp zone; {whole(tally['out_kept'])} were kept all the same. "
            "Check the focus distance and what distances are measured from."
        )
    within = f"{percent(tally['in_kept'] / inside)} ({interval(tally['in_low'], tally['in_high'])})"
    without = f"{percent(tally['out_kept'] / outside)} ({interval(tally['out_low'], tally['out_high'])})"
    return (
        f"{known}, {within} of the {whole(inside)} inside the sharp zone were kept, and {without} of the "
        f"{whole(outside)} outside it."
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
        return f"{said}. None carries a mark."
    said += f"; kept: {whole(kept_inside)} of them and {whole(kept_outside)} outside."
    if sample:
        said += " Keepers and others were measured in unlike parts, so dots are no rates."
    return said


def not_drawn(frames: int) -> str:
    """Say how many frames have no distance; empty if none."""
    return f"{counted(frames, 'frame')} without a distance not drawn." if frames else ""


def lane_count(inside_kept: float, inside: float, outside_kept: float, outside: float) -> str:
    """Say a lane's n beside its bars."""
    if not inside and not outside:
        return "nothing counted at a known distance"
    within, without = f"{whole(inside_kept)} of {whole(inside)}", f"{whole(outside_kept)} of {whole(outside)}"
    return f"in zone {within} kept · outside {without}"


def chart_finding(tally: dict[str, float], lanes: Mapping[str, pd.DataFrame], units: str) -> str:
    """State the finding of the distance chart for those who cannot see it."""
    zones = "; ".join(
        f"{row.label}: sharp {zone(row.near_limit_m, row.far_limit_m, row.focus_distance_m, units)}, "
        f"{row.count_label}"
        for row in lanes[units].itertuples()
    )
    return f"{in_and_out(tally)} By preset: {zones}."
