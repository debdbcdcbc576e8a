"""Why frames were not kept: one bar for each cause."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from auditor.show.charts.style import INK, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT

ROW_IN = 0.4


def draw_causes(ax: Axes, causes: pd.DataFrame, *, narrow: bool = False) -> Axes:
    """Draw how many of 100 frames not kept each cause took, the cause's name and number above its bar.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    causes : pandas.DataFrame
        Top first: ``label``, ``count_label``, ``short_label``, ``of_100``, ``low``, ``high`` (NaN for no
        interval), and ``explained`` (false for what blur does not explain, which is drawn hollow).
    narrow : bool
        Write the short count, for want of room.

    Returns
    -------
    matplotlib.axes.Axes
    """
    end = float(causes[["of_100", "high"]].max().max())
    for place, row in enumerate(causes.itertuples()):
        fill = NOT_KEPT if row.explained else PAPER
        ax.plot([0, end], [place, place], color=RULE, lw=0.7, zorder=0)
        ax.barh(place, row.of_100, 0.24, fc=fill, ec=NOT_KEPT, lw=0.9, zorder=1, gid=f"cause-{place}")
        ax.plot([row.low, row.high], [place, place], color=INK, lw=1.4, zorder=2, gid=f"interval-{place}")
        ax.text(0, place - 0.24, str(row.label), va="bottom", parse_math=False)
        count = str(row.short_label if narrow else row.count_label)
        ax.text(end, place - 0.24, count, va="bottom", ha="right", size=SMALL_PT, color=MUTED)
    ax.set_xlim(0, end)
    ax.set_ylim(len(causes) - 0.6, -0.8)
    ax.set_axis_off()
    return ax
