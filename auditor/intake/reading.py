"""Reads every file that a walk has found, once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.files import Found
from auditor.intake.metadata import read_file
from auditor.intake.records import FileRecord, XmpValues
from auditor.intake.xmp import read_sidecar

Progress = Callable[[int, int], None]  # files done, files in all


@dataclass(frozen=True, slots=True)
class Read:
    """What was read: one record for each picture, one packet (or None) for each sidecar of the walk."""

    records: list[FileRecord]
    sidecars: list[XmpValues | None]
    problems: list[Problem]


def read_found(
    found: Found,
    cache: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Read:
    """Read all pictures and sidecars of a walk."""
    total = len(found.pictures) + len(found.sidecars)
    records: list[FileRecord] = []
    for item in found.pictures:
        records.append(read_file(found.path(item)))
        if progress is not None:
            progress(len(records), total)
    sidecars: list[XmpValues | None] = []
    problems: list[Problem] = []
    for item in found.sidecars:
        try:
            sidecars.append(read_sidecar(found.path(item)))
        except (OSError, ValueError) as error:
            sidecars.append(None)
            problems.append(Problem(found.shown(item), f"The sidecar cannot be read: {error}.", ""))
        if progress is not None:
            progress(len(records) + len(sidecars), total)
    return Read(records, sidecars, problems)
