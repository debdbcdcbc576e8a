"""The command line: one small module for each command.

Commands import their work inside the function body, so that ``--help`` stays quick.
"""

from __future__ import annotations

import typer

from auditor.cli.advise import advise
from auditor.cli.audit import audit
from auditor.cli.card import card
from auditor.cli.measure import measure
from auditor.cli.plan import plan
from auditor.cli.prepare import prepare
from auditor.cli.run import command
from auditor.cli.scan import scan
from auditor.cli.simulate import simulate
from auditor.cli.tune import tune
from auditor.cli.zone import zone

app = typer.Typer(
    name="auditor",
    help="Audit photographs shot by zone focusing: how often each preset worked, where it failed, and why.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: loading rich would more than double the time it takes
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

for _function in (audit, scan, prepare, tune, advise, zone, plan, card, measure, simulate):
    app.command()(command(_function))


def main() -> None:
    """Run the command line."""
    app()
