"""The door for notebooks: what the commands do, with values as typed, and results that show themselves.

What cannot be read or done raises an ``AuditorError``, a misspelt keyword a ``TypeError``.

>>> import auditor
>>> auditor.zone("28mm", 8, "2.5m")
sharp from 1.44 m to 9.84 m (f/8, 28 mm, ring on 2.5 m; handbook)
"""

import difflib
import inspect
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from auditor.advice.decide import decide
from auditor.advice.lens_decision import Decisions, LensDecision
from auditor.errors import SettingError
from auditor.evidence.subjects import frames_met
from auditor.journey import run_audit, run_scan
from auditor.notebook.results import Advised, Audited, Scanned, Tuned, Zone
from auditor.optics.bench import Bench
from auditor.optics.lens import sharp_zone
from auditor.optics.sensors import parse_criterion, parse_sensor
from auditor.request import make_request
from auditor.settings import Request
from auditor.units import format_f_number, parse_distance_m, parse_f_number, parse_focal_length_mm

P = ParamSpec("P")
T = TypeVar("T")
R = TypeVar("R")


def _takes(make: Callable[P, T]) -> Callable[[Callable[[T], R]], Callable[P, R]]:
    """Let a function of one value take what that value is made of; a misspelt keyword is refused at once."""
    signature = inspect.signature(make)

    def with_options(function: Callable[[T], R]) -> Callable[P, R]:
        def called(*args: P.args, **kwargs: P.kwargs) -> R:
            for given in kwargs.keys() - signature.parameters.keys():
                near = difflib.get_close_matches(given, signature.parameters, n=1, cutoff=0.4)
                hint = f" Did you mean {near[0]!r}?" if near else ""
                takes = ", ".join(signature.parameters)
                raise TypeError(f"{function.__name__}() knows no {given!r}.{hint} It takes: {takes}.")
            return function(make(*args, **kwargs))

        shown: Any = called
        shown.__name__, shown.__doc__ = function.__name__, function.__doc__
        shown.__signature__ = signature
        return called

    return with_options


def _request(
    sources: str | Path | Sequence[str | Path],
    *,
    session: str | Path | None = None,
    notes: str | Path | None = None,
    keepers: str | Path | None = None,
    unmarked: str | None = None,
    coc: str = "handbook",
    confidence: float = 0.95,
    units: str = "m",
    cache: str | None = None,
    workers: int | None = None,
    measure: bool = False,
    walk: str | None = None,
) -> Request:
    paths = [Path(sources)] if isinstance(sources, (str, Path)) else [Path(source) for source in sources]
    stated = {"session": session, "notes": notes, "keepers": keepers}
    named: dict[str, Any] = {name: Path(value) for name, value in stated.items() if value is not None}
    request = make_request(
        paths, **named, unmarked=unmarked, coc=coc, confidence=confidence, units=units, cache=cache,
        workers=workers, walk=walk,
    )  # fmt: skip
    return replace(request, measure=measure)


def _decision(
    found: Scanned | Audited,
    lens: str | None = None,
    *,
    iso_max: float | None = None,
    wanted_shutter_s: float | None = None,
    slowest_shutter_s: float | None = None,
) -> LensDecision:
    light = {"iso_max": iso_max, "wanted_shutter_s": wanted_shutter_s, "slowest_shutter_s": slowest_shutter_s}
    stated = {name: value for name, value in light.items() if value is not None}
    if isinstance(found, Audited) and not stated:
        decisions: Decisions = found.decisions
    else:
        decisions = decide(frames_met(found.frames), found.lenses, found.settings.changed(**stated))
    decided = decisions.lenses[0] if lens is None and decisions.lenses else decisions.of(lens or "")
    if decided is None:
        names = ", ".join(repr(one.lens) for one in decisions.lenses) or "none with counted frames"
        raise SettingError(f"There is no lens {lens!r} to decide on.", f"The archive has: {names}.")
    return decided


@_takes(_request)
def scan(request: Request) -> Scanned:
    """Read an archive: what each frame was set to, its sharp zone and blur. Options as ``auditor scan``."""
    return Scanned(run_scan(request))


@_takes(_request)
def audit(request: Request) -> Audited:
    """Audit an archive. Options as ``auditor audit``; nothing is written."""
    return Audited(run_audit(request))


@_takes(_decision)
def advise(decided: LensDecision) -> Advised:
    """Say what to set next with a lens: by its name or focal length, else the most used one."""
    return Advised(decided)


@_takes(_decision)
def tune(decided: LensDecision) -> Tuned:
    """Say what each f-number of a lens brings; a view of the same decision as :func:`advise`."""
    return Tuned(decided)


def zone(
    focal_length: str | float,
    f_number: str | float,
    focus: str,
    *,
    coc: str = "handbook",
    sensor: str = "36x24",
) -> Zone:
    """Work out one sharp zone; distances as people type them (``2.5m``, ``7ft``, ``inf``)."""
    bench = Bench(parse_focal_length_mm(str(focal_length)), parse_sensor(sensor), parse_criterion(coc))
    stop, at = parse_f_number(str(f_number)), parse_distance_m(focus)
    limits = sharp_zone(f_number=stop, focus_distance_m=at, coc_mm=bench.coc_mm(stop, at), **bench.lens)
    said = f"{format_f_number(stop)}, {bench.focal_length_mm:g} mm, ring on {bench.shown(at)}"
    return Zone(float(limits.near_limit_m), float(limits.far_limit_m), f"{said}; {bench.criterion.name}")
