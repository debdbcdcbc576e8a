"""The pictures of an audit. Charts draw finished tables and compute nothing."""

from __future__ import annotations

from auditor.show.charts.render import Chart, render_charts

__all__ = ["Chart", "render_charts"]
