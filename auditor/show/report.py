"""Puts an audit and its charts into one self-contained page. Nothing is computed here."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from auditor.journey import Audit
from auditor.show.charts import Chart
from auditor.show.page_tables import page_tables
from auditor.show.words import (
    advice,
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
    telling,
    tolerance,
    tuning,
    verdict,
    zone_check,
)
from auditor.text import printable, printable_lines
from auditor.units import format_distance

# In the order of the page; each is a template of that name and vanishes where it has nothing to say.
SECTIONS = (
    "presets", "distances", "causes", "frames", "tuning", "tolerance", "advice", "sessions", "fallout",
    "measured", "method", "glossary",
)  # fmt: skip

WORDS = {
    module.__name__.rpartition(".")[2]: module
    for module in (
        advice, captions, causes, comparisons, distances, fallout, flags, met, method, pictures, presets,
        sessions, telling, tolerance, tuning, zone_check,
    )
}  # fmt: skip


def build_report(
    audit: Audit, charts: Mapping[str, Chart], folder: Path | None = None, *, pictures: bool = False
) -> str:
    """Build the page.

    Parameters
    ----------
    audit : Audit
    charts : mapping of str to Chart
        From :func:`auditor.show.charts.render_charts`.
    folder : Path, optional
        Where the page will lie; links to photographs are relative to it. None writes names without links.
    pictures : bool
        Whether the frames to look at are shown as small pictures too.

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
    tables = page_tables(audit, folder, pictures=pictures)
    opening = " ".join(say(audit, tables, "m") for say in verdict.SENTENCES)
    environment.globals |= {
        "both": both,
        # What the verdict has said, a section does not say again in the same words.
        "unsaid": lambda text: "" if text.removesuffix(".") in opening else text,
        "draw": draw,
        "figures": figures,
        "words": WORDS,
    }
    environment.filters |= {
        "percent": lambda rate: tied(figures.percent(rate)),
        "tied": tied,
        "whole": figures.whole,
        "distance": distance,
        "key": lambda number: f"{number:.5g}",  # to sort by
        "shown": printable,
    }
    script = environment.get_template("page.js").render()
    page = environment.get_template("report.html").render(
        audit=audit,
        charts=charts,
        sections=SECTIONS,
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        verdict=[both(sentence, audit, tables) for sentence in verdict.SENTENCES],
        **tables,
    )
    return printable_lines(page)


def both(say: Callable[..., str], *results: Any) -> str:
    """Write a sentence for metres and for feet; the page shows one of the two."""
    metres, feet = (tied(str(say(*results, units=units))) for units in ("m", "ft"))
    if metres == feet:
        return escape(metres)
    return Markup('<span class="m">{}</span><span class="ft">{}</span>').format(metres, feet)


def distance(distance_m: float) -> str:
    """Write a distance for metres and for feet."""
    return both(lambda units: format_distance(distance_m, units))


def draw(chart: Chart, lenses: Sequence[object], say: Callable[..., str], *results: Any) -> str:
    """Put a chart in the page for both units, wide and narrow, each with its finding in words.

    Parts of the chart whose name ends in a row's number carry that row's lens, for the filter; an empty list
    carries none.
    """
    parts = []
    for (units, narrow), svg in chart.page.items():
        kind = f"{units} {'narrow' if narrow else 'wide'}"
        label = escape(say(*results, units=units))
        svg = svg.replace("<svg ", f'<svg class="{kind}" role="img" aria-label="{label}" ', 1)
        parts.append(re.sub(r'(<g id="[^"]+-(\d+)")', lambda found: _with_lens(found, lenses), svg))
    return Markup("\n".join(parts))  # noqa: S704 -- matplotlib escapes what it draws, and labels are above


def _with_lens(found: re.Match[str], lenses: Sequence[object]) -> str:
    lens = lenses[int(found[2])] if lenses else None
    return f'{found[1]} data-lens="{escape(lens)}"' if isinstance(lens, str) else found[1]


def tied(text: str) -> str:
    """Keep figures and their units on one line."""
    return re.sub(r"(?<=[\d∞–]) (?=(?:%|m|ft|mm|h|s)\b|%)", "\N{NO-BREAK SPACE}", text)
