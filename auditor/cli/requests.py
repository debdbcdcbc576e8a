"""Turns typed options into a request, and guards the photographs from being written among."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import typer

from auditor.errors import OutputError, UnitError
from auditor.optics.sensors import parse_criterion
from auditor.settings import UNMARKED_RULES, Request
from auditor.text import shown_path
from auditor.units import parse_exposure_time_s

MOST_REPEATED = 5  # sources that a suggested command names again


def make_request(
    sources: list[Path],
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

    Raises
    ------
    UnitError
        If a value cannot be read or lies outside what is allowed.
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
    sources: list[Path], session: Path | None, notes: Path | None, beside: Path | None
) -> tuple[Path | None, Path | None]:
    """Statements that ``prepare`` has left in the current folder, and a line that says they were taken."""
    from auditor.intake.beside import NOTES_FOLDER, statements_beside

    found = statements_beside(sources, beside or Path(NOTES_FOLDER))
    if found is None:
        return None, None
    outer_session = found.session if session is None else None
    outer_notes = found.notes if notes is None else None
    taken = [str(path) for path in (outer_session, outer_notes) if path is not None]
    if taken:
        typer.echo(
            f"With {' and '.join(taken)}, where nothing among the photographs says otherwise.", err=True
        )
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
    from auditor.intake.library.cache import CACHE_NAME, cache_folder

    return cache_folder() / CACHE_NAME


def output_folder(out: Path | None, default: str, sources: list[Path], command: str) -> Path:
    """Folder for results; a default that would lie among the photographs is refused.

    Raises
    ------
    OutputError
        With the exact command to use instead.
    """
    from auditor.intake.sources import folders_of

    if out is not None:
        if out.exists() and not out.is_dir():
            raise OutputError(f"--out {out} is a file.", "Name a folder.")
        return out
    folder = Path(default)
    photographs = [place for source in sources for place in folders_of(source)]
    if not any(lies_in(folder, place) for place in photographs):
        return folder
    place = Path(os.path.abspath(folder.parent))
    while place != place.parent and any(lies_in(place / default, other) for other in photographs):
        place = place.parent
    named = " ".join(_quoted(str(item)) for item in sources)
    told = f"auditor {command} {named}" if len(sources) <= MOST_REPEATED else "the same command"
    raise OutputError(
        f"The results would be written inside {shown_path(Path.cwd())}, among the photographs.",
        f"Use: {told} --out {_quoted(str(place / default))}",
    )


def lies_in(path: Path, folder: Path) -> bool:
    """Whether a path, there or not, lies in a folder, by whatever name or letter case that is called."""
    resolved = path.resolve()
    for upper in (resolved, *resolved.parents):
        try:
            if upper.samefile(folder):
                return True
        except OSError:
            continue
    return False


def _quoted(text: str) -> str:
    import shlex

    return shlex.quote(text)
