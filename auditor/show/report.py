"""Puts an audit into one self-contained page. Nothing is computed here."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from auditor.journey import Audit
from auditor.show import fitted_tables
from auditor.show.page.frames import frame_lines, rows_shown
from auditor.show.page.hero import draw_hero, legend
from auditor.show.page.model import LensView, Rate, RingByStop, Said, said
from auditor.show.page.over_time import draw_over_time
from auditor.show.page.plots import draw_curve, draw_hundred, draw_key, draw_rates
from auditor.show.page.view import lens_views
from auditor.show.page_tables import page_tables
from auditor.show.words import (
    captions,
    causes,
    comparisons,
    distances,
    fallout,
    figures,
    flags,
    met,
    method,
    pictures,
    presets,
    sessions,
    tolerance,
    walk,
    zone_check,
)
from auditor.text import printable, printable_lines
from auditor.units import format_distance

WORDS = {
    module.__name__.rpartition(".")[2]: module
    for module in (
        captions, causes, comparisons, distances, fallout, flags, met, method, pictures, presets,
        sessions, tolerance, walk, zone_check,
    )
}  # fmt: skip


def build_report(
    audit: Audit,
    folder: Path | None = None,
    *,
    views: tuple[LensView, ...] | None = None,
    thumbnails: Mapping[int, bytes] | None = None,
) -> str:
    """Build the page.

    Parameters
    ----------
    audit : Audit
    folder : Path, optional
        Where the page will lie; links to photographs are relative to it. None writes names without links.
    views : tuple of LensView, optional
        From :func:`auditor.show.page.view.lens_views`; made here if not given.
    thumbnails : mapping of int to bytes, optional
        JPEG by row of the frame table.

    Returns
    -------
    str
        HTML that needs no other file and asks for none.
    """
    environment = Environment(
        loader=PackageLoader("auditor.show"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    lenses = lens_views(audit) if views is None else views
    held = dict(thumbnails or {})
    lines = frame_lines(audit, rows_shown(lenses, audit), folder, held)
    tables = page_tables(audit)
    environment.globals |= {
        "both": both,
        "distance": distance,
        "span": lambda low, high: both(lambda units: figures.distance_span(low, high, units)),
        "label": lambda row: both(lambda units: presets.preset_label(row, units)),
        "zone": lambda row: both(
            lambda units: figures.zone(row.near_limit_m, row.far_limit_m, row.focus_distance_m, units)
        ),
        "draw_hero": draw_hero,
        "draw_hundred": draw_hundred,
        "draw_key": draw_key,
        "draw_rates": draw_rates,
        "draw_over_time": draw_over_time,
        "draw_session": draw_session,
        "heat_top": heat_top,
        "legend": legend,
        "figures": figures,
        "words": WORDS,
    }
    environment.filters |= {
        "percent": lambda rate: tied(figures.percent(rate)),
        "tied": tied,
        "whole": figures.whole,
        "key": lambda number: f"{number:.5g}",  # to sort by
        "shown": printable,
    }
    script = environment.get_template("page.js").render()
    page = environment.get_template("report.html").render(
        audit=audit,
        lenses=lenses,
        lens_number={lens.name: number for number, lens in enumerate(lenses)},
        sections=[(name, captions.TITLES[name]) for name in sections_of(lenses, audit)],
        walk=None if audit.diary is None else walk.tell_walk(audit.diary, audit.table["file"]),
        titles=captions.TITLES,
        frames={
            row: [printable(part) if at == 0 else part for at, part in enumerate(line)]
            for row, line in lines.items()
        },
        thumbnails_held=captions.thumbnails_held(len(held), len(lines)),
        tolerance_curve=tolerance_curve(audit),
        met_overall=said(lambda units: met.overall(audit.distances_met, units)),
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        **tables,
    )
    return printable_lines(page)


def sections_of(lenses: tuple[LensView, ...], audit: Audit) -> list[str]:
    """Sections of the page in order, those only that carry something."""
    carried = {
        "next": True,
        "walk": audit.diary is not None,
        "presets": any(lens.presets for lens in lenses),
        "lost": any(lens.causes or lens.reasons or lens.telling or lens.rings for lens in lenses),
        "sure": True,
        "rest": True,
    }
    return [name for name, carries in carried.items() if carries]


def draw_session(row: Any) -> Markup:
    """Draw the rate of one walk, of all there is."""
    return draw_rates(Rate(row.hit_rate, row.low, row.high, int(row.hits), int(row.bursts)), None, 1.0)


def heat_top(one: RingByStop) -> float:
    """The largest share in a picture of ring by stop."""
    return max((cell.share for row in one.cells for cell in row if cell.share == cell.share), default=1.0)


def tolerance_curve(audit: Audit) -> Markup | str:
    """Draw the fitted curve; empty where there is none."""
    found = audit.tolerance
    if not found.fitted or not len(found.calibration):
        return ""
    curve = fitted_tables.blur_curve(found)
    ticks = fitted_tables.blur_ticks(curve["blur_mm"].min(), curve["blur_mm"].max())
    finding = tolerance.chart_finding(found)
    return draw_curve(curve, found.calibration, fitted_tables.blur_marks(found), ticks, finding)


def both(say: Callable[..., str], *results: Any) -> str:
    """Write a sentence for metres and for feet; the page shows one of the two."""
    text = said(lambda units: tied(printable(str(say(*results, units=units)))))
    return in_both(text)


def in_both(text: Said) -> str:
    """Mark up a text in both units, once where they are the same."""
    if text.m == text.ft:
        return escape(text.m)
    return Markup('<span class="m">{}</span><span class="ft">{}</span>').format(text.m, text.ft)


def distance(distance_m: float) -> str:
    """Write a distance for metres and for feet."""
    return both(lambda units: format_distance(distance_m, units))


def tied(text: str) -> str:
    """Keep figures and their units on one line."""
    return re.sub(r"(?<=[\d∞–]) (?=(?:%|m|ft|mm|h|s)\b|%)", "\N{NO-BREAK SPACE}", text)
