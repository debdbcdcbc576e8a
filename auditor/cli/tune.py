"""``auditor tune``: the preferred aperture for a lens."""

from __future__ import annotations

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT, echo


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
    full: options.Full = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Say what every f-number of a lens brings, what it costs, and which to prefer in which light."""
    import sys

    from auditor.advice.as_json import tuning_json
    from auditor.cli.requests import make_request
    from auditor.journey import run_audit
    from auditor.show.page.view import lens_views
    from auditor.show.screen import show_answer
    from auditor.show.terminal import (
        console,
        progress_on_stderr,
        show_ignored,
        show_problems,
        show_settings,
        view_of,
    )
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
    with progress_on_stderr() as progress:
        audit = run_audit(request, progress, progress.stage)
        views = lens_views(audit)
    chosen = view_of(views, lens)
    show_ignored(audit.problems, console(sys.stderr))
    if json:
        told = audit.decisions.of(chosen.name)
        echo(json_text({} if told is None else tuning_json(told)))
    else:
        others = tuple(view.name for view in views if view is not chosen)
        show_answer(chosen, audit.settings.units, console(), others)
        if full:
            show_settings(chosen, console())
    show_problems(audit.problems, console(sys.stderr))
    if strict and (audit.problems or audit.counts["unreadable"]):
        raise typer.Exit(LEFT_OUT)
