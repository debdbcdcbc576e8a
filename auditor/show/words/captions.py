"""Titles of sections, and what the page says of its own pictures."""

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


def thumbnails_held(held: int, frames: int) -> str:
    """Say how many thumbnails the page holds.

    >>> thumbnails_held(300, 412), thumbnails_held(0, 60)
    ('The page holds 300 thumbnails; 112 more frames by name.', 'The page holds no thumbnail.')
    """
    if not held:
        return "The page holds no thumbnail."
    more = f"; {whole(frames - held)} more frames by name" if frames > held else ""
    return f"The page holds {counted(held, 'thumbnail')}{more}."


def more_elsewhere(left: int, thing: str) -> str:
    """Say where the rest stands that the page has no room for; empty if it shows all."""
    return f"{counted(left, f'more {thing}')} in audit.json." if left > 0 else ""
