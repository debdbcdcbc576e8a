"""The one place where an error becomes text and an exit code."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import ParamSpec, TypeVar

import typer
from typer.core import TyperCommand

from auditor.errors import AuditorError, UnitError

P = ParamSpec("P")
R = TypeVar("R")

ONCE = ("--session", "--notes")
DONE, CANNOT, USAGE, LEFT_OUT = 0, 1, 2, 3


@contextmanager
def errors_as_text() -> Iterator[None]:
    """Turn an :class:`AuditorError` into a message on stderr and exit code 1, a mistyped value into 2."""
    try:
        yield
    except UnitError as error:
        _say(error)
        raise typer.Exit(USAGE) from None
    except AuditorError as error:
        _say(error)
        raise typer.Exit(CANNOT) from None
    except KeyboardInterrupt:
        typer.echo("Stopped. What was read is kept; run the same command again to go on.", err=True)
        raise typer.Exit(130) from None


def command(function: Callable[P, R]) -> Callable[P, R]:
    """Wrap a command so that its errors are shown as text."""

    @wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        with errors_as_text():
            return function(*args, **kwargs)

    return wrapped


class OneFileEach(TyperCommand):
    """A command that refuses a second file for an option whose file replaces all others."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        """Count the options before the last one of a kind wins silently."""
        given = [argument.split("=", 1)[0] for argument in args]
        for option in ONCE:
            if given.count(option) > 1:
                raise typer.BadParameter(f"{option} is given twice; put both into one file.", ctx=ctx)
        return super().parse_args(ctx, args)


def _say(error: AuditorError) -> None:
    typer.echo(f"auditor: {error.what}", err=True)
    if error.next_step:
        typer.echo(f"  {error.next_step}", err=True)
