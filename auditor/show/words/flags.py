"""What stands in the way of a tolerance, one sentence for each flag."""

from __future__ import annotations

from collections.abc import Collection, Iterable

SENTENCES = {
    "no_distances": "No counted frame has a subject distance, so no blur is known; auditor prepare lays out "
    "a sheet of frames to measure.",
    "few_verdicts": "Fewer than 30 verdicts on sharpness were given, so your keepers stand in for them; the "
    "sheet that auditor prepare lays out asks for them.",
    "too_wide": "Marks and verdicts hardly narrow what is usual.",
    "verdicts_reversed": "The more blur was worked out, the more often you called a frame sharp: look at the "
    "distances and settings that were noted.",
    "blur_decides_nothing": "What you keep does not follow blur.",
}


def sentences(flags: Iterable[str], said: Collection[str] = ()) -> list[str]:
    """Write each flag as a sentence, once, in the order given, without those said already."""
    return [SENTENCES[flag] for flag in dict.fromkeys(flags) if flag not in said]
