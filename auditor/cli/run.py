"""The one place where an error becomes text and an exit code, and where text leaves for the terminal."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from typing import Any

import typer
from typer.core import TyperCommand

from auditor.errors import AuditorError, OutputError, UnitError
from auditor.text import printable_lines

ONCE = ("--session", "--notes")
CANNOT, USAGE, LEFT_OUT, STOPPED = 1, 2, 3, 130
STOPPED_TEXT = "Stopped. What was read is kept; run the same command again to go on."


def echo(text: str, *, err: bool = False, end: str = "\n") -> None:
    """Print text; nothing in it can command a terminal."""
    typer.echo(printable_lines(text) + end, err=err, nl=False)


def prepare_streams() -> None:
    """Write UTF-8 to files and pipes; on a screen with fewer characters, a mark for those that it lacks."""
    for stream in (sys.stdout, sys.stderr):
        if not isinstance(stream, TextIOWrapper):  # a stream of somebody's own
            continue
        with suppress(ValueError, OSError):  # one that is closed
            if stream.isatty():
                stream.reconfigure(errors="replace")
            else:
                stream.reconfigure(encoding="utf-8", errors="backslashreplace")


def leave_other_settings_out() -> None:
    """Leave out what the user's other charts are set to, which may end the program, and useless threads."""
    os.environ.pop("MPLBACKEND", None)
    os.environ["MATPLOTLIBRC"] = os.devnull
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")  # freed memory goes back at once


@contextmanager
def while_somebody_reads() -> Iterator[None]:
    """Print until whoever reads the output has seen enough; what is left to do goes on."""
    try:
        yield
        with suppress(AttributeError, ValueError):  # there is no output, or it is closed
            sys.stdout.flush()
    except BrokenPipeError:
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_RDWR), 1)


@contextmanager
def errors_as_text() -> Iterator[None]:
    """Turn an error into a message on stderr and an exit code; what nobody foresaw is one line, too."""
    try:
        with while_somebody_reads():
            yield
    except UnitError as error:
        _say(error)
        raise typer.Exit(USAGE) from None
    except AuditorError as error:
        _say(error)
        raise typer.Exit(CANNOT) from None
    except KeyboardInterrupt:
        echo(STOPPED_TEXT, err=True)
        raise typer.Exit(STOPPED) from None
    except MemoryError:
        _say(AuditorError("This machine's memory does not suffice.", "Name fewer folders at a time."))
        raise typer.Exit(CANNOT) from None
    except Exception as error:
        if type(error).__module__.partition(".")[0] in ("click", "typer"):  # their ways to end a command
            raise
        _say_unforeseen(error)
        raise typer.Exit(CANNOT) from None


class OneFileEach(TyperCommand):
    """A command that refuses a second file for an option whose file replaces all others."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Count the options before the last one of a kind wins silently."""
        given = [argument.split("=", 1)[0] for argument in args]
        for option in ONCE:
            if given.count(option) > 1:
                raise typer.BadParameter(f"{option} is given twice; put both into one file.", ctx=ctx)
        return super().parse_args(ctx, args)


def _say(error: AuditorError) -> None:
    echo(f"auditor: {error.what}", err=True)
    if error.next_step:
        echo(f"  {error.next_step}", err=True)


def _say_unforeseen(error: Exception) -> None:
    import traceback

    from auditor.writing import write_details

    what = f"auditor: A fault in this program, please report it ({type(error).__name__})."
    try:
        path = write_details("".join(traceback.format_exception(error)))
    except OutputError:
        echo(what, err=True)
        return
    echo(f"{what} Details: {path}", err=True)
