"""Turns typed options into a request, and guards the photographs from being written among."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from auditor.errors import OutputError, UnitError
from auditor.settings import UNMARKED_RULES, Request
from auditor.units import parse_exposure_time_s


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
    measure: bool = False,
    iso_max: float | None = None,
    wanted_shutter: str | None = None,
    slowest_shutter: str | None = None,
) -> Request:
    """Check the options that every command with sources shares.

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
    overrides: dict[str, Any] = {
        "coc": coc,
        "confidence": confidence,
        "units": units,
        "iso_max": iso_max,
        "wanted_shutter_s": parse_exposure_time_s(wanted_shutter) if wanted_shutter else None,
        "slowest_shutter_s": parse_exposure_time_s(slowest_shutter) if slowest_shutter else None,
    }
    return Request(
        sources=tuple(sources),
        session_file=session,
        notes_file=notes,
        keepers_folder=keepers,
        unmarked=unmarked,
        overrides={name: value for name, value in overrides.items() if value is not None},
        cache=_cache_file(cache),
        workers=workers,
        measure=measure,
    )


def check_units(units: str | None) -> None:
    """Refuse units other than metres and feet."""
    if units not in (None, "m", "ft"):
        raise UnitError(f"--units {units!r} is neither m nor ft.", "Give m or ft.")


def _cache_file(cache: str | None) -> Path | None:
    if cache == "off":
        return None
    if cache is not None:
        return Path(cache)
    from platformdirs import user_cache_path

    return user_cache_path("focus-zone-auditor") / "read.sqlite"


def output_folder(out: Path | None, default: str, sources: list[Path], command: str) -> Path:
    """Folder for results; a default that would lie among the photographs is refused.

    Raises
    ------
    OutputError
        With the exact command to use instead.
    """
    if out is not None:
        if out.exists() and not out.is_dir():
            raise OutputError(f"--out {out} is a file.", "Name a folder.")
        return out
    folder = Path(default)
    for source in sources:
        if source.is_dir() and folder.resolve().is_relative_to(source.resolve()):
            elsewhere = source.resolve().parent / default
            named = " ".join(_quoted(str(item)) for item in sources)
            raise OutputError(
                f"The results would be written inside {source}, among the photographs.",
                f"Use: auditor {command} {named} --out {_quoted(str(elsewhere))}",
            )
    return folder


def _quoted(text: str) -> str:
    import shlex

    return shlex.quote(text)
