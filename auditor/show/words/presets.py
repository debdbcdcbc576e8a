"""What is said of the presets and their hit rates."""

from __future__ import annotations

from typing import Any

from auditor.evidence.presets import OTHER
from auditor.show.words.figures import counted, interval, percent, setting, shorten, whole


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
