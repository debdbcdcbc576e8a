"""The options that several commands share: declared once, checked before anything is read.

A command is written as ``command(request, own options...)`` or ``command(bench, own options...)``. The
decorators show the shared options to the user, and hand the command one :class:`~auditor.settings.Request`
or :class:`~auditor.optics.bench.Bench` made of them.
"""

import inspect
from collections.abc import Callable
from typing import Any

import typer

from auditor.cli import options
from auditor.cli.run import LEFT_OUT, echo
from auditor.errors import Problem, UnitError
from auditor.settings import Request

Options = dict[str, tuple[Any, Any]]  # annotation and default by name
Command = Callable[..., None]

_SOURCES: Options = {"sources": (options.Sources, inspect.Parameter.empty)}
_LIGHT: Options = {
    "iso_max": (options.IsoMax, None),
    "wanted_shutter": (options.WantedShutter, None),
    "slowest_shutter": (options.SlowestShutter, None),
}
_TYPED: Options = {
    "pixels_wide": (options.PixelsWide, None),
    "sensor": (options.SensorSize, "36x24"),
    "coc": (options.Coc, "handbook"),
    "scale_coc": (options.ScaleCoc, None),
    "scale": (options.Scale, None),
    "ring_check": (options.RingCheck, None),
    "distance_from": (options.DistanceFrom, "sensor"),
    "units": (options.UnitsTyped, None),
}


def reads_sources(*, light: bool = False) -> Callable[[Command], Command]:
    """Give a command the options of all that read sources, and with ``light`` the limits of the light."""
    shared: Options = {
        "session": (options.Session, None),
        "notes": (options.Notes, None),
        "keepers": (options.Keepers, None),
        "unmarked": (options.Unmarked, None),
        "coc": (options.Coc, "handbook"),
        "confidence": (options.Confidence, 0.95),
        "units": (options.Units, "m"),
        **(_LIGHT if light else {}),
        "cache": (options.Cache, None),
        "workers": (options.Workers, None),
    }

    def make(asked: dict[str, Any], _own: dict[str, Any]) -> Request:
        from auditor.request import make_request

        request = make_request(**asked)
        say_what_lies_beside(request)
        return request

    return _sharing(_SOURCES, shared, make)


def reads_lens(*distances: str, ring: bool = True, several: bool = False) -> Callable[[Command], Command]:
    """Give a command the options of a lens as typed, or ``several``; its ``distances`` tell the units."""

    def make(asked: dict[str, Any], own: dict[str, Any]) -> Any:
        from auditor.cli.typed import read_bench

        focal_length = asked.pop("focal_length")
        lengths = focal_length if several else [focal_length]
        if len(lengths) > 1 and (asked["scale"] or asked["ring_check"]):
            raise UnitError(
                "--scale and --ring-check are read off one lens.", "Make its card alone: one --focal-length."
            )
        benches = [read_bench(one, **asked, distances=[own[name] for name in distances]) for one in lengths]
        return benches if several else benches[0]

    lens = options.FocalLengths if several else options.FocalLength
    first: Options = {"focal_length": (lens, inspect.Parameter.empty)}
    return _sharing(first, ({"ring": (options.Ring, None)} if ring else {}) | _TYPED, make)


def _sharing(
    first: Options, last: Options, make: Callable[[dict[str, Any], dict[str, Any]], Any]
) -> Callable[[Command], Command]:
    """Show some options before a command's own and some behind; its first argument is made of them."""

    def with_options(function: Command) -> Command:
        signature = inspect.signature(function, eval_str=True, locals={"Bench": object})
        own = list(signature.parameters.values())[1:]
        parameters = [*_parameters(first), *own, *_parameters(last)]

        def with_made(**given: Any) -> None:
            asked = {name: given.pop(name) for name in (*first, *last)}
            function(make(asked, given), **given)

        command: Any = with_made
        command.__name__, command.__doc__ = function.__name__, function.__doc__
        command.__signature__ = inspect.Signature(parameters)
        command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
        return with_made

    return with_options


def _parameters(declared: Options) -> list[inspect.Parameter]:
    return [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
        for name, (annotation, default) in declared.items()
    ]


def say_what_lies_beside(request: Request) -> None:
    """Say which statements in the current folder were taken, and which above the sources were not."""
    from auditor.intake.beside import statements_above

    taken = [str(path) for path in (request.outer_session, request.outer_notes) if path is not None]
    if taken:
        echo(f"With {' and '.join(taken)}, where nothing among the photographs says otherwise.", err=True)
    elif not (request.session_file or request.notes_file) and (above := statements_above(request.sources)):
        files, step = " and ".join(map(str, above)), f"Name {above[0].parent}, or use --session and --notes."
        echo(f"Not read, as the search ends at the folder that is named: {files}. {step}", err=True)


def end_with_problems(problems: list[Problem], unread: object, *, strict: bool) -> None:
    """Show what went wrong on the way; with ``strict``, exit accordingly."""
    import sys

    from auditor.show.terminal import console, show_problems

    show_problems(problems, console(sys.stderr))
    if strict and (problems or unread):
        raise typer.Exit(LEFT_OUT)
