"""``auditor advise``: what to set next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT

if TYPE_CHECKING:
    from auditor.advice.result import Advice


def advise(
    sources: options.Sources,
    lens: options.LensName = None,
    experiment: Annotated[
        Path | None,
        typer.Option("--experiment", help="Write the next walk as a session file of this name."),
    ] = None,
    card: Annotated[
        Path | None,
        typer.Option("--card", help="Write a pocket card of the advised settings, .pdf, .png or .txt."),
    ] = None,
    iso_max: options.IsoMax = None,
    wanted_shutter: options.WantedShutter = None,
    slowest_shutter: options.SlowestShutter = None,
    session: options.Session = None,
    notes: options.Notes = None,
    keepers: options.Keepers = None,
    unmarked: options.Unmarked = None,
    coc: options.Coc = "handbook",
    confidence: options.Confidence = 0.95,
    units: options.Units = "m",
    cache: options.Cache = None,
    workers: options.Workers = None,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Say what to set next with one lens, what it should bring, and whether that is sure."""
    import sys

    from auditor.advice.experiment import propose_experiment
    from auditor.advice.experiment_file import experiment_session
    from auditor.advice.lens_use import declared_lenses
    from auditor.advice.recommend import advise as work_out
    from auditor.advice.result import as_json
    from auditor.cli.requests import make_request, write_new_text
    from auditor.evidence.tolerance import fit_tolerance
    from auditor.journey import run_scan
    from auditor.show.advice_screen import show_advice
    from auditor.show.terminal import console, progress_on_stderr, show_ignored, show_problems
    from auditor.show.words.advice import next_walk
    from auditor.text import json_text

    request = make_request(
        sources,
        session=session,
        notes=notes,
        keepers=keepers,
        unmarked=unmarked,
        coc=coc,
        confidence=confidence,
        units=units,
        cache=cache,
        workers=workers,
        iso_max=iso_max,
        wanted_shutter=wanted_shutter,
        slowest_shutter=slowest_shutter,
    )
    with progress_on_stderr("Reading") as progress:
        scanned = run_scan(request, progress)
    show_ignored(scanned.problems, console(sys.stderr))
    table, settings = scanned.archive.table, scanned.settings
    lenses = declared_lenses(scanned.archive.session_files)
    tolerance = fit_tolerance(table, settings)
    result = work_out(table, lenses, settings, tolerance, lens)
    if json:
        typer.echo(json_text(as_json(result)))
    else:
        show_advice(result, settings, console())
    if card is not None:
        write_advised_card(result, card, settings.units)
    if experiment is not None:
        walk = propose_experiment(table, lenses, settings, tolerance, lens)
        write_new_text(experiment, experiment_session(walk, settings))
        typer.echo(next_walk(walk, settings.units), err=True)
        typer.echo(f"Session file: {experiment}", err=True)
    show_problems(scanned.problems, console(sys.stderr))
    if strict and (scanned.problems or scanned.archive.unreadable):
        raise typer.Exit(LEFT_OUT)


def write_advised_card(advice: Advice, out: Path, units: str) -> None:
    """Write the pocket card of the advised settings.

    Raises
    ------
    OutputError
        If nothing is advised, or the file cannot be written.
    """
    from auditor.cli.card import write_card
    from auditor.errors import OutputError
    from auditor.show.advice_card import advised_card

    made = advised_card(advice, units)
    if made is None:
        raise OutputError("Nothing is advised, so there is no card to write.", "See the flags above.")
    write_card(made, out)
    typer.echo(f"Card written to {out}.", err=True)
