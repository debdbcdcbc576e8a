"""Charts of the fitted results, checked by the artists they draw."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.figure import Figure

from auditor.show.charts.blur import draw_blur_curve
from auditor.show.charts.sessions import draw_sessions

NAN = float("nan")


def found(parent: Artist, gid: str) -> Artist:
    (artist,) = parent.findobj(lambda part: part.get_gid() == gid, include_self=False)
    return artist


def test_blur_chart_draws_the_curve_the_observed_rates_and_the_tolerance() -> None:
    ax = Figure().add_subplot()
    bins = pd.DataFrame(
        {
            "blur_mm": [0.01, 0.05],
            "rate": [0.4, 0.2],
            "low": [0.3, 0.1],
            "high": [0.5, 0.3],
            "bursts": [70, 81],
        }
    )
    curve = pd.DataFrame(
        {
            "blur_mm": [0.005, 0.05, 0.5],
            "rate": [0.4, 0.2, 0.0],
            "low": [0.3, 0.1, 0.0],
            "high": [0.5, 0.3, 0.1],
        }
    )
    marks = pd.DataFrame(
        {"blur_mm": [0.05, 0.03], "low": [0.04, NAN], "high": [0.06, NAN], "label": ["yours", "handbook"]}
    )
    ticks = pd.DataFrame({"at_mm": [0.01, 0.1], "label": ["0.01", "0.1 mm"]})
    draw_blur_curve(ax, bins, curve, marks, ticks, top=0.6)
    np.testing.assert_allclose(found(ax, "curve").get_xydata(), curve[["blur_mm", "rate"]], rtol=1e-12)
    np.testing.assert_allclose(found(ax, "rates").get_xydata(), bins[["blur_mm", "rate"]], rtol=1e-12)
    ends = np.array([segment[:, 1] for segment in found(ax, "intervals").get_segments()])
    np.testing.assert_allclose(ends, bins[["low", "high"]], rtol=1e-12)
    span = found(ax, "span_0")
    np.testing.assert_allclose([span.get_x(), span.get_x() + span.get_width()], [0.04, 0.06], rtol=1e-12)
    assert not ax.findobj(lambda part: part.get_gid() == "span_1"), "no interval, no tint"
    np.testing.assert_allclose(found(ax, "mark_1").get_xdata(), 0.03, rtol=1e-12)
    assert {"70", "81"} <= {text.get_text() for text in ax.texts}, "n is visible"


def test_sessions_outside_their_limits_have_another_shape() -> None:
    figure = Figure()
    ax, below = figure.subplots(2, 1)
    sessions = pd.DataFrame(
        {
            "hit_rate": [0.2, 0.3, 0.05], "low": [0.1, 0.2, 0.01], "high": [0.3, 0.4, 0.1],
            "bursts": [40, 60, 80], "centre": 0.2, "limit_low": 0.1, "limit_high": 0.4,
            "outside": [False, False, True],
        }
    )  # fmt: skip
    draw_sessions(ax, below, sessions, pd.DataFrame({"at": [0], "label": ["2031-04-05"]}))
    np.testing.assert_allclose(found(ax, "inside").get_xydata(), [[0, 0.2], [1, 0.3]], rtol=1e-12)
    np.testing.assert_allclose(found(ax, "outside").get_xydata(), [[2, 0.05]], rtol=1e-12)
    assert found(ax, "inside").get_marker() != found(ax, "outside").get_marker()
    np.testing.assert_allclose([bar.get_height() for bar in below.patches], sessions["bursts"], rtol=1e-12)
    np.testing.assert_allclose(found(ax, "centre").get_ydata(), 0.2, rtol=1e-12)
    ground = found(ax, "limits").get_paths()[0].get_extents()
    np.testing.assert_allclose(ground.extents, [-0.5, 0.1, 2.5, 0.4], rtol=1e-12)
