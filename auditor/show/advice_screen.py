"""Advice and aperture tuning on the screen."""

from __future__ import annotations

import math
from collections.abc import Iterable

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from auditor.advice.flags import LIMITS_ASSUMED, LIMITS_INFERRED, NO_DISTANCES, NO_EXPOSURES, NO_TOLERANCE
from auditor.advice.result import Advice, TunedStop, Tuning, ValuedSetting
from auditor.evidence.tolerance_checks import DISTANCES_OF_KEEPERS
from auditor.settings import Settings
from auditor.show.terminal import share_bar
from auditor.show.words import advice as words
from auditor.show.words import flags
from auditor.show.words import tuning as tuning_words
from auditor.show.words.figures import interval, per_hour, percent, shorten, whole, zone
from auditor.units import format_distance, format_exposure_time, format_f_number

_COUNTED_ONLY = {NO_DISTANCES, NO_TOLERANCE, NO_EXPOSURES, DISTANCES_OF_KEEPERS}


def show_advice(advice: Advice, settings: Settings, out: Console) -> None:
    """Print what to set next, the settings behind it, the presets in use, light, limits and flags."""
    units = settings.units
    _say(out, [words.tomorrow(advice, settings.worth, units)], style="bold")
    counted_only = bool(_COUNTED_ONLY & set(advice.flags))
    if counted_only:
        _say(out, [words.BY_COUNTS])
    if advice.settings and not counted_only:
        title = f"{advice.lens}: settings in order of preference"
        out.print(_settings(title, advice.settings, settings, used=False))
    out.print(_settings(f"{advice.lens}: presets in use", advice.current, settings, used=True))
    kinds = [] if advice.one_serves_all else [words.light_kind(kind, units) for kind in advice.by_light]
    _say(out, [words.one_for_all(advice), *(f"– {kind}" for kind in kinds)])
    _say(
        out,
        [
            words.experience(advice, units) if not counted_only else "",
            words.limits(advice.limits),
            words.NOT_VALUED,
            *_doubts(advice.flags),
            words.others(advice),
            words.CAUTION,
        ],
    )


def show_tuning(tuning: Tuning, settings: Settings, out: Console) -> None:
    """Print the preferred aperture, and what each f-number brings and loses."""
    _say(out, [tuning_words.prefer(tuning), tuning_words.losses(tuning)], style="bold")
    level = f"{100 * settings.confidence:g} %"
    table = _table(f"{tuning.lens}: each stop at its best ring ({level} interval), and what takes how much")
    table.add_column("stop", no_wrap=True)
    table.add_column("ring", no_wrap=True)
    for name in ("rate", "interval"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("0 … 100 %", no_wrap=True)
    for name in ("so far", "defocus", "motion", "diffr.", "light", "time", "ISO"):
        table.add_column(name, justify="right", no_wrap=True)
    for stop in tuning.stops:
        table.add_row(*_stop_cells(stop, settings))
    out.print(table)
    _say(
        out,
        [
            words.limits(tuning.limits),
            words.NOT_VALUED,
            *_doubts(tuning.flags),
            _other_lenses(tuning),
            words.CAUTION,
        ],
    )


def _stop_cells(stop: TunedStop, settings: Settings) -> list[str]:
    ring = (
        "–" if math.isnan(stop.focus_distance_m) else format_distance(stop.focus_distance_m, settings.units)
    )
    return [
        format_f_number(stop.f_number),
        ring,
        percent(stop.expected),
        interval(stop.low, stop.high),
        share_bar(stop.low, stop.expected, stop.high),
        f"{round(stop.observed * stop.n)}/{stop.n}" if stop.n else "",
        percent(stop.lost_to_defocus),
        percent(stop.lost_to_motion),
        percent(stop.lost_to_diffraction),
        percent(stop.lost_to_light),
        format_exposure_time(stop.median_shutter_s),
        "–" if math.isnan(stop.median_iso) else whole(stop.median_iso),
    ]


def _settings(title: str, chosen: Iterable[ValuedSetting], settings: Settings, *, used: bool) -> Table:
    table = _table(title)
    if used:
        table.add_column("preset", overflow="fold")
    table.add_column("setting", no_wrap=True)
    table.add_column("sharp zone", no_wrap=True)
    for name in ("rate", "interval"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("0 … 100 %", no_wrap=True)
    if used:
        table.add_column("so far", justify="right", no_wrap=True)
    else:
        for name in ("time", "ISO", "keepers/h", "ring ±10 %"):
            table.add_column(name, justify="right", no_wrap=True)
    for one in chosen:
        cells = [
            words.setting_name(one, settings.units),
            zone(one.near_limit_m, one.far_limit_m, one.focus_distance_m, settings.units),
            percent(one.expected_hit_rate),
            interval(one.low, one.high),
            share_bar(one.low, one.expected_hit_rate, one.high),
        ]
        if used:
            hits = round(one.observed_hit_rate * one.bursts) if one.bursts else 0
            cells = [shorten(str(one.preset), 24), *cells, f"{hits}/{one.bursts}"]
        else:
            cells += [
                format_exposure_time(one.median_shutter_s),
                "–" if math.isnan(one.median_iso) else whole(one.median_iso),
                per_hour(one.expected_keepers_per_hour),
                percent(one.ring_off_rate),
            ]
        table.add_row(*(Text(cell) for cell in cells))
    return table


def _doubts(raised: Iterable[str]) -> list[str]:
    """Sentences of the flags, but for those that the limits' sentence says already."""
    return flags.sentences(flag for flag in raised if flag not in (LIMITS_INFERRED, LIMITS_ASSUMED))


def _other_lenses(tuning: Tuning) -> str:
    return f"Other lenses: {', '.join(tuning.other_lenses)} (--lens)." if tuning.other_lenses else ""


def _say(out: Console, sentences: Iterable[str], style: str = "") -> None:
    for sentence in sentences:
        if sentence:
            out.print(Text(sentence, style=style))


def _table(title: str) -> Table:
    return Table(box=SIMPLE_HEAD, title=title, title_justify="left", pad_edge=False, padding=(0, 1, 0, 0))
