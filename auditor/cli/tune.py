"""``auditor tune``: the preferred aperture for a lens."""

from auditor.cli import options
from auditor.cli.lens_answer import answer_for_lens
from auditor.cli.shared import end_with_problems, reads_sources
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
    """Say what every f-number of a lens brings (a table with --full), and which to prefer in which light."""
    from auditor.advice.as_json import tuning_json

    audit, _ = answer_for_lens(request, lens, lambda decided, _: tuning_json(decided), json=json, full=full)
    end_with_problems(audit.problems, audit.counts["unreadable"], strict=strict)
