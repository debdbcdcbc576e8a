"""Share called sharp, or kept, against blur, with the fitted curve and the tolerance."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator, PercentFormatter

from auditor.show.charts.style import INK, KEPT, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT, TINY_PT, ZONE


def draw_blur_curve(
    ax: Axes, bins: pd.DataFrame, curve: pd.DataFrame, marks: pd.DataFrame, ticks: pd.DataFrame, *, top: float
) -> Axes:
    """Draw observed shares by blur, the fitted curve with its band, and the tolerance with its interval.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    bins : pandas.DataFrame
        ``blur_mm``, ``rate``, ``low``, ``high``, ``frames``: observed, one row per group of like blur.
    curve : pandas.DataFrame
        ``blur_mm``, ``rate``, ``low``, ``high``: the fitted curve; low and high may be NaN.
    marks : pandas.DataFrame
        ``blur_mm``, ``low``, ``high``, ``label``: first the tolerance, then diameters to compare it with;
        NaN limits draw a line without an interval.
    ticks : pandas.DataFrame
        ``at_mm`` and ``label`` of the blur axis.
    top : float
        Upper end of the axis of shares.

    Returns
    -------
    matplotlib.axes.Axes
    """
    ax.set_xscale("log")
    ax.set_xlim(curve["blur_mm"].min(), curve["blur_mm"].max())
    ax.set_ylim(0, top)
    if curve["low"].notna().any():
        ax.fill_between(
            curve["blur_mm"], curve["low"], curve["high"], fc=KEPT, alpha=0.2, lw=0, zorder=1, gid="band"
        )
    ax.plot(curve["blur_mm"], curve["rate"], color=KEPT, lw=1.8, zorder=3, gid="curve")
    ax.vlines(bins["blur_mm"], bins["low"], bins["high"], color=INK, lw=0.9, zorder=3, gid="intervals")
    ax.plot(bins["blur_mm"], bins["rate"], "s", mfc=PAPER, mec=INK, mew=1, ms=5, zorder=4, gid="rates")
    for row in bins.itertuples():
        ax.annotate(
            str(row.frames), (row.blur_mm, row.high), (0, 2), textcoords="offset points", ha="center",
            size=TINY_PT, color=MUTED,
        )  # fmt: skip
    for place, row in enumerate(marks.itertuples()):
        _draw_mark(ax, row, place, rightmost=row.blur_mm >= marks["blur_mm"].max())
    ax.grid(axis="y", color=RULE, lw=0.4)
    ax.set_axisbelow(True)
    ax.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    ax.tick_params(axis="y", length=0)
    ax.xaxis.set_major_locator(FixedLocator(ticks["at_mm"].tolist()))
    ax.xaxis.set_major_formatter(FixedFormatter(ticks["label"].tolist()))
    ax.xaxis.set_minor_locator(NullLocator())
    return ax


def _draw_mark(ax: Axes, row: Any, place: int, *, rightmost: bool) -> None:
    """Rule a diameter, tint its interval, and name it on the side where there is room."""
    if not np.isnan(row.low):
        ax.axvspan(row.low, row.high, fc=ZONE, alpha=0.38, lw=0, zorder=0, gid=f"span_{place}")
    chief: dict[str, Any] = {"color": NOT_KEPT, "lw": 1.4}
    other: dict[str, Any] = {"color": MUTED, "lw": 0.8, "ls": (0, (4, 3))}
    ax.axvline(row.blur_mm, zorder=2, gid=f"mark_{place}", **(other if place else chief))
    ax.annotate(
        f" {row.label} ", (row.blur_mm, 0.99 - 0.075 * place), xycoords=("data", "axes fraction"), va="top",
        ha="left" if rightmost else "right", size=SMALL_PT, color=MUTED if place else INK, parse_math=False,
    )  # fmt: skip
