"""Turns what was typed, by a command or in a notebook, into a request; checked before anything is read."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from auditor.errors import UnitError
from auditor.intake.beside import NOTES_FOLDER, statements_beside
from auditor.intake.library.cache import CACHE_NAME, cache_folder
from auditor.optics.sensors import parse_criterion
from auditor.settings import UNMARKED_RULES, Request
from auditor.units import parse_exposure_time_s


def make_request(
    sources: Sequence[Path],
    *,
    session: Path | None = None,
    notes: Path | None = None,
    keepers: Path | None = None,
    unmarked: str | None = None,
    coc: str | None = None,
    confidence: float | None = None,
    units: str | None = None,
    cache: str | None = None,
    workers: int | None = None,
    iso_max: float | None = None,
    wanted_shutter: str | None = None,
    slowest_shutter: str | None = None,
    beside: Path | None = None,
    walk: str | None = None,
) -> Request:
    """Check the options that every command with sources shares, and find the notes that lie beside.

    Raises UnitError if a value cannot be read or lies outside what is allowed.
    """
    if unmarked is not None and unmarked not in UNMARKED_RULES:
        raise UnitError(f"--unmarked {unmarked!r} is not a rule.", f"Allowed: {', '.join(UNMARKED_RULES)}.")
    if confidence is not None and not 0.5 <= confidence < 1:
        raise UnitError(f"--confidence {confidence:g} is not a level.", "Give one from 0.5 to below 1.")
    if units not in (None, "m", "ft"):
        raise UnitError(f"--units {units!r} is neither m nor ft.", "Give m or ft.")
    if coc not in (None, "measured"):
        parse_criterion(coc)
    overrides: dict[str, Any] = {
        "coc": coc,
        "confidence": confidence,
        "units": units,
        "iso_max": iso_max,
        "wanted_shutter_s": parse_exposure_time_s(wanted_shutter) if wanted_shutter else None,
        "slowest_shutter_s": parse_exposure_time_s(slowest_shutter) if slowest_shutter else None,
    }
    left = statements_beside(sources, beside or Path(NOTES_FOLDER))  # by prepare, in the current folder
    default_cache = cache_folder() / CACHE_NAME
    return Request(
        sources=tuple(sources),
        outer_session=left.session if left and session is None else None,
        outer_notes=left.notes if left and notes is None else None,
        session_file=session,
        notes_file=notes,
        keepers_folder=keepers,
        unmarked=unmarked,
        overrides={name: value for name, value in overrides.items() if value is not None},
        cache=None if cache == "off" else Path(cache or default_cache),
        workers=workers,
        walk=walk,
    )
