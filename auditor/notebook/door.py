"""The door for notebooks: what the commands do, with values as typed, and results that show themselves.

>>> import auditor
>>> auditor.zone("28mm", 8, "2.5m")
sharp from 1.44 m to 9.84 m (f/8, 28 mm, ring on 2.5 m; handbook)
"""

from __future__ import annotations

import difflib
import functools
import inspect
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from auditor.advice.decide import decide
from auditor.advice.lens_decision import LensDecision
from auditor.errors import SettingError
from auditor.journey import run_audit, run_scan
from auditor.notebook.results import Advised, Audited, Scanned, Tuned, Zone
from auditor.optics.lens import sharp_zone
from auditor.optics.sensors import parse_criterion, parse_sensor
from auditor.request import make_request
from auditor.settings import Request
from auditor.units import (
    format_distance,
    format_f_number,
    parse_distance_m,
    parse_f_number,
    parse_focal_length_mm,
)

P = ParamSpec("P")
R = TypeVar("R")
Sources = str | Path | Sequence[str | Path]


def _spelled(function: Callable[P, R]) -> Callable[P, R]:
    """Refuse a misspelt keyword at once, with the nearest right one."""
    names = list(inspect.signature(function).parameters)

    @functools.wraps(function)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        for given in kwargs:
            if given not in names:
                near = difflib.get_close_matches(given, names, n=1, cutoff=0.4)
                hint = f" Did you mean {near[0]!r}?" if near else ""
                raise TypeError(
                    f"{function.__name__}() knows no {given!r}.{hint} It takes: {', '.join(names)}."
                )
        return function(*args, **kwargs)

    return wrapped


@_spelled
def scan(
    sources: Sources,
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
) -> Scanned:
    """Read an archive: what each frame was set to, its sharp zone and blur. Options as ``auditor scan``.

    Raises
    ------
    TypeError
        If a keyword is misspelt.
    AuditorError
        If a value cannot be read, or what was asked for cannot be done.
    """
    request = _asked(
        sources, session, notes, keepers, measure=measure,
        unmarked=unmarked, coc=coc, confidence=confidence, units=units, cache=cache, workers=workers,
    )  # fmt: skip
    return Scanned(run_scan(request))


@_spelled
def audit(
    sources: Sources,
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
) -> Audited:
    """Audit an archive. Options as ``auditor audit``; nothing is written.

    Raises
    ------
    TypeError
        If a keyword is misspelt.
    AuditorError
        If a value cannot be read, or what was asked for cannot be done.
    """
    request = _asked(
        sources, session, notes, keepers, measure=measure,
        unmarked=unmarked, coc=coc, confidence=confidence, units=units, cache=cache, workers=workers,
    )  # fmt: skip
    return Audited(run_audit(request))


@_spelled
def advise(
    found: Scanned | Audited,
    lens: str | None = None,
    *,
    iso_max: float | None = None,
    wanted_shutter_s: float | None = None,
    slowest_shutter_s: float | None = None,
) -> Advised:
    """Say what to set next with a lens: by its name or focal length, else the most used one.

    Raises
    ------
    TypeError
        If a keyword is misspelt.
    SettingError
        If there is no such lens, or no counted frame.
    """
    return Advised(_decided(found, lens, iso_max, wanted_shutter_s, slowest_shutter_s))


@_spelled
def tune(
    found: Scanned | Audited,
    lens: str | None = None,
    *,
    iso_max: float | None = None,
    wanted_shutter_s: float | None = None,
    slowest_shutter_s: float | None = None,
) -> Tuned:
    """Say what each f-number of a lens brings; a view of the same decision as :func:`advise`.

    Raises
    ------
    TypeError
        If a keyword is misspelt.
    SettingError
        If there is no such lens, or no counted frame.
    """
    return Tuned(_decided(found, lens, iso_max, wanted_shutter_s, slowest_shutter_s))


@_spelled
def zone(
    focal_length: str | float,
    f_number: str | float,
    focus: str,
    *,
    coc: str = "handbook",
    sensor: str = "36x24",
) -> Zone:
    """Work out one sharp zone; distances as people type them (``2.5m``, ``7ft``, ``inf``).

    Raises
    ------
    TypeError
        If a keyword is misspelt.
    UnitError
        If a value cannot be read.
    """
    focal, stop, at = (
        parse_focal_length_mm(str(focal_length)),
        parse_f_number(str(f_number)),
        parse_distance_m(focus),
    )
    criterion = parse_criterion(coc)
    limits = sharp_zone(focal, stop, at, criterion.coc_mm(parse_sensor(sensor).diagonal_mm))
    said = f"{format_f_number(stop)}, {focal:g} mm, ring on {format_distance(at)}; {criterion.name}"
    return Zone(float(limits.near_limit_m), float(limits.far_limit_m), said)


def _asked(
    sources: Sources,
    session: str | Path | None,
    notes: str | Path | None,
    keepers: str | Path | None,
    *,
    measure: bool,
    **options: Any,
) -> Request:
    paths = [Path(sources)] if isinstance(sources, (str, Path)) else [Path(source) for source in sources]
    stated = {"session": session, "notes": notes, "keepers": keepers}
    named: dict[str, Any] = {name: Path(value) for name, value in stated.items() if value is not None}
    return replace(make_request(paths, **named, **options), measure=measure)


def _decided(
    found: Scanned | Audited,
    lens: str | None,
    iso_max: float | None,
    wanted_shutter_s: float | None,
    slowest_shutter_s: float | None,
) -> LensDecision:
    light = {"iso_max": iso_max, "wanted_shutter_s": wanted_shutter_s, "slowest_shutter_s": slowest_shutter_s}
    stated = {name: value for name, value in light.items() if value is not None}
    if isinstance(found, Audited) and not stated:
        decisions = found.decisions
    else:
        decisions = decide(found.frames, found.lenses, found.settings.changed(**stated))
    told = decisions.lenses[0] if lens is None and decisions.lenses else decisions.of(lens or "")
    if told is None:
        names = ", ".join(repr(one.lens) for one in decisions.lenses) or "none with counted frames"
        raise SettingError(f"There is no lens {lens!r} to decide on.", f"The archive has: {names}.")
    return told
