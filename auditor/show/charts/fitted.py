"""Lays out the charts of the tolerance and of the sessions."""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.figure import Figure

from auditor.journey import Audit
from auditor.show import fitted_tables
from auditor.show.chart_tables import share_axis_end
from auditor.show.charts.blur import draw_blur_curve
from auditor.show.charts.sessions import draw_sessions
from auditor.show.charts.style import new_figure

Drawing = Callable[[str], Figure]  # units -> figure


def tolerance_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of verdicts, or keepers, against blur."""
    tolerance = audit.tolerance
    if not tolerance.fitted or not len(tolerance.calibration):
        return None
    curve, marks = fitted_tables.blur_curve(tolerance), fitted_tables.blur_marks(tolerance)
    bins = tolerance.calibration
    ticks = fitted_tables.blur_ticks(curve["blur_mm"].min(), curve["blur_mm"].max())
    top = share_axis_end(bins["high"])

    def drawing(_units: str) -> Figure:
        figure = new_figure(2.6)
        draw_blur_curve(figure.add_axes((0.07, 0.12, 0.9, 0.83)), bins, curve, marks, ticks, top=top)
        return figure

    return drawing


def sessions_chart(audit: Audit) -> Drawing | None:
    """Prepare the chart of sessions over time."""
    found = audit.over_time
    if len(found.sessions) < 2:
        return None

    def drawing(_units: str) -> Figure:
        figure = new_figure(2.5)
        ax, below = (figure.add_axes((0.1, low, 0.88, high)) for low, high in ((0.36, 0.6), (0.1, 0.2)))
        draw_sessions(ax, below, found.sessions, fitted_tables.session_ticks(found, 5))
        return figure

    return drawing
