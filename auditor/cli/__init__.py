"""The command line: one small module for each command.

A command's module is loaded when the command is named, and imports its work inside the function body, so that
typed settings are answered and ``--help`` is shown at once.
"""

import sys
from collections.abc import Iterable
from importlib import import_module
from typing import Annotated

import typer

from auditor.cli.run import (
    STOPPED,
    STOPPED_TEXT,
    OneFileEach,
    errors_as_text,
    leave_other_settings_out,
    prepare_streams,
)

COMMANDS = (
    "audit", "scan", "prepare", "tune", "advise", "zone", "plan", "card", "measure", "forget", "simulate",
)  # fmt: skip


def _say_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"auditor {version('focus-zone-auditor')}")
        raise typer.Exit


def make_app(names: Iterable[str] = COMMANDS) -> typer.Typer:
    """Build the command line with these commands; each is the function of its module's name."""
    app = typer.Typer(
        name="auditor",
        help="Audit photographs shot by zone focusing: how often each preset worked, and where it failed.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,  # plain help: loading rich would more than double the time it takes
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    )
    app.callback()(_named_commands)
    for name in names:
        function = getattr(import_module(f"auditor.cli.{name}"), name)
        app.command(name, cls=OneFileEach)(errors_as_text()(function))
    return app


def _named_commands(
    version: Annotated[
        bool,
        typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_say_version),
    ] = False,
) -> None:
    """Audit photographs shot by zone focusing: how often each preset worked, and where it failed."""


def main() -> None:
    """Run the command line; only the command that is named is loaded."""
    try:
        prepare_streams()
        leave_other_settings_out()
        make_app([name for name in sys.argv[1:2] if name in COMMANDS] or COMMANDS)()
    except KeyboardInterrupt:  # while the program is still loading
        print(STOPPED_TEXT, file=sys.stderr)
        sys.exit(STOPPED)
