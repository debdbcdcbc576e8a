"""Puts an audit into one self-contained page. Nothing is computed here."""

import base64
import hashlib
import re
from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from auditor.journey import Audit
from auditor.show import words
from auditor.show.chart_tables import blur_picture
from auditor.show.page import hero, plots
from auditor.show.page.model import LensView, said
from auditor.show.page.shown_frames import frame_lines, held_once, rows_shown
from auditor.show.page.view import lens_views
from auditor.show.page_tables import page_tables
from auditor.show.words import figures, method, tolerance
from auditor.text import printable, printable_lines
from auditor.units import format_distance

SECTIONS = {
    "next": "Next time",
    "walk": "This walk",
    "presets": "Presets",
    "lost": "Why lost",
    "sure": "How sure",
    "rest": "Everything else",
}


def build_report(
    audit: Audit,
    folder: Path | None = None,
    *,
    views: tuple[LensView, ...] | None = None,
    thumbnails: Mapping[int, bytes] | None = None,
) -> str:
    """Build the page, HTML that needs no other file; links to photographs are relative to ``folder``."""
    lenses = lens_views(audit) if views is None else views
    held = dict(thumbnails or {})
    lines = frame_lines(audit, rows_shown(lenses, audit), folder, held)
    environment = page_environment()
    script = environment.get_template("page.js").render()
    curve = blur_picture(audit.tolerance)
    page = environment.get_template("report.html").render(
        audit=audit,
        lenses=lenses,
        lens_number={lens.name: number for number, lens in enumerate(lenses)},
        sections=sections_of(lenses, audit),
        frames=lines,
        in_script=held_once(lines, audit),
        thumbnails_held=method.thumbnails_held(len(held), len(lines)),
        tolerance_curve=plots.draw_curve(curve, tolerance.chart_finding(audit.tolerance)) if curve else "",
        script=script,
        script_hash=hash_of(script),
        **page_tables(audit),
    )
    return printable_lines(page)


@cache
def page_environment() -> Environment:
    """The templates of page and sheet; what a template names must be there."""
    environment = Environment(
        loader=PackageLoader("auditor.show"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    rooms = [module.name for module in iter_modules(words.__path__)]
    environment.globals |= {
        "both": both,
        "units": in_both,
        "format_distance": format_distance,
        "hero": hero,
        "plots": plots,
        "figures": figures,
        "words": {name: import_module(f"{words.__name__}.{name}") for name in rooms},
    }
    environment.filters |= {
        "percent": lambda rate: tied(figures.percent(rate)),
        "tied": tied,
        "whole": figures.whole,
        "key": lambda number: f"{number:.5g}",  # to sort by
        "shown": printable,
    }
    return environment


def hash_of(text: str) -> str:
    """The hash by which a page lets this script or style run, and no other."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def sections_of(lenses: tuple[LensView, ...], audit: Audit) -> dict[str, str]:
    """Sections of the page with their titles in order, those only that carry something."""
    carried = {
        "walk": audit.diary is not None,
        "presets": any(lens.presets for lens in lenses),
        "lost": any(lens.causes or lens.reasons or lens.rings for lens in lenses),
    }
    return {name: title for name, title in SECTIONS.items() if carried.get(name, True)}


def both(say: Callable[..., str], *results: Any) -> str:
    """Write a sentence for metres and for feet; the page shows one of the two."""
    return in_both(said(lambda units: str(say(*results, units=units))))


def in_both(text: tuple[str, str]) -> str:
    """Mark up a text in both units, once where they are the same."""
    metres, feet = (tied(printable(one)) for one in text)
    if metres == feet:
        return escape(metres)
    return Markup('<span class="m">{}</span><span class="ft">{}</span>').format(metres, feet)


def tied(text: str) -> str:
    """Keep figures and their units on one line."""
    return re.sub(r"(?<=[\d∞–]) (?=(?:%|m|ft|mm|h|s)\b|%)", "\N{NO-BREAK SPACE}", text)
