"""Charts are checked by the artists they draw: positions equal the numbers of the table."""

from __future__ import annotations

import struct
from collections.abc import Callable
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.charts import render_charts, style
from auditor.show.charts.distances import draw_distances
from auditor.show.charts.presets import draw_presets


def found(parent: Artist, gid: str) -> Artist:
    (artist,) = parent.findobj(lambda part: part.get_gid() == gid, include_self=False)
    return artist


def extents(ax: Artist, gid: str) -> list[list[float]]:
    """Left, bottom, right and top of each bar."""
    bars = ax.findobj(lambda part: part.get_gid() == gid, include_self=False)
    return [[b.get_x(), b.get_y(), b.get_x() + b.get_width(), b.get_y() + b.get_height()] for b in bars]


def preset_rows() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "label": ["arcade · 28 mm f/8 at 2.5 m", "cost $5 and $6 <b>", "nothing"],
            "count_label": ["31 of 96 bursts", "1 of 7 bursts", "nothing counted"],
            "hit_rate": [0.323, 0.143, np.nan],
            "low": [0.238, 0.026, np.nan],
            "high": [0.421, 0.513, np.nan],
            "frame_rate": [0.21, 0.1, np.nan],
        }
    )


def test_preset_chart_puts_dots_ticks_and_intervals_at_the_tables_numbers() -> None:
    ax = Figure().add_subplot()
    rows = preset_rows()
    draw_presets(ax, rows, overall=0.3, top=0.75)
    for gid, wanted in (("rates", rows["hit_rate"]), ("frames", rows["frame_rate"])):
        np.testing.assert_allclose(found(ax, gid).get_xdata(), wanted, rtol=0, atol=1e-12)
        np.testing.assert_allclose(found(ax, gid).get_ydata(), [0, 1, 2], rtol=0, atol=1e-12)
    for place, ends in enumerate(found(ax, "intervals").get_segments()[:2]):
        np.testing.assert_allclose(ends[:, 0], rows[["low", "high"]].iloc[place], rtol=0, atol=1e-12)
    texts = [text.get_text() for text in ax.texts]
    assert texts[:-1] == [text for row in rows.itertuples() for text in (row.label, row.count_label)]
    np.testing.assert_allclose(found(ax, "overall").get_xdata(), 0.3, rtol=0, atol=1e-12)
    assert ax.get_ylim()[0] > ax.get_ylim()[1], "the first preset is on top"


def test_preset_chart_without_an_overall_rate_has_no_dashed_line() -> None:
    ax = Figure().add_subplot()
    draw_presets(ax, preset_rows(), overall=float("nan"), top=1)
    assert not ax.findobj(lambda part: part.get_gid() == "overall")


def lanes(**changes: object) -> pd.DataFrame:
    lane = {
        "label": "arcade", "count_label": "in zone 4 of 9 kept", "near_limit_m": 1.4, "far_limit_m": 9.0,
        "near_label": "1.4 m", "far_label": "9 m", "focus_distance_m": 2.5, "tallest": 5.0, "from_m": 0.5,
        "to_m": 12.0,
    }  # fmt: skip
    return pd.DataFrame([lane | changes])


BARS = pd.DataFrame(
    {"lane": [0, 0], "from_m": [1.0, 2.0], "to_m": [1.2, 2.4], "kept": [0, 5], "not_kept": [3, 2]}
)
ENGRAVED = pd.DataFrame({"at_m": [1.0, 2.0, 5.0], "label": ["1", "2", "5 m"]})


def zone_ends(ax: Axes) -> list[float]:
    """Left and right end of the first zone's tint."""
    (tint,) = ax.findobj(PolyCollection)
    across = np.concatenate([path.vertices[:, 0] for path in tint.get_paths()])
    return [float(across.min()), float(across.max())]


def test_distance_chart_counts_upwards_and_downwards_and_spans_the_zone() -> None:
    ax = Figure().add_subplot()
    draw_distances(ax, lanes(), BARS, ENGRAVED)
    kept, not_kept = (extents(ax, f"{name}_0") for name in ("kept", "not_kept"))
    np.testing.assert_allclose(kept, [[2.0, 0, 2.344, 1]], rtol=1e-12)  # no bar for no keepers
    np.testing.assert_allclose(not_kept, [[1.0, 0, 1.172, -0.6], [2.0, 0, 2.344, -0.4]], rtol=1e-12)
    assert zone_ends(ax) == pytest.approx([1.4, 9.0])
    focus = found(ax, "focus_0").get_segments()
    np.testing.assert_allclose(focus[0][:, 0], 2.5, rtol=1e-12)
    np.testing.assert_allclose(ax.get_xticks(), ENGRAVED["at_m"], rtol=1e-12)
    assert ax.get_xscale() == "log"


def test_keepers_and_frames_not_kept_differ_without_colour() -> None:
    ax = Figure().add_subplot()
    draw_distances(ax, lanes(), BARS, ENGRAVED)
    assert found(ax, "kept_0").get_facecolor()[3] == pytest.approx(1)
    assert not any(bar.get_facecolor()[3] for bar in ax.patches if bar.get_gid() == "not_kept_0"), "hollow"


def test_an_infinite_zone_reaches_the_end_of_the_axis_and_has_one_limit_and_no_ring_mark() -> None:
    ax = Figure().add_subplot()
    draw_distances(ax, lanes(far_limit_m=np.inf, focus_distance_m=np.inf, far_label="∞"), BARS, ENGRAVED)
    assert zone_ends(ax)[1] == pytest.approx(12.0)
    assert len(found(ax, "limits_0").get_segments()) == 1
    assert not ax.findobj(lambda part: part.get_gid() == "focus_0")


def test_lanes_without_frames_still_show_the_zone() -> None:
    ax = Figure().add_subplot()
    draw_distances(ax, lanes(tallest=1.0), BARS.head(0), ENGRAVED)
    assert zone_ends(ax) == pytest.approx([1.4, 9.0])


@pytest.mark.slow
def test_bars_hold_every_counted_frame_with_a_distance(walked: Audit) -> None:
    _, bars = chart_tables.distance_lanes(walked)
    assert bars["kept"].sum() == walked.counts["keepers"]
    assert bars["not_kept"].sum() == walked.counts["not_kept"]


@pytest.mark.slow
def test_charts_are_the_same_every_time_and_leave_no_style_behind(
    audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    audit = audit_of(frames_of(60))
    before = dict(mpl.rcParams)
    first, second = render_charts(audit), render_charts(audit)
    assert dict(mpl.rcParams) == before
    assert set(first) == {"presets", "distances"}
    for name, chart in first.items():
        assert chart == second[name]
        ElementTree.fromstring(chart.svg)
        assert "<text" in chart.svg, "words stay words"
        width, height = struct.unpack(">II", chart.png[16:24])
        assert width == pytest.approx(style.WIDE_IN * style.PNG_DPI, abs=1)
        assert height > 100


@pytest.mark.slow
def test_charts_without_marks_leave_out_what_has_no_result(
    audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    assert set(render_charts(audit_of(frames_of(40, marks=False)))) == {"distances"}


@pytest.mark.parametrize("units", ["m", "ft"])
def test_engravings_are_round_numbers_in_their_own_units(units: str) -> None:
    ticks = chart_tables.distance_ticks(0.4, 12.0, units)
    metres = {"m": 1.0, "ft": 0.3048}[units]  # international foot, 1959
    figures = [float(label.split()[0]) for label in ticks["label"]]
    np.testing.assert_allclose(ticks["at_m"], np.array(figures) * metres, rtol=1e-12)
    assert ticks["label"].iloc[-1].endswith(f" {units}")
    assert ticks["at_m"].between(0.4, 12.0).all()


def test_colours_are_the_published_set() -> None:
    """Okabe and Ito, Color Universal Design (2008), table of RGB values."""
    published = {
        "ZONE": (240, 228, 66),
        "KEPT": (0, 114, 178), "NOT_KEPT": (213, 94, 0),
    }  # fmt: skip
    for name, rgb in published.items():
        assert getattr(style, name) == "#{:02x}{:02x}{:02x}".format(*rgb)
