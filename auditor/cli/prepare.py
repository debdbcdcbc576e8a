"""``auditor prepare``: lays out the sheet, a session file and notes, and takes in what was filled."""

from pathlib import Path
from typing import Annotated

import typer

from auditor.cli import options


def prepare(
    sources: options.Sources,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the files.", show_default="audit-notes")
    ] = None,
    distances: Annotated[
        int,
        typer.Option(
            "--distances", min=0, metavar="N", help="Frames drawn by chance for the sheet; 0 for none."
        ),
    ] = 60,
    take: Annotated[
        list[Path] | None,
        typer.Option(
            "--take",
            help="Take in a filled sheet.json, notes or session file; may be repeated.",
            show_default=False,
        ),
    ] = None,
    measure: Annotated[
        bool, typer.Option("--measure", help="Measure faces too; they come as handles to be checked.")
    ] = False,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another number draws other frames.")] = 0,
    session: options.Session = None,
    notes: options.Notes = None,
    keepers: options.Keepers = None,
    unmarked: options.Unmarked = None,
    units: options.Units = "m",
    cache: options.Cache = None,
    workers: options.Workers = None,
) -> None:
    """Lay out a sheet to fill in, a session file and notes. What was filled before is taken in and kept."""
    from auditor.cli.filling import lay_out, take_in
    from auditor.cli.places import output_folder
    from auditor.cli.shared import say_what_lies_beside
    from auditor.intake.beside import NOTES_FOLDER
    from auditor.request import make_request

    folder = output_folder(out, NOTES_FOLDER, sources, "prepare")
    if take:
        take_in(take, sources, folder, keepers)
        return
    request = make_request(
        sources,
        session=session,
        notes=notes,
        keepers=keepers,
        unmarked=unmarked,
        units=units,
        cache=cache,
        workers=workers,
        beside=folder,
    )
    say_what_lies_beside(request)
    lay_out(request, folder, distances, seed, measure=measure)
