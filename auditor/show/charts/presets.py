"""Hit rate of each preset: a dot on its interval, with its name and its n above it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter

from auditor.show.charts.style import INK, KEPT, MUTED, PAPER, RULE, SMALL_PT, TINY_PT

ROW_IN = 0.42  # height of one preset's row


def draw_presets(ax: Axes, rows: pd.DataFrame, *, overall: float, top: float) -> None:
    """Draw a dot for each preset's hit rate by bursts, its interval, and a tick for the rate by frames.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    rows : pandas.DataFrame
        One row per preset, top first: ``label``, ``count_label``, ``hit_rate``, ``low``, ``high``,
        ``frame_rate`` (shares between 0 and 1; unknown rates leave the row empty).
    overall : float
        Hit rate of all presets together, drawn as a dashed line; NaN for none.
    top : float
        Right end of the axis, a share of at most 1.
    """
    for place, row in enumerate(rows.itertuples()):
        ax.plot([0, top], [place, place], color=RULE, lw=0.7, zorder=1)
        span: dict[str, Any] = {"color": KEPT, "lw": 5, "alpha": 0.35, "gid": f"interval-{place}"}
        ax.plot([row.low, row.high], [place, place], zorder=2, **span)
        ax.plot([row.frame_rate], [place], "|", color=INK, ms=10, mew=1.1, zorder=3, gid=f"frames-{place}")
        dot: dict[str, Any] = {"color": KEPT, "mec": PAPER, "mew": 1.2, "ms": 8.5, "gid": f"rate-{place}"}
        ax.plot([row.hit_rate], [place], "o", zorder=4, **dot)
        _write(ax, 0, place, str(row.label), ha="left", gid=f"label-{place}")
        count: dict[str, Any] = {"ha": "right", "size": SMALL_PT, "color": MUTED, "gid": f"count-{place}"}
        _write(ax, top, place, str(row.count_label), **count)
    if not np.isnan(overall):
        ax.axvline(overall, color=MUTED, lw=0.8, ls=(0, (4, 3)), zorder=0, gid="overall")
        ax.text(overall, len(rows) - 0.57, " all together", va="bottom", size=TINY_PT, color=MUTED)
    ax.set_xlim(0, top)
    ax.set_ylim(len(rows) - 0.55, -0.85)
    ax.set_yticks([])
    ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    ax.xaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))


def _write(ax: Axes, x: float, place: int, text: str, **look: Any) -> None:
    """Write above a row, on a patch of paper so that no line runs through the words."""
    paper: dict[str, Any] = {"boxstyle": "square,pad=0.12", "fc": PAPER, "ec": "none"}
    ax.text(x, place - 0.29, text, va="bottom", parse_math=False, bbox=paper, zorder=1.5, **look)
