"""``auditor tune``: the preferred aperture for a lens."""

from __future__ import annotations

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT


def tune(
    sources: options.Sources,
    lens: options.LensName = None,
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
    """Say what every f-number of a lens brings, what it costs, and which to prefer in which light."""
    import sys

    from auditor.advice.lens_use import declared_lenses
    from auditor.advice.result import as_json
    from auditor.advice.tune import tune as work_out
    from auditor.cli.requests import make_request
    from auditor.evidence.tolerance import fit_tolerance
    from auditor.journey import run_scan
    from auditor.show.advice_screen import show_tuning
    from auditor.show.terminal import console, progress_on_stderr, show_ignored, show_problems
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
    tolerance = fit_tolerance(scanned.archive.table, scanned.settings)
    lenses = declared_lenses(scanned.archive.session_files)
    result = work_out(scanned.archive.table, lenses, scanned.settings, tolerance, lens)
    if json:
        typer.echo(json_text(as_json(result)))
    else:
        show_tuning(result, scanned.settings, console())
    show_problems(scanned.problems, console(sys.stderr))
    if strict and (scanned.problems or scanned.archive.unreadable):
        raise typer.Exit(LEFT_OUT)
