"""``auditor tune``: the preferred aperture for a lens."""

from __future__ import annotations

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT, echo
from auditor.cli.shared import reads_sources
from auditor.settings import Request


@reads_sources(light=True)
def tune(
    request: Request,
    *,
    lens: options.LensName = None,
    full: options.Full = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Say what every f-number of a lens brings, what it costs, and which to prefer in which light."""
    import sys

    from auditor.advice.as_json import tuning_json
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
        show_answer(chosen, audit.settings.units, console(), others, audit.sources)
        if full:
            show_settings(chosen, console())
    show_problems(audit.problems, console(sys.stderr))
    if strict and (audit.problems or audit.counts["unreadable"]):
        raise typer.Exit(LEFT_OUT)
