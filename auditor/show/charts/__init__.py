"""The charts of an audit, as files; the page draws its own pictures. Nothing is computed here."""

import math
from collections.abc import Callable, Collection
from typing import NamedTuple

from matplotlib.figure import Figure

from auditor.evidence.presets import count_all
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.charts.distances import LANE_IN, draw_distances
from auditor.show.charts.presets import ROW_IN, draw_presets
from auditor.show.charts.style import chart_style, new_figure, to_png, to_svg


class Chart(NamedTuple):
    """One chart as files, in the units of the settings."""

    svg: str
    png: bytes


def render_charts(audit: Audit, names: Collection[str] | None = None) -> dict[str, Chart]:
    """Draw the charts of an audit by name, all or those named; those without results are left out."""
    charts = {}
    with chart_style():
        for name, draw in CHARTS.items():
            figure = draw(audit) if names is None or name in names else None
            if figure is not None:
                charts[name] = Chart(to_svg(figure), to_png(figure))
    return charts


def _presets(audit: Audit) -> Figure | None:
    rows = chart_tables.preset_chart_rows(audit)
    if not len(rows):
        return None
    overall = count_all(audit.counted, audit.settings.confidence)["hit_rate"] if len(rows) > 1 else math.nan
    height = ROW_IN * len(rows) + 0.5
    figure = new_figure(height)
    ax = figure.add_axes((0.02, 0.3 / height, 0.95, 1 - 0.34 / height))
    draw_presets(ax, rows, overall=overall, top=chart_tables.share_axis_end(rows["high"]))
    return figure


def _distances(audit: Audit) -> Figure | None:
    lanes, bars = chart_tables.distance_lanes(audit)
    if not len(lanes):
        return None
    ticks = chart_tables.distance_ticks(lanes["from_m"][0], lanes["to_m"][0], audit.settings.units)
    height = LANE_IN * len(lanes) + 0.35
    figure = new_figure(height)
    draw_distances(figure.add_axes((0.02, 0.3 / height, 0.96, 1 - 0.33 / height)), lanes, bars, ticks)
    return figure


CHARTS: dict[str, Callable[[Audit], Figure | None]] = {"presets": _presets, "distances": _distances}
