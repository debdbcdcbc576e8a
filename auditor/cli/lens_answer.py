"""The answer for one lens, as ``advise`` and ``tune`` give it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from auditor.cli.run import echo, while_somebody_reads
from auditor.settings import Request

if TYPE_CHECKING:
    from auditor.advice.lens_decision import LensDecision
    from auditor.journey import Audit

AsJson = Callable[["LensDecision", tuple[str, ...]], dict[str, Any]]


def answer_for_lens(
    request: Request, lens: str | None, as_json: AsJson, *, json: bool, full: bool
) -> tuple[Audit, str]:
    """Audit, print what is decided on one lens, by default the most used; return the audit and its name."""
    import sys

    from auditor.journey import run_audit
    from auditor.show.page.view import lens_views
    from auditor.show.screen import show_answer
    from auditor.show.terminal import console, progress_on_stderr, show_ignored, show_settings, view_of
    from auditor.text import json_text

    with progress_on_stderr() as progress:
        audit = run_audit(request, progress, progress.stage)
        views = lens_views(audit)
    chosen = view_of(views, lens)
    show_ignored(audit.problems, console(sys.stderr))
    with while_somebody_reads():
        if json:
            decided = audit.decisions.of(chosen.name)
            others = tuple(one.lens for one in audit.decisions.lenses if one is not decided)
            echo(json_text({} if decided is None else as_json(decided, others)))
        else:
            others = tuple(view.name for view in views if view is not chosen)
            show_answer(chosen, audit.settings.units, console(), others, audit.sources)
            if full:
                show_settings(chosen, console())
    return audit, chosen.name
