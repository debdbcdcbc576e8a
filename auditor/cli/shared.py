"""The options that every command with sources shares: declared once, checked before anything is read.

A command is written as ``command(request, own options...)``; :func:`reads_sources` shows the shared options
to the user and hands the command one :class:`~auditor.settings.Request`.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

from auditor.cli import options
from auditor.cli.run import echo
from auditor.settings import Request

_STATED: dict[str, tuple[Any, Any]] = {
    "session": (options.Session, None),
    "notes": (options.Notes, None),
    "keepers": (options.Keepers, None),
    "unmarked": (options.Unmarked, None),
}
_SHOWN: dict[str, tuple[Any, Any]] = {
    "coc": (options.Coc, "handbook"),
    "confidence": (options.Confidence, 0.95),
    "units": (options.Units, "m"),
}
_LIGHT: dict[str, tuple[Any, Any]] = {
    "iso_max": (options.IsoMax, None),
    "wanted_shutter": (options.WantedShutter, None),
    "slowest_shutter": (options.SlowestShutter, None),
}
_READING: dict[str, tuple[Any, Any]] = {"cache": (options.Cache, None), "workers": (options.Workers, None)}


def reads_sources(*, light: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command the shared options; its first parameter is the request that they make.

    Parameters
    ----------
    light : bool
        Whether the limits of the light can be said, too.
    """
    shared = _STATED | _SHOWN | (_LIGHT if light else {}) | _READING

    def with_options(function: Callable[..., None]) -> Callable[..., None]:
        own = list(inspect.signature(function, eval_str=True).parameters.values())[1:]
        leading = [parameter for parameter in own if parameter.default is inspect.Parameter.empty]
        rest = [parameter for parameter in own if parameter not in leading]
        parameters = [
            _parameter("sources", options.Sources, inspect.Parameter.empty),
            *(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY) for parameter in [*leading, *rest]),
            *(_parameter(name, *declared) for name, declared in shared.items()),
        ]

        def with_request(**given: Any) -> None:
            from auditor.request import make_request

            asked = {name: given.pop(name) for name in ("sources", *shared)}
            request = make_request(**asked)
            say_what_lies_beside(request)
            function(request, **given)

        command: Any = with_request
        command.__name__, command.__doc__ = function.__name__, function.__doc__
        command.__signature__ = inspect.Signature(parameters)
        command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
        return with_request

    return with_options


def say_what_lies_beside(request: Request) -> None:
    """Say which statements in the current folder were taken, before anything else."""
    taken = [str(path) for path in (request.outer_session, request.outer_notes) if path is not None]
    if taken:
        echo(f"With {' and '.join(taken)}, where nothing among the photographs says otherwise.", err=True)


def _parameter(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
