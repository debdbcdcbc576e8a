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
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import numpy as np
import pandas as pd

from auditor.advice.as_json import advice_json, tuning_json
from auditor.advice.decide import decide
from auditor.advice.decision import Decision
from auditor.advice.lens_decision import Decisions, LensDecision
from auditor.errors import Problem, SettingError
from auditor.evidence.tolerance import Tolerance
from auditor.intake.statements.session import declared_lenses
from auditor.journey import Audit, Scan, run_audit, run_scan
from auditor.optics.lens import sharp_zone
from auditor.optics.sensors import parse_criterion, parse_sensor
from auditor.request import make_request
from auditor.settings import Settings
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


@dataclass(frozen=True, slots=True, repr=False)
class Scanned:
    """The frames of an archive, each with its zone and blur.

    Attributes
    ----------
    frames : pandas.DataFrame
        The frame table.
    problems : list of Problem
    settings : Settings
    """

    scan: Scan

    @property
    def frames(self) -> pd.DataFrame:
        """The frame table."""
        return self.scan.archive.table

    @property
    def problems(self) -> list[Problem]:
        """What was wrong, each with what to do about it."""
        return self.scan.problems

    @property
    def settings(self) -> Settings:
        """What was asked for, with the session files' values."""
        return self.scan.settings

    def __repr__(self) -> str:
        zone, distance = (
            int(self.frames[name].notna().sum()) for name in ("near_limit_m", "subject_distance_m")
        )
        return (
            f"{len(self.frames)} frames, {zone} with a sharp zone, {distance} with a subject distance; "
            f"{len(self.problems)} problems"
        )

    def _repr_html_(self) -> str:
        columns = [
            "file",
            "preset",
            "f_number",
            "focus_distance_m",
            "subject_distance_m",
            "in_zone",
            "counted_as",
        ]
        return f"<p>{escape(repr(self))}</p>{self.frames[columns].head(8).to_html(index=False)}"


@dataclass(frozen=True, slots=True, repr=False)
class Advised:
    """What to set next with one lens."""

    told: LensDecision

    @property
    def decision(self) -> Decision:
        """The decision: ``kind``, ``setting``, ``gain_ratio``, ``why``, ``would_help_most`` and the rest."""
        return self.told.decision

    @property
    def settings(self) -> pd.DataFrame:
        """Every setting that may be advised, the best first."""
        return pd.DataFrame(self.told.settings)

    def as_json(self) -> dict[str, Any]:
        """The same as ``auditor advise --json`` prints."""
        return advice_json(self.told)

    def __repr__(self) -> str:
        one, met = self.decision, self.told.subjects
        what = one.kind.replace("_", " ")
        if one.setting is not None:
            ring = format_distance(one.setting.focus_distance_m)
            what += f" to {format_f_number(one.setting.f_number)}, ring on {ring}"
        share = "" if np.isnan(met.share_now) else f"; sharp as set {met.share_now:.0%} of {met.n} subjects"
        return f"{self.told.lens}: {what} ({one.why.replace('_', ' ')}{share})"

    def _repr_html_(self) -> str:
        table = self.settings
        if len(table):
            table = table.head(8)[["f_number", "focus_distance_m", "share_sharp", "sharp_low", "sharp_high"]]
        return f"<p>{escape(repr(self))}</p>{table.round(2).to_html(index=False)}"


@dataclass(frozen=True, slots=True, repr=False)
class Tuned:
    """What each f-number of a lens brings at its best engraving."""

    told: LensDecision

    @property
    def stops(self) -> pd.DataFrame:
        """One row a stop: the share sharp, and what defocus, motion and diffraction take."""
        return pd.DataFrame(self.told.stops)

    def as_json(self) -> dict[str, Any]:
        """The same as ``auditor tune --json`` prints."""
        return tuning_json(self.told)

    def __repr__(self) -> str:
        parts = [f"{format_f_number(stop.f_number)} {stop.share:.0%}" for stop in self.told.stops]
        return f"{self.told.lens}: sharp at {', '.join(parts) or 'no stop that could be weighed'}"

    def _repr_html_(self) -> str:
        return f"<p>{escape(repr(self))}</p>{self.stops.round(3).to_html(index=False)}"


@dataclass(frozen=True, slots=True, repr=False)
class Audited:
    """Everything that an audit found; ``audit`` holds the parts by name."""

    audit: Audit

    @property
    def frames(self) -> pd.DataFrame:
        """The frame table."""
        return self.audit.table

    @property
    def presets(self) -> pd.DataFrame:
        """One row a preset: zone, presses, hits and rates with their intervals."""
        return self.audit.presets

    @property
    def distances(self) -> pd.DataFrame:
        """One row a preset and distance band."""
        return self.audit.distances

    @property
    def tolerance(self) -> Tolerance:
        """How much blur this photographer bears."""
        return self.audit.tolerance

    @property
    def decisions(self) -> Decisions:
        """What to set next, lens by lens."""
        return self.audit.decisions

    def chart(self, name: str) -> bytes:
        """One chart of the report as PNG: presets, distances, tolerance or sessions."""
        from auditor.show.charts import render_charts

        return render_charts(self.audit, [name])[name].png

    def report(self, folder: str | Path, *, force: bool = False) -> Path:
        """Write every output of ``auditor audit`` into a folder; the page's path is returned."""
        from auditor.show.outputs import write_outputs

        write_outputs(self.audit, Path(folder), force=force)
        return Path(folder) / "report.html"

    def __repr__(self) -> str:
        counts = self.audit.counts
        said = "; ".join(repr(Advised(told)) for told in self.decisions.lenses)
        return (
            f"{counts['frames']} frames, {counts['keepers']} of {counts['marked']} counted ones kept. {said}"
        )

    def _repr_html_(self) -> str:
        columns = ["preset", "hits", "bursts", "hit_rate", "low", "high", "near_limit_m", "far_limit_m"]
        return f"<p>{escape(repr(self))}</p>{self.presets[columns].round(2).to_html(index=False)}"


@dataclass(frozen=True, slots=True, repr=False)
class Zone:
    """One sharp zone from typed settings; distances from the sensor plane [m]."""

    near_limit_m: float
    far_limit_m: float
    said: str

    def __repr__(self) -> str:
        near, far = format_distance(self.near_limit_m), format_distance(self.far_limit_m)
        return f"sharp from {near} to {far} ({self.said})"


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
    request = make_request(
        _paths(sources), session=_path(session), notes=_path(notes), keepers=_path(keepers),
        unmarked=unmarked, coc=coc, confidence=confidence, units=units, cache=cache, workers=workers,
    )  # fmt: skip
    return Scanned(run_scan(replace(request, measure=measure)))


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
    request = make_request(
        _paths(sources), session=_path(session), notes=_path(notes), keepers=_path(keepers),
        unmarked=unmarked, coc=coc, confidence=confidence, units=units, cache=cache, workers=workers,
    )  # fmt: skip
    return Audited(run_audit(replace(request, measure=measure)))


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
    light = {"iso_max": iso_max, "wanted_shutter_s": wanted_shutter_s, "slowest_shutter_s": slowest_shutter_s}
    return Advised(_of_lens(_decisions(found, light), lens))


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
    light = {"iso_max": iso_max, "wanted_shutter_s": wanted_shutter_s, "slowest_shutter_s": slowest_shutter_s}
    return Tuned(_of_lens(_decisions(found, light), lens))


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


def _decisions(found: Scanned | Audited, light: dict[str, float | None]) -> Decisions:
    stated = {name: value for name, value in light.items() if value is not None}
    if isinstance(found, Audited):
        if not stated:
            return found.decisions
        return decide(found.frames, found.audit.lenses, found.audit.settings.changed(**stated))
    lenses = declared_lenses(found.scan.archive.session_files)
    return decide(found.frames, lenses, found.settings.changed(**stated))


def _of_lens(decisions: Decisions, lens: str | None) -> LensDecision:
    told = decisions.lenses[0] if lens is None and decisions.lenses else decisions.of(lens or "")
    if told is None:
        names = ", ".join(repr(one.lens) for one in decisions.lenses) or "none with counted frames"
        raise SettingError(f"There is no lens {lens!r} to decide on.", f"The archive has: {names}.")
    return told


def _paths(sources: Sources) -> list[Path]:
    return [Path(sources)] if isinstance(sources, (str, Path)) else [Path(source) for source in sources]


def _path(value: str | Path | None) -> Path | None:
    return None if value is None else Path(value)
