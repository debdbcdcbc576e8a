"""Expected hit rate at each aperture of a lens, and what is lost to blur of each kind and to the dark."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import PercentFormatter

from auditor.show.charts.style import INK, KEPT, MUTED, ORANGE, PAPER, PURPLE, RULE, SKY, SMALL_PT, TINY_PT

# Each loss: column, name, colour, hatch (so that they differ in grey too).
LOSSES = (
    ("lost_to_defocus", "defocus", ORANGE, "////"),
    ("lost_to_motion", "motion", PURPLE, "||||"),
    ("lost_to_diffraction", "diffraction", SKY, ""),
    ("lost_to_light", "too dark", MUTED, "xxxx"),
)


NAMED = 0.004  # share of bursts; thinner parts of the last column have no name


def draw_tuning(ax: Axes, stops: pd.DataFrame, *, top: float) -> Axes:
    """Draw a column per stop: the expected hit rate below, the losses stacked on it.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
    stops : pandas.DataFrame
        In order of the ring: ``label``, ``expected``, ``low``, ``high``, ``observed`` with ``observed_low``
        and ``observed_high`` (NaN where the stop was not used), ``count_label`` and the ``lost_to_...``
        columns; all shares of bursts.
    top : float
        Upper end of the axis.

    Returns
    -------
    matplotlib.axes.Axes
    """
    place = [float(number) for number in range(len(stops))]
    expected = stops["expected"].to_numpy("float64")
    ax.bar(place, expected, 0.62, fc=KEPT, alpha=0.35, lw=0, zorder=1, label="expected")
    floor = expected.copy()
    for column, name, colour, hatch in LOSSES:
        lost = stops[column].to_numpy("float64")
        if not (lost > 0).any():
            continue
        look: dict[str, Any] = {
            "fc": PAPER if hatch else colour,
            "ec": colour,
            "hatch": hatch,
            "lw": 0.7,
            "zorder": 1,
        }
        ax.bar(place, lost, 0.62, bottom=floor, label=name, **look)
        floor = floor + lost
    ax.vlines(place, stops["low"], stops["high"], color=KEPT, lw=2.2, zorder=2, gid="intervals")
    beside = [at + 0.18 for at in place]
    ends = (stops["observed_low"], stops["observed_high"])
    ax.vlines(beside, *ends, color=INK, lw=0.9, zorder=2, gid="observed-intervals")
    ax.plot(place, expected, "o", color=KEPT, mec=PAPER, mew=1.2, ms=8, zorder=4, gid="expected")
    ax.plot(
        beside,
        stops["observed"],
        "s",
        mfc=PAPER,
        mec=INK,
        mew=1,
        ms=5,
        zorder=3,
        gid="observed",
    )
    for at, row in zip(place, stops.itertuples(), strict=True):
        ax.text(at, 0.008 * top, str(row.count_label), ha="center", va="bottom", size=TINY_PT, color=INK)
    _name_losses(ax, stops, expected, place)
    ax.set_xlim(-0.6, len(stops) + 0.55)
    ax.set_ylim(0, top)
    ax.set_xticks(place, stops["label"].tolist())
    ax.tick_params(axis="x", length=0)
    ax.tick_params(axis="y", length=0)
    ax.yaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    ax.grid(axis="y", color=RULE, lw=0.4, zorder=-1)
    ax.set_axisbelow(True)
    return ax


def _name_losses(ax: Axes, stops: pd.DataFrame, expected: np.ndarray, place: list[float]) -> None:
    """Name each part beside the last column, in the order of the stack, far enough apart to be read."""
    last = stops.iloc[-1]
    names = [("expected", 0.0, expected[-1], MUTED)]
    floor = expected[-1]
    for column, name, _, _ in LOSSES:
        if last[column] > NAMED:
            names.append((name, floor, floor + last[column], MUTED))
        floor += last[column]
    lowest = -np.inf
    for name, start, end, colour in names:
        height = max((start + end) / 2, lowest)
        ax.text(place[-1] + 0.4, height, name, va="center", size=SMALL_PT, color=colour)
        lowest = height + 0.055 * ax.get_ylim()[1]
