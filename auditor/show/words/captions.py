"""Titles of sections, captions of charts and tables, heads of columns."""

from __future__ import annotations

from auditor.show.words.figures import counted, whole

TITLES = {
    "next": "Next time",
    "walk": "This walk",
    "presets": "Presets",
    "lost": "Why lost",
    "sure": "How sure",
    "rest": "Everything else",
}

_CHARTS = {
    "over_time": "Share of presses kept, walk by walk. Band: between 19 of 20 and 19 of 20 such walks would "
    "lie, by the walks before; large dots lie outside it.",
    "tolerance": "Squares: hit rate of bursts of like blur, with {level} interval. Line: the fitted curve in "
    "its band. Dashed: the tolerance, and the handbook's value.",
}
_TABLES = {
    "presets": "Each preset with its sharp zone and rates; small figures are {level} intervals.",
    "bands": "Share of all frames kept in each distance band, with {level} interval; then keepers and frames "
    "with a distance, as they are, and where those keepers are few, ×: times as often as at all distances.",
    "met": "Where subjects stood, each burst counting once; small figures are {level} intervals, and n.",
    "causes": "Frames of each preset that were not kept, at a known distance, by what is consistent with it; "
    "small figures are {level} intervals.",
    "tuning": "Each stop of {lens}; small figures are {level} intervals.",
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
        "Preset", "Not kept#", "Too near#", "Too far#", "Subject motion#",
        "Diffraction#", "Not explained by blur#",
    ),
    "tuning": (
        "Stop", "Best ring#", "Expected#", "Observed#", "Bursts#", "Lost to defocus#", "Lost to motion#",
        "Lost to diffraction#", "Too dark#",
    ),
    "sessions": (
        "Walk", "When", "0 to 100 %", "Hit rate#", "Hits#", "Bursts#", "Frames counted#", "Frames taken#",
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


def thumbnails_held(held: int, frames: int) -> str:
    """Say how many thumbnails the page holds.

    Examples
    --------
    >>> thumbnails_held(300, 412), thumbnails_held(0, 60)
    ('The page holds 300 thumbnails; 112 more frames by name.', 'The page holds no thumbnail.')
    """
    if not held:
        return "The page holds no thumbnail."
    more = f"; {whole(frames - held)} more frames by name" if frames > held else ""
    return f"The page holds {counted(held, 'thumbnail')}{more}."
