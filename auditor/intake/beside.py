"""Finds the folder of notes that ``prepare`` has left in the current folder, if it is about these sources."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from auditor.intake.library.folders import NOTES_NAME
from auditor.intake.statements.session_file import SESSION_NAME

NOTES_FOLDER = "audit-notes"
SOURCE_NAME = "source.txt"


@dataclass(frozen=True, slots=True)
class Beside:
    """The outermost statements about some sources: each file, or None where it is not there."""

    session: Path | None
    notes: Path | None


def statements_beside(sources: Sequence[Path], folder: Path = Path(NOTES_FOLDER)) -> Beside | None:
    """Return what lies in a folder whose ``source.txt`` names these sources; None where it names others."""
    try:
        named = (folder / SOURCE_NAME).read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        return None
    about = {(folder / os.fsdecode(line)).resolve() for line in named if line.strip()}
    if not sources or about != {source.resolve() for source in sources}:
        return None
    session, notes = folder / SESSION_NAME, folder / NOTES_NAME
    found = Beside(session if session.is_file() else None, notes if notes.is_file() else None)
    return found if found.session or found.notes else None


def statements_above(sources: Sequence[Path]) -> list[Path]:
    """Files of statements right above folders that have no session file, where the search does not go."""
    named = {source.resolve() for source in sources if source.is_dir()}
    above = sorted({one.parent for one in named if not (one / SESSION_NAME).is_file()} - named)
    found = [folder / name for folder in above for name in (SESSION_NAME, NOTES_NAME)]
    return [file for file in found if file.is_file()]


def source_text(sources: Sequence[Path], folder: Path) -> str:
    """Write which sources the files of a folder are about, relative to it."""
    lines = []
    for source in sources:
        try:
            lines.append(Path(os.path.relpath(source.resolve(), folder.resolve())).as_posix())
        except ValueError:  # on another drive
            lines.append(source.resolve().as_posix())
    return "\n".join(lines) + "\n"
