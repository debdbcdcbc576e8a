"""Titles of sections, captions of charts and tables, heads of columns, and the filter's note."""

from __future__ import annotations

from auditor.show.words.figures import whole

TITLES = {
    "verdict": "Verdict",
    "presets": "Hit rate per preset",
    "distances": "Keepers over distance",
    "causes": "Why frames were not kept",
    "frames": "Frames to look at",
    "tuning": "Aperture",
    "tolerance": "Keeper tolerance",
    "advice": "What to set next",
    "sessions": "Sessions over time",
    "fallout": "What fell out",
    "measured": "Pictures measured",
    "method": "Assumptions and method",
    "glossary": "Words",
}
COMPARED, MET, WALK, PROBLEMS = (
    "Compared within the same session and light", "Distances met", "The next walk", "Problems",
)  # fmt: skip
FILTERED = (
    "Tables of presets, distance bands and sessions show what was chosen; charts, the distances met and the "
    "causes of each preset fade or leave out other lenses. Every sentence and every other figure speaks of "
    "the whole archive."
)
NOTHING_CHOSEN = "Nothing here for what was chosen."

_CHARTS = {
    "presets": "Dot: share of bursts that hold a keeper. Band: its {level} interval. Tick: share of frames.",
    "together": "Dashed line: all presets together.",
    "distances": "Bars: frames by subject distance, put back to all frames; solid and upward kept, hollow "
    "and downward not kept, each lane to its own height. Yellow: the sharp zone between its limits. Dotted: "
    "where the ring was set.",
    "causes": "Of 100 frames not kept, by what is consistent with it; lines are {level} intervals. Hollow: "
    "not explained by blur.",
    "tuning": "For each stop, at its best ring setting: expected hit rate (dot with {level} interval), what "
    "is lost above it, and the observed rate of bursts (square) with its interval and n.",
    "observed": "For each stop the observed rate of bursts (square) with its {level} interval and n; without "
    "a keeper curve no rate can be expected.",
    "tolerance": "Squares: hit rate of bursts of like blur, put back to all bursts, with {level} interval "
    "and number of bursts. Line: the fitted curve with its band. Yellow: the interval of the tolerance.",
    "advice": "Expected hit rate in per cent for each engraving (along) and stop (upward). Circle: the ring "
    "as it is used most. Square: first in order of preference. Grey: no experience there.",
    "sessions": "Hit rate of each session with its {level} interval, and below it the bursts it rests on.",
    "limits": "Dashed: the rate of all sessions. Grey: control limits, wide enough for places and light to "
    "differ. Hollow: outside them.",
}
_TABLES = {
    "presets": "Each preset with its sharp zone and rates; small figures are {level} intervals.",
    "bands": "Share of all frames kept in each distance band, with {level} interval; then keepers and frames "
    "with a distance, as they are, and where those keepers are few, ×: times as often as at all distances.",
    "met": "Where subjects stood, each burst counting once; small figures are {level} intervals, and n.",
    "causes": "Frames of each preset that were not kept, at a known distance, by what is consistent with it; "
    "small figures are {level} intervals.",
    "tuning": "Each stop of {lens}; small figures are {level} intervals.",
    "advice": "Settings of {lens} in order of preference; small figures are {level} intervals.",
    "sessions": "Each session in order of time; small figures are {level} intervals.",
    "fallout": "From files to counted frames.",
    "method": "What was assumed, and from where.",
}
# Heads of columns; those that end in # stand over figures.
_HEADS = {
    "presets": (
        "Preset", "Sharp zone", "Hit rate#", "Hits#", "Bursts#", "Frame rate#", "Frames#", "Keepers an hour#",
    ),
    "met": ("Preset", "Bursts#", "Middle#", "Half of them#", "Nine tenths#", "In the zone#"),
    "causes": (
        "Preset", "Not kept#", "Nearer than the ring#", "Farther than the ring#", "Subject motion#",
        "Diffraction#", "Not explained by blur#",
    ),
    "tuning": (
        "Stop", "Best ring#", "Expected#", "Observed#", "Bursts#", "Lost to defocus#", "Lost to motion#",
        "Lost to diffraction#", "Too dark#",
    ),
    "advice": ("Setting", "Sharp zone", "Expected#", "Usual exposure", "Keepers an hour#"),
    "sessions": (
        "Session", "When", "Hit rate#", "Hits#", "Bursts#", "Frame rate#", "Frames counted#", "Frames taken#",
    ),
    "fallout": ("Number", "What it counts"),
    "method": ("Subject", "What was assumed", "Source"),
}  # fmt: skip


def of_chart(name: str, level: str) -> str:
    """Say how a chart is read; ``level`` is that of its intervals, as ``95 %``."""
    return _CHARTS[name].format(level=level)


def of_table(name: str, level: str, lens: str = "") -> str:
    """Say what a table shows."""
    return _TABLES[name].format(level=level, lens=lens)


def heads(name: str) -> list[tuple[str, bool]]:
    """List a table's heads, each with whether figures stand below it."""
    return [(head.removesuffix("#"), head.endswith("#")) for head in _HEADS[name]]


def session_choice(offered: int, sessions: int) -> str:
    """Name the choice of a session; on a large archive only the latest are offered.

    Examples
    --------
    >>> session_choice(3, 3), session_choice(240, 250)
    ('Session', 'Session (the latest 240)')
    """
    return "Session" if offered >= sessions else f"Session (the latest {whole(offered)})"


def lanes_left(shown: int, presets: int) -> str:
    """Say which presets have no lane in the distance chart; empty if all have one.

    Examples
    --------
    >>> lanes_left(12, 30)
    'Shown are the 12 most used of 30 presets; the table holds them all.'
    """
    if shown >= presets:
        return ""
    return f"Shown are the {whole(shown)} most used of {whole(presets)} presets; the table holds them all."
