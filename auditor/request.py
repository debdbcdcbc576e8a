"""Turns what was typed, by a command or in a notebook, into a request; checked before anything is read."""

from __future__ import annotations

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
) -> Request:
    """Check the options that every command with sources shares, and find the notes that lie beside.

    Raises UnitError if a value cannot be read or lies outside what is allowed.
    """
    if unmarked is not None and unmarked not in UNMARKED_RULES:
        raise UnitError(f"--unmarked {unmarked!r} is not a rule.", f"Allowed: {', '.join(UNMARKED_RULES)}.")
    if confidence is not None and not 0.5 <= confidence < 1:
        raise UnitError(f"--confidence {confidence:g} is not a level.", "Give one from 0.5 to below 1.")
    check_units(units)
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
    outer_session, outer_notes = _outermost(sources, session, notes, beside)
    return Request(
        sources=tuple(sources),
        outer_session=outer_session,
        outer_notes=outer_notes,
        session_file=session,
        notes_file=notes,
        keepers_folder=keepers,
        unmarked=unmarked,
        overrides={name: value for name, value in overrides.items() if value is not None},
        cache=_cache_file(cache),
        workers=workers,
    )


def _outermost(
    sources: Sequence[Path], session: Path | None, notes: Path | None, beside: Path | None
) -> tuple[Path | None, Path | None]:
    """Statements that ``prepare`` has left in the current folder."""
    found = statements_beside(sources, beside or Path(NOTES_FOLDER))
    if found is None:
        return None, None
    outer_session = found.session if session is None else None
    outer_notes = found.notes if notes is None else None
    return outer_session, outer_notes


def check_units(units: str | None) -> None:
    """Refuse units other than metres and feet."""
    if units not in (None, "m", "ft"):
        raise UnitError(f"--units {units!r} is neither m nor ft.", "Give m or ft.")


def _cache_file(cache: str | None) -> Path | None:
    if cache == "off":
        return None
    if cache is not None:
        return Path(cache)
    return cache_folder() / CACHE_NAME
