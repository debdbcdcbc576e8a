"""Draws every chart that an audit has results for, in the sizes and units that files and page need."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field

from matplotlib.figure import Figure

from auditor.evidence.presets import count_all
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.charts.distances import LANE_IN, draw_distances
from auditor.show.charts.fitted import (
    Drawing,
    advice_chart,
    causes_chart,
    sessions_chart,
    tolerance_chart,
    tuning_chart,
)
from auditor.show.charts.presets import ROW_IN, draw_presets
from auditor.show.charts.style import chart_style, for_page, new_figure, to_png, to_svg

UNITS = ("m", "ft")


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart, as files and as parts of the page.

    Attributes
    ----------
    svg : str
        The picture as a file, in the units of the settings.
    png : bytes
    page : dict of (units, narrow) to str
        SVG elements for the page; a chart without distances has the same in both units.
    """

    svg: str
    png: bytes
    page: dict[tuple[str, bool], str] = field(default_factory=dict)

    def __iter__(self) -> Iterator[str | bytes]:
        """Unpack as (svg, png)."""
        return iter((self.svg, self.png))


Chooser = Callable[[Audit], Drawing | None]  # prepares what a chart needs once; None without results


def render_charts(audit: Audit, names: Collection[str] | None = None) -> dict[str, Chart]:
    """Draw the charts of an audit; those without results are left out.

    Parameters
    ----------
    audit : Audit
    names : collection of str, optional
        Which of them: presets, distances, causes, tuning, tolerance, advice, sessions; all by default.

    Returns
    -------
    dict of str to Chart
        By the name that the chart's files bear.
    """
    charts = {}
    with chart_style():
        for name, choose in CHARTS.items():
            drawing = choose(audit) if names is None or name in names else None
            if drawing is not None:
                charts[name] = _render(name, drawing, audit.settings.units)
    return charts


def _render(name: str, drawing: Drawing, main_units: str) -> Chart:
    main = drawing(main_units, False)
    svg = to_svg(main)
    page = {}
    for units in UNITS:
        for narrow in (False, True):
            is_main = units == main_units and not narrow
            text = svg if is_main else to_svg(drawing(units, narrow))
            page[units, narrow] = for_page(text, f"{name}-{units}{'-narrow' * narrow}")
    return Chart(svg, to_png(main), page)


def _presets(audit: Audit) -> Drawing | None:
    rows = chart_tables.preset_rows(audit)
    if not len(rows):
        return None
    overall = count_all(audit.table, audit.settings.confidence)["hit_rate"] if len(rows) > 1 else math.nan
    top = chart_tables.share_axis_end(rows["high"])
    height = ROW_IN * len(rows) + 0.5

    def drawing(units: str, narrow: bool) -> Figure:
        figure = new_figure(height, narrow=narrow)
        ax = figure.add_axes((0.02, 0.3 / height, 0.95, 1 - 0.34 / height))
        labelled = chart_tables.label_presets(rows, units, _label_length(narrow))
        draw_presets(ax, labelled, overall=overall, top=top)
        return figure

    return drawing


def _distances(audit: Audit) -> Drawing | None:
    lanes, bars = chart_tables.distance_lanes(audit)
    if not len(lanes):
        return None

    def drawing(units: str, narrow: bool) -> Figure:
        ticks = chart_tables.engravings(lanes["from_m"][0], lanes["to_m"][0], units, narrow=narrow)
        height = (LANE_IN + 0.14 * narrow) * len(lanes) + 0.35
        figure = new_figure(height, narrow=narrow)
        axes = list(figure.subplots(len(lanes), 1, squeeze=False)[:, 0])
        figure.subplots_adjust(left=0.02, right=0.98, bottom=0.3 / height, top=1 - 0.03 / height, hspace=0.06)
        labelled = chart_tables.label_lanes(lanes, units, _label_length(narrow))
        draw_distances(axes, labelled, bars, ticks, narrow=narrow)
        return figure

    return drawing


def _label_length(narrow: bool) -> int:
    return 34 if narrow else 52


CHARTS: dict[str, Chooser] = {
    "presets": _presets,
    "distances": _distances,
    "causes": causes_chart,
    "tuning": tuning_chart,
    "tolerance": tolerance_chart,
    "advice": advice_chart,
    "sessions": sessions_chart,
}
