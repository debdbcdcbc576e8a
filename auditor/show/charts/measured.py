"""Measured blur against predicted blur, one mark for each face."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from auditor.evidence.measured_blur import LESS, MORE
from auditor.journey import Audit
from auditor.show.charts.style import INK, KEPT, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT, new_figure

TICKS_MM = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
MOST_MARKS = 1500

_LOOKS = {MORE: ("^", NOT_KEPT, "more"), LESS: ("v", KEPT, "less")}


def measured_chart(audit: Audit) -> Callable[[str], Figure] | None:
    """Prepare the chart of measured against predicted blur; None without frames that have both."""
    found = audit.measured_blur
    if found is None or not len(found.frames):
        return None
    frames = found.frames
    if len(frames) > MOST_MARKS:
        frames = frames.iloc[np.linspace(0, len(frames) - 1, MOST_MARKS).astype(int)]

    def drawing(_units: str) -> Figure:
        figure = new_figure(3.1)
        draw_measured(figure.add_axes((0.12, 0.15, 0.84, 0.82)), frames)
        return figure

    return drawing


def draw_measured(ax: Axes, frames: pd.DataFrame) -> Axes:
    """Draw each face at its predicted and its measured blur; readings below their floor lie hollow on it.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    frames : pandas.DataFrame
        ``predicted_mm``, ``measured_mm``, ``floor_mm`` and ``finding``.
    """
    shown = np.maximum(frames["measured_mm"], frames["floor_mm"])
    floor = float(frames["floor_mm"].min())
    ends = np.concatenate([frames["predicted_mm"], shown])
    low, high = 0.8 * float(ends.min()), 1.25 * float(ends.max())
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlim(low, high)
    ax.set_ylim(0.85 * floor, max(high, 1.5 * floor))
    ax.plot([low, high], [low, high], color=RULE, lw=1.2, zorder=1, gid="as-predicted")
    ax.axhline(floor, color=MUTED, lw=0.8, ls=(0, (4, 3)), zorder=1, gid="floor")
    below = frames["measured_mm"] < frames["floor_mm"]
    for finding, own in frames.groupby("finding", sort=True):
        marker, colour, name = _LOOKS.get(str(finding), ("o", INK, "rest"))
        for hidden in (False, True):
            part = own[below[own.index] == hidden]
            if len(part):
                ax.plot(
                    part["predicted_mm"], shown[part.index], marker, ms=4, mew=0.8, mec=colour, ls="",
                    mfc=PAPER if hidden else colour, alpha=0.8, zorder=3,
                    gid=f"{name}{'-hidden' * hidden}-{str(finding).replace(' ', '-')}",
                )  # fmt: skip
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(FixedLocator(TICKS_MM))
        axis.set_major_formatter(FixedFormatter([f"{at:g}" for at in TICKS_MM]))
        axis.set_minor_locator(NullLocator())
    ax.set_xlabel("predicted blur, mm", size=SMALL_PT)
    ax.set_ylabel("measured blur, mm", size=SMALL_PT)
    ax.tick_params(axis="y", length=0)
    return ax
