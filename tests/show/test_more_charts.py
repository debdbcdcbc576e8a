"""Charts of the fitted results, checked by the artists they draw."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from auditor.show.charts.causes import draw_causes
from auditor.show.charts.expected import draw_expected
from auditor.show.charts.tuning import LOSSES, draw_tuning
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


def stops() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "label": ["f/4", "f/8"], "expected": [0.1, 0.3], "low": [0.05, 0.2], "high": [0.2, 0.4],
            "observed": [NAN, 0.28], "observed_low": [NAN, 0.19], "observed_high": [NAN, 0.4],
            "count_label": ["", "20 of 71"], "lost_to_defocus": [0.25, 0.05],
            "lost_to_motion": [0.02, 0.03], "lost_to_diffraction": [0.01, 0.02], "lost_to_light": [0.0, 0.0],
        }
    )  # fmt: skip


def test_tuning_stacks_the_three_losses_on_the_expected_rate() -> None:
    ax = Figure().add_subplot()
    table = stops()  # without a loss to light, which then has no part in the picture
    draw_tuning(ax, table, top=0.5)
    columns = {container.get_label(): container for container in ax.containers}
    floor = table["expected"].to_numpy()
    np.testing.assert_allclose([bar.get_height() for bar in columns["expected"]], floor, rtol=1e-12)
    drawn = [loss for loss in LOSSES if loss[0] != "lost_to_light"]
    assert set(columns) == {"expected", *(label for _, label, _, _ in drawn)}
    for name, label, _, _ in drawn:
        bars = columns[label]
        np.testing.assert_allclose([bar.get_y() for bar in bars], floor, rtol=1e-12)
        np.testing.assert_allclose([bar.get_height() for bar in bars], table[name], rtol=1e-12)
        floor = floor + table[name].to_numpy()
    np.testing.assert_allclose(found(ax, "observed").get_ydata(), table["observed"], rtol=1e-12)
    (spread,) = (segment for segment in found(ax, "observed-intervals").get_segments() if len(segment))
    np.testing.assert_allclose(spread[:, 1], [0.19, 0.4], rtol=1e-12)
    assert len({columns[label].patches[0].get_hatch() for _, label, _, _ in drawn}) == 3, "told apart in grey"


def test_expected_rates_are_inscribed_and_ground_without_experience_is_not() -> None:
    ax = Figure().add_subplot()
    grid = pd.DataFrame(
        {
            "column": [0, 1, 0, 1], "row": [0, 0, 1, 1], "expected_hit_rate": [0.1, 0.2, 0.31, 0.4],
            "within_experience": [True, True, True, False],
        }
    )  # fmt: skip
    marks = pd.DataFrame(
        {"column": [0, 1], "row": [1, 0], "advised": [True, False], "label": ["advised", "now"]}
    )
    ticks = pd.DataFrame(
        {"axis": ["column"] * 2 + ["row"] * 2, "at": [0, 1, 0, 1], "label": ["1", "2", "f/4", "f/8"]}
    )
    draw_expected(ax, grid, marks, ticks, top=0.4)
    written = {text.get_position(): text.get_text() for text in ax.texts if text.get_text().isdigit()}
    assert written == {(0, 0): "10", (1, 0): "20", (0, 1): "31"}
    tint = found(ax, "tint").get_array()
    np.testing.assert_array_equal(np.ma.getmaskarray(tint), [[False, False], [False, True]])
    assert tint[1, 0] == pytest.approx(0.31)
    shapes = [(line.get_marker(), tuple(line.get_xydata()[0])) for line in ax.lines]
    assert shapes == [("s", (0.0, 1.0)), ("o", (1.0, 0.0))]


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


def test_causes_are_as_long_as_their_part_and_the_unexplained_is_hollow() -> None:
    ax = Figure().add_subplot()
    causes = pd.DataFrame(
        {
            "label": ["in front", "not explained"], "count_label": ["60", "90"],
            "short_label": ["60", "90"],
            "of_100": [60.0, 90.0],
            "low": [50.0, NAN], "high": [72.0, NAN], "explained": [True, False],
        }
    )  # fmt: skip
    draw_causes(ax, causes)
    np.testing.assert_allclose([found(ax, f"cause-{n}").get_width() for n in range(2)], [60, 90], rtol=1e-12)
    np.testing.assert_allclose(found(ax, "interval-0").get_xdata(), [50, 72], rtol=1e-12)
    assert found(ax, "cause-0").get_facecolor() != found(ax, "cause-1").get_facecolor()
