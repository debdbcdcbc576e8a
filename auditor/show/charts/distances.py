"""Keepers and frames not kept over distance, each preset's sharp zone on the same axis."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from auditor.show.charts.style import INK, KEPT, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT, TINY_PT, ZONE

LANE_IN = 0.92  # height of one preset's lane
TOP, PITCH = 2.15, 3.3  # of the first lane above its line, and from lane to lane, in the tallest bar
ROOM = 0.75  # of the axis's end: a far limit beyond it is named inside its zone
ZONE_TOP = 1.2  # height of the zone's tint, in the tallest bar


def draw_distances(ax: Axes, lanes: pd.DataFrame, spread: pd.DataFrame, engravings: pd.DataFrame) -> None:
    """Draw one lane per preset, top first: keepers rise from the line, frames not kept hang from it.

    ``lanes`` has ``label, count_label, near_limit_m, far_limit_m, focus_distance_m, near_label, far_label``,
    ``tallest`` (the largest count of any bar in the lane), and ``from_m, to_m``, the ends of the axis.
    ``spread`` has the bars: ``lane`` (position in ``lanes``), ``from_m, to_m``, and the counts ``kept,
    not_kept``. ``engravings`` has the ticks of the axis: ``at_m, label``.
    """
    ax.set(xscale="log", xlim=lanes[["from_m", "to_m"]].iloc[0], yticks=[])
    ax.set_xticks(engravings["at_m"], labels=engravings["label"])
    ax.set_xticks([], minor=True)
    ax.set_ylim(TOP - PITCH * len(lanes), TOP)
    for place, lane in enumerate(lanes.itertuples()):
        line, own = -PITCH * place, spread[spread["lane"] == place]
        _draw_zone(ax, lane, line)
        ax.vlines(engravings["at_m"], line - 1, line + ZONE_TOP, color=RULE, lw=0.4, zorder=-1)
        for kind, up, face, edge in (("kept", 1, KEPT, KEPT), ("not_kept", -1, "none", NOT_KEPT)):
            bars = own[own[kind] > 0]
            start, width = bars["from_m"], 0.86 * (bars["to_m"] - bars["from_m"])
            look: dict[str, Any] = {"fc": face, "ec": edge, "lw": 0.8, "gid": f"{kind}_{place}"}
            ax.bar(start, up * bars[kind] / lane.tallest, width, line, align="edge", zorder=2, **look)
        ax.axhline(line, color=INK, lw=0.6, zorder=3)
        top: dict[str, Any] = {"transform": ax.get_yaxis_transform(), "va": "top"}
        ax.text(0, line + 2.05, str(lane.label), ha="left", **top)
        ax.text(1, line + 2.05, str(lane.count_label), ha="right", size=SMALL_PT, color=MUTED, **top)
    if len(spread):
        paper = {"boxstyle": "square,pad=0.05", "fc": PAPER, "ec": "none", "alpha": 0.85}
        for text, up, colour in (("kept", 1, KEPT), ("not kept", -1, NOT_KEPT)):
            where: dict[str, Any] = {"va": "bottom" if up > 0 else "top", "bbox": paper, "zorder": 4}
            ax.text(1.01 * lanes["from_m"].iloc[0], 0.12 * up, text, size=SMALL_PT, color=colour, **where)


def _draw_zone(ax: Axes, lane: Any, line: float) -> None:
    """Tint the sharp zone, rule and name its limits, and mark where the ring was set."""
    near_m, far_m, low, high = lane.near_limit_m, lane.far_limit_m, line - 1, line + ZONE_TOP
    if np.isnan(near_m):
        return
    ax.fill_between([near_m, min(far_m, lane.to_m)], low, high, color=ZONE, alpha=0.38, lw=0, zorder=0)
    limits = [limit for limit in (near_m, far_m) if np.isfinite(limit)]
    ax.vlines(limits, low, high, color=INK, lw=0.9, zorder=1, gid=f"limits_{lane.Index}")
    if np.isfinite(lane.focus_distance_m):
        dotted: dict[str, Any] = {"lw": 0.8, "ls": (0, (1, 2)), "gid": f"focus_{lane.Index}"}
        ax.vlines(lane.focus_distance_m, low, high, color=INK, zorder=1, **dotted)
    figures: dict[str, Any] = {"va": "top", "size": TINY_PT, "color": MUTED, "clip_on": True}
    ax.text(near_m * 0.985, high, str(lane.near_label), ha="right", **figures)
    beyond = far_m < ROOM * lane.to_m
    at = far_m * 1.015 if beyond else min(far_m, lane.to_m) * 0.985
    ax.text(at, high, str(lane.far_label), ha="left" if beyond else "right", **figures)
