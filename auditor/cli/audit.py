"""``auditor audit``: the main job."""

from pathlib import Path
from typing import Annotated

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT, echo, while_somebody_reads
from auditor.cli.shared import reads_sources
from auditor.settings import Request


@reads_sources()
def audit(
    request: Request,
    *,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the results.", show_default="audit-report")
    ] = None,
    measure: Annotated[
        bool, typer.Option("--measure", help="Also measure distance and blur from the pictures' faces.")
    ] = False,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Leave every thumbnail out of the report.")
    ] = False,
    walk: Annotated[
        str | None,
        typer.Option(
            "--walk",
            help="Tell of that walk: 2031-04-05, or a roll's folder or first frame.",
            show_default="the newest",
        ),
    ] = None,
    full: options.Full = False,
    force: options.Force = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Say of each zone preset how often it worked, at which distances, and what fell out."""
    from dataclasses import replace

    from auditor.advice.past import ADVICE_NAME
    from auditor.cli.places import output_folder
    from auditor.journey import run_audit
    from auditor.show.outputs import audit_json, write_outputs
    from auditor.show.page.view import lens_views
    from auditor.show.terminal import console, progress_on_stderr, show_audit
    from auditor.text import json_text

    folder = output_folder(out, "audit-report", list(request.sources), "audit")
    with progress_on_stderr() as progress:
        result = run_audit(
            replace(request, measure=measure, walk=walk, advice_file=folder / ADVICE_NAME),
            progress,
            progress.stage,
        )
        views = lens_views(result)
    report = folder / "report.html"
    with while_somebody_reads():  # the answer first, then the drawing
        if json:
            echo(json_text(audit_json(result)))
        else:
            show_audit(result, views, console(), str(report), full=full)
    with progress_on_stderr("Drawing"):
        pictures = not no_pictures
        write_outputs(result, folder, views, pictures=pictures, cache=request.cache, force=force)
    echo(f"Report: {report}", err=True)
    counts = result.counts
    if strict and (result.problems or counts["unreadable"] or counts["left_out"] or counts["without_zone"]):
        raise typer.Exit(LEFT_OUT)
