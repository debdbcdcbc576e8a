"""Lays out the charts of fitted results: tolerance, aperture tuning, advice, causes, sessions."""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.figure import Figure

from auditor.journey import Audit
from auditor.show import fitted_tables
from auditor.show.chart_tables import share_axis_end
from auditor.show.charts.blur import draw_blur_curve
from auditor.show.charts.causes import ROW_IN as CAUSE_IN
from auditor.show.charts.causes import draw_causes
from auditor.show.charts.expected import draw_expected
from auditor.show.charts.sessions import draw_sessions
from auditor.show.charts.style import new_figure
from auditor.show.charts.tuning import draw_tuning

Drawing = Callable[[str, bool], Figure]  # units and whether narrow -> figure

CELL_IN = 0.3  # height of one stop in the advice chart


def tolerance_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of hit rate against blur."""
    tolerance = audit.tolerance
    if not tolerance.fitted:
        return None
    curve, marks = fitted_tables.blur_curve(tolerance), fitted_tables.blur_marks(tolerance)
    bins = tolerance.calibration.rename(columns={"hit_rate": "rate"})
    ticks = fitted_tables.blur_ticks(curve["blur_mm"].min(), curve["blur_mm"].max())
    top = share_axis_end(bins["high"])

    def drawing(_units: str, narrow: bool) -> Figure:
        figure = new_figure(2.6, narrow=narrow)
        left = 0.13 if narrow else 0.07
        draw_blur_curve(figure.add_axes((left, 0.12, 0.97 - left, 0.83)), bins, curve, marks, ticks, top=top)
        return figure

    return drawing


def tuning_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of a lens's apertures."""
    tuning = audit.tuning
    if tuning is None or not tuning.stops:
        return None
    stops = fitted_tables.tuning_stops(tuning)
    lost = stops.filter(like="lost_to_").sum(axis=1) + stops["expected"]
    top = share_axis_end(stops[["high", "observed_high"]].max(axis=1).combine(lost, max))

    def drawing(_units: str, narrow: bool) -> Figure:
        figure = new_figure(2.8, narrow=narrow)
        left = 0.13 if narrow else 0.07
        counts = stops["count_label"].str.replace(" of ", "\nof ") if narrow else stops["count_label"]
        ax = figure.add_axes((left, 0.1, 0.98 - left, 0.86))
        draw_tuning(ax, stops.assign(count_label=counts), top=top)
        return figure

    return drawing


def advice_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of expected hit rates over focus distance and f-number."""
    advice = audit.advice
    if advice is None or not len(advice.grid):
        return None
    grid, marks = fitted_tables.advice_grid(advice), fitted_tables.advice_marks(advice)
    top = float(grid["expected_hit_rate"].max())

    def drawing(units: str, narrow: bool) -> Figure:
        height = CELL_IN * (grid["row"].max() + 1) + 0.4
        figure = new_figure(height, narrow=narrow)
        left = 0.13 if narrow else 0.07
        ax = figure.add_axes((left, 0.3 / height, 0.97 - left, 1 - 0.34 / height))
        draw_expected(ax, grid, marks, fitted_tables.advice_ticks(advice, units, narrow=narrow), top=top)
        return figure

    return drawing


def causes_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of why frames were not kept."""
    causes = audit.causes
    if not audit.tolerance.carries or not (causes.table["frames"] > 0).any():
        return None
    rows = fitted_tables.cause_rows(causes)

    def drawing(_units: str, narrow: bool) -> Figure:
        figure = new_figure(CAUSE_IN * len(rows) + 0.1, narrow=narrow)
        draw_causes(figure.add_axes((0.02, 0.02, 0.96, 0.96)), rows, narrow=narrow)
        return figure

    return drawing


def sessions_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of sessions over time."""
    found = audit.over_time
    if len(found.sessions) < 2:
        return None

    def drawing(_units: str, narrow: bool) -> Figure:
        figure = new_figure(2.5, narrow=narrow)
        left = 0.19 if narrow else 0.1
        ax, below = (
            figure.add_axes((left, low, 0.98 - left, high)) for low, high in ((0.36, 0.6), (0.1, 0.2))
        )
        draw_sessions(ax, below, found.sessions, fitted_tables.session_ticks(found, 2 if narrow else 5))
        return figure

    return drawing
