"""Hit rate of each preset: a dot on its interval, with its name and its n above it."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter

from auditor.show.charts.style import INK, KEPT, MUTED, PAPER, RULE, SMALL_PT, TINY_PT

ROW_IN = 0.42  # height of one preset's row


def draw_presets(ax: Axes, rows: pd.DataFrame, *, overall: float, top: float) -> None:
    """Draw a dot for each preset's hit rate by bursts, its interval, and a tick for the rate by frames.

    ``rows`` has one row per preset, top first: ``label, count_label``, and the shares ``hit_rate, low, high,
    frame_rate`` (unknown ones leave the row empty). ``overall``, the hit rate of all together, may be NaN;
    ``top`` is the right end of the axis.
    """
    places = np.arange(len(rows))
    ax.hlines(places, 0, top, color=RULE, lw=0.7, zorder=1)
    ax.hlines(places, rows["low"], rows["high"], color=KEPT, lw=5, alpha=0.35, zorder=2, gid="intervals")
    ax.plot(rows["frame_rate"], places, "|", color=INK, ms=10, mew=1.1, zorder=3, gid="frames")
    dot: dict[str, Any] = {"color": KEPT, "mec": PAPER, "mew": 1.2, "ms": 8.5, "gid": "rates"}
    ax.plot(rows["hit_rate"], places, "o", zorder=4, **dot)
    # On a patch of paper, so that no line runs through the words.
    paper = {"boxstyle": "square,pad=0.12", "fc": PAPER, "ec": "none"}
    above: dict[str, Any] = {"va": "bottom", "bbox": paper, "zorder": 1.5}
    for place, row in zip(places, rows.itertuples(), strict=True):
        ax.text(0, place - 0.29, str(row.label), ha="left", **above)
        ax.text(top, place - 0.29, str(row.count_label), ha="right", size=SMALL_PT, color=MUTED, **above)
    if not np.isnan(overall):
        ax.axvline(overall, color=MUTED, lw=0.8, ls=(0, (4, 3)), zorder=0, gid="overall")
        ax.text(overall, len(rows) - 0.57, " all together", va="bottom", size=TINY_PT, color=MUTED)
    ax.set(xlim=(0, top), ylim=(len(rows) - 0.55, -0.85), yticks=[])
    ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    ax.xaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
