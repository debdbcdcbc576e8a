"""Expected hit rate over focus distance and f-number, with present and advised settings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from auditor.show.charts.style import INK, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT, TINY_PT

ON_TINT = "#1f1d1b"  # words on the tint stay dark on a dark page too: the tint stays light
TINT = LinearSegmentedColormap.from_list("tint", ["#fbfaf6", "#b9d9ec", "#6fb2d9"])


def draw_expected(
    ax: Axes, grid: pd.DataFrame, marks: pd.DataFrame, engravings: pd.DataFrame, *, top: float
) -> Axes:
    """Draw a cell per setting, tinted and inscribed by its expected hit rate.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    grid : pandas.DataFrame
        ``column`` and ``row`` (whole numbers from 0: engraving and stop), ``expected_hit_rate``,
        ``within_experience`` (settings outside it are greyed and not inscribed).
    marks : pandas.DataFrame
        ``column``, ``row``, ``advised`` (true or false), ``label``: settings to point out.
    engravings : pandas.DataFrame
        ``axis`` (``column`` or ``row``), ``at``, ``label``: the ticks.
    top : float
        The rate that gets the strongest tint.

    Returns
    -------
    matplotlib.axes.Axes
    """
    columns, rows = int(grid["column"].max()) + 1, int(grid["row"].max()) + 1
    shares = np.full((rows, columns), np.nan)
    shares[grid["row"], grid["column"]] = grid["expected_hit_rate"]
    known = np.zeros((rows, columns), dtype=bool)
    known[grid["row"], grid["column"]] = grid["within_experience"]
    edges = (np.arange(columns + 1) - 0.5, np.arange(rows + 1) - 0.5)
    tinted = np.ma.masked_where(~known | np.isnan(shares), shares)
    ax.pcolormesh(*edges, tinted, cmap=TINT, vmin=0, vmax=top, ec="none", gid="tint", zorder=0)
    outside = np.ma.masked_where(known, np.ones_like(shares))
    ax.pcolor(
        *edges, outside, cmap=LinearSegmentedColormap.from_list("rule", [RULE, RULE]), alpha=0.55, zorder=0
    )
    for row in grid[grid["within_experience"]].itertuples():
        ax.text(
            row.column, row.row, f"{100 * row.expected_hit_rate:.0f}", ha="center", va="center", size=TINY_PT,
            color=ON_TINT, zorder=2,
        )  # fmt: skip
    for mark in marks.itertuples():
        look: dict[str, Any] = {"mec": NOT_KEPT, "mew": 2.0} if mark.advised else {"mec": INK, "mew": 1.2}
        shape = "s" if mark.advised else "o"
        ax.plot([mark.column], [mark.row], shape, mfc="none", ms=17, zorder=3, **look)
        below = _written_below(mark, marks)
        ax.annotate(
            str(mark.label), (mark.column, mark.row), (0, -9.5 if below else 9.5),
            textcoords="offset points", ha="center", va="top" if below else "bottom",
            size=SMALL_PT, color=NOT_KEPT if mark.advised else INK, zorder=4, parse_math=False,
            bbox={"boxstyle": "square,pad=0.1", "fc": PAPER, "ec": "none", "alpha": 0.85},
        )  # fmt: skip
    for name, axis in (("column", ax.xaxis), ("row", ax.yaxis)):
        ticks = engravings[engravings["axis"] == name]
        axis.set_major_locator(FixedLocator(ticks["at"].tolist()))
        axis.set_major_formatter(FixedFormatter(ticks["label"].tolist()))
        axis.set_minor_locator(NullLocator())
    ax.set_xlim(edges[0][0], edges[0][-1])
    ax.set_ylim(edges[1][0], edges[1][-1])
    ax.tick_params(length=0, colors=MUTED)
    return ax


def _written_below(mark: Any, marks: pd.DataFrame) -> bool:
    """Whether a mark's name stands below it: that of the present ring does where there is room."""
    under = marks[marks["advised"] & (abs(marks["row"] - (mark.row - 1)) < 0.5)]
    return not mark.advised and mark.row > 0.5 and not len(under)
