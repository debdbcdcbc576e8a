"""Keepers and frames not kept over distance, each preset's sharp zone on the same axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from auditor.show.charts.style import INK, KEPT, MUTED, NOT_KEPT, PAPER, RULE, SMALL_PT, TINY_PT, ZONE

LANE_IN = 0.92  # height of one preset's lane
ROOM = 0.75  # of the axis's end: a far limit beyond it is named inside its zone
ZONE_TOP = 1.2  # height of the zone's tint, in the tallest bar


def draw_distances(
    axes: Sequence[Axes], lanes: pd.DataFrame, spread: pd.DataFrame, engravings: pd.DataFrame
) -> None:
    """Draw one lane per preset: keepers rise from the line, frames not kept hang from it.

    Parameters
    ----------
    axes : sequence of matplotlib.axes.Axes
        One for each lane, top first, sharing their distance axis.
    lanes : pandas.DataFrame
        ``label``, ``count_label``, ``near_limit_m``, ``far_limit_m``, ``focus_distance_m``,
        ``near_label``, ``far_label``, ``tallest`` (the largest count of any bar in the lane), ``from_m`` and
        ``to_m`` (ends of the axis, the same in all).
    spread : pandas.DataFrame
        ``lane`` (position in ``lanes``), ``from_m``, ``to_m``, ``kept``, ``not_kept``: the bars, as counts.
    engravings : pandas.DataFrame
        ``at_m`` and ``label``: the ticks of the axis.
    """
    for place, (ax, lane) in enumerate(zip(axes, lanes.itertuples(), strict=True)):
        ax.set_gid(f"lane-{place}")
        ax.set_xscale("log")
        ax.set_xlim(lane.from_m, lane.to_m)
        ax.set_ylim(-1.15 * lane.tallest, 2.15 * lane.tallest)
        _draw_zone(ax, lane, place)
        ax.vlines(engravings["at_m"], -lane.tallest, ZONE_TOP * lane.tallest, color=RULE, lw=0.4, zorder=-1)
        _draw_bars(ax, spread[spread["lane"] == place], place)
        ax.axhline(0, color=INK, lw=0.6, zorder=3)
        top: dict[str, Any] = {"transform": ax.transAxes, "va": "top", "parse_math": False}
        ax.text(0, 0.97, str(lane.label), ha="left", **top)
        ax.text(1, 0.97, str(lane.count_label), ha="right", size=SMALL_PT, color=MUTED, **top)
        _set_axis(ax, engravings, last=place == len(lanes) - 1)
    if len(spread):
        for text, side in (("kept", 0.12), ("not kept", -0.12)):
            axes[0].text(
                lanes["from_m"].iloc[0] * 1.01,
                side * lanes["tallest"].iloc[0],
                text,
                va="bottom" if side > 0 else "top",
                size=SMALL_PT,
                color=KEPT if side > 0 else NOT_KEPT,
                bbox={"boxstyle": "square,pad=0.05", "fc": PAPER, "ec": "none", "alpha": 0.85},
                zorder=4,
            )


def _draw_zone(ax: Axes, lane: Any, place: int) -> None:
    """Tint the sharp zone, rule and name its limits, and mark where the ring was set."""
    near_m, far_m, low, high = lane.near_limit_m, lane.far_limit_m, -lane.tallest, ZONE_TOP * lane.tallest
    if np.isnan(near_m):
        return
    end_m = lane.to_m if np.isinf(far_m) else far_m
    tint: dict[str, Any] = {"fc": ZONE, "alpha": 0.38, "lw": 0, "zorder": 0, "gid": f"zone_{place}"}
    ax.add_patch(Rectangle((near_m, low), end_m - near_m, high - low, **tint))
    limits = [near_m] if np.isinf(far_m) else [near_m, far_m]
    ax.vlines(limits, low, high, color=INK, lw=0.9, zorder=1, gid=f"limits_{place}")
    if np.isfinite(lane.focus_distance_m):
        dotted: dict[str, Any] = {"lw": 0.8, "ls": (0, (1, 2)), "gid": f"focus_{place}"}
        ax.vlines([lane.focus_distance_m], low, high, color=INK, zorder=1, **dotted)
    figures: dict[str, Any] = {"va": "top", "size": TINY_PT, "color": MUTED, "parse_math": False}
    figures["clip_on"] = True
    ax.text(near_m * 0.985, high, str(lane.near_label), ha="right", **figures)
    if far_m < ROOM * lane.to_m:
        ax.text(far_m * 1.015, high, str(lane.far_label), ha="left", **figures)
    else:
        ax.text(min(far_m, lane.to_m) * 0.985, high, str(lane.far_label), ha="right", **figures)


def _draw_bars(ax: Axes, spread: pd.DataFrame, place: int) -> None:
    """Bars of a lane: solid above the line for keepers, hollow below it for frames not kept."""
    kept: dict[str, Any] = {"fc": KEPT, "ec": KEPT, "lw": 0.7, "gid": f"kept_{place}"}
    not_kept: dict[str, Any] = {"fc": "none", "ec": NOT_KEPT, "lw": 0.9, "gid": f"not_kept_{place}"}
    for counts, look in ((spread["kept"], kept), (-spread["not_kept"], not_kept)):
        start = spread["from_m"].to_numpy("float64")
        end = start + 0.86 * (spread["to_m"].to_numpy("float64") - start)
        height = counts.to_numpy("float64")
        level = np.zeros_like(height)
        corners = [(start, level), (start, height), (end, height), (end, level)]
        bars = np.stack([np.column_stack(corner) for corner in corners], axis=1)
        ax.add_collection(PolyCollection(bars[height != 0], zorder=2, **look), autolim=False)


def _set_axis(ax: Axes, engravings: pd.DataFrame, *, last: bool) -> None:
    """Engrave the distances of a ring on the axis; only the lowest lane carries the figures."""
    ax.xaxis.set_major_locator(FixedLocator(engravings["at_m"].tolist()))
    ax.xaxis.set_major_formatter(FixedFormatter(engravings["label"].tolist()))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_yticks([])
    if not last:
        ax.tick_params(axis="x", length=0, labelbottom=False)
        ax.spines["bottom"].set_visible(False)
