"""Hit rate of each session in order of time, between control limits."""

from __future__ import annotations

from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter

from auditor.show.charts.style import INK, KEPT, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT


def draw_sessions(ax: Axes, below: Axes, sessions: pd.DataFrame, ticks: pd.DataFrame) -> Axes:
    """Draw sessions as dots with intervals within control limits, and the bursts counted below them.

    Parameters
    ----------
    ax, below : matplotlib.axes.Axes
        The picture and the strip of counts under it; they share their x axis.
    sessions : pandas.DataFrame
        In order of time: ``hit_rate``, ``low``, ``high``, ``bursts``, ``centre``, ``limit_low``,
        ``limit_high`` (control limits; NaN for none) and ``outside`` (true where a session lies outside).
    ticks : pandas.DataFrame
        ``at`` (position of a session) and ``label``.

    Returns
    -------
    matplotlib.axes.Axes
    """
    place = range(len(sessions))
    if sessions["limit_low"].notna().any():
        across = [at + side for at in place for side in (-0.5, 0.5)]
        low, high = (sessions[name].repeat(2) for name in ("limit_low", "limit_high"))
        ax.fill_between(across, low, high, fc=RULE, alpha=0.4, lw=0, zorder=0, gid="limits")
        ax.plot(place, sessions["centre"], color=MUTED, lw=0.8, ls=(0, (4, 3)), zorder=1, gid="centre")
    ax.vlines(
        place, sessions["low"], sessions["high"], color=KEPT, lw=1.1, alpha=0.6, zorder=2, gid="intervals"
    )
    inside = ~sessions["outside"].to_numpy(bool)
    numbers = pd.Series(place)
    ax.plot(
        numbers[inside],
        sessions["hit_rate"][inside],
        "o",
        color=KEPT,
        mec=PAPER,
        mew=1,
        ms=7,
        zorder=3,
        gid="inside",
    )
    look: dict[str, Any] = {"mfc": PAPER, "mec": NOT_KEPT, "mew": 1.8, "ms": 7, "zorder": 3}
    ax.plot(numbers[~inside], sessions["hit_rate"][~inside], "D", gid="outside", **look)
    ax.set_ylim(0, None)
    ax.set_xlim(-0.6, len(sessions) - 0.4)
    ax.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    ax.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    ax.tick_params(axis="x", length=0, labelbottom=False)
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="y", color=RULE, lw=0.4)
    ax.set_axisbelow(True)
    below.bar(place, sessions["bursts"], 0.7, fc=MUTED, lw=0, gid="bursts")
    below.set_xlim(ax.get_xlim())
    below.set_xticks(ticks["at"].tolist(), ticks["label"].tolist())
    below.yaxis.set_major_locator(MaxNLocator(2, integer=True))
    below.tick_params(axis="y", length=0)
    below.set_ylabel("bursts", rotation=0, ha="right", va="center", size=SMALL_PT, color=INK)
    return ax
