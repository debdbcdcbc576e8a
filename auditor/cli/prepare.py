"""``auditor prepare``: a starter session file and notes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from auditor.cli import options


def prepare(
    sources: options.Sources,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the files.", show_default="audit-notes")
    ] = None,
    session: options.Session = None,
    cache: options.Cache = None,
    workers: options.Workers = None,
) -> None:
    """Write a session file with the blocks of time found, and notes, to fill in. Nothing is overwritten."""
    from auditor.cli.requests import make_request, output_folder
    from auditor.errors import OutputError
    from auditor.intake.archive import read_archive
    from auditor.intake.files import NOTES_NAME
    from auditor.intake.session import SESSION_NAME
    from auditor.intake.starter import find_blocks, starter_notes, starter_session
    from auditor.show.terminal import progress_on_stderr

    request = make_request(sources, session=session, cache=cache, workers=workers)
    folder = output_folder(out, "audit-notes", sources, "prepare")
    with progress_on_stderr("Reading") as progress:
        table = read_archive(request, progress).table
    blocks = find_blocks(table)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written = [
            write_new(folder / SESSION_NAME, starter_session(blocks)),
            write_new(folder / NOTES_NAME, starter_notes(table)),
        ]
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written: {error.strerror}.", "Name another folder with --out."
        ) from None
    for path in written:
        typer.echo(str(path))
    silent = sum(not block.complete for block in blocks)
    typer.echo(
        f"{len(blocks)} blocks of time, {silent} without settings in their files. Fill in the presets, "
        f"then run auditor audit with --session {written[0]} --notes {written[1]}.",
        err=True,
    )


def write_new(path: Path, text: str) -> Path:
    """Write a file that does not exist yet: beside an existing one as ``name.new.ext``, then ``new2``."""
    candidate, number = path, 1
    while True:
        try:
            with candidate.open("x", encoding="utf-8", newline="") as file:
                file.write(text)
        except FileExistsError:
            suffix = "new" if number == 1 else f"new{number}"
            candidate, number = path.with_name(f"{path.stem}.{suffix}{path.suffix}"), number + 1
        else:
            return candidate
