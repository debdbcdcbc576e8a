"""Draws the smaller pictures: a rate on its interval, a hundred frames by cause, a curve with its band."""

import math
from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from markupsafe import Markup

from auditor.evidence.line_presses import LinePresses
from auditor.show.chart_tables import BlurPicture
from auditor.show.page.model import said
from auditor.show.page.ring_scale import scale_of
from auditor.show.page.svg import along, element, label, line, picture, shape_at, stretched
from auditor.units import format_distance, format_exposure_time

LANE, MOST_WALKS = 16.0, 100
STANDARD_TIMES_S = (1 / 4000, 1 / 2000, 1 / 1000, 1 / 500, 1 / 250, 1 / 125, 1 / 60, 1 / 30, 1 / 15)
_ACROSS, _STEP = 20, 15.0
# One shape for each cause, so that colour is never alone; the side of a place is 12.
SHAPES = {
    "not_explained_by_blur": "M2 2H10V10H2Z",
    "subject_motion": "M1.5 1.5L11 6L1.5 10.5Z",
    "beyond_zone": "M6 1A5 5 0 1 1 5.99 1Z",
    "in_front_of_zone": "M1 1H11V11H1Z",
    "diffraction": "M6 0L12 6L6 12L0 6Z",
}


def draw_rates(row: Any, top: float, *, judged: bool = False) -> Markup:
    """Draw the rates of a preset or walk on the interval of each: sharp above where judged, kept below."""
    lanes = [("kept", row.bursts, row.low, row.hit_rate, row.high)]
    if judged:
        lanes.insert(0, ("sharp", row.sharp_judged, row.sharp_low, row.sharp_rate, row.sharp_high))
    parts: list[Markup] = []
    for place, (kind, n, *rate) in enumerate(lanes):
        y = LANE * (place + 0.5)
        parts.append(line("0", y, "100%", y, "track"))
        if not n or np.isnan(rate[1]):
            continue
        low, at, high = (min(end / top, 1.0) for end in rate)
        span = {"x": along(low), "width": along(high - low), "y": y - 4, "height": 8}
        parts.append(element("rect", **span, class_=f"span {kind}"))
        if kind == "kept":
            parts.append(element("circle", cx=along(at), cy=y, r=5, class_="point kept"))
        else:
            diamond = element("path", d="M0 -6.5L6.5 0L0 6.5L-6.5 0Z", class_="point sharp")
            parts.append(shape_at(along(at), y, diamond))
    return picture("", LANE * len(lanes), *parts, class_="rates")


def draw_hundred(causes: Mapping[str, int]) -> Markup:
    """Draw a hundred places, each with the shape of the cause that took it."""
    taken = [name for name, number in causes.items() for _ in range(number)]
    places = []
    for place, name in enumerate(taken):
        move = f"translate({place % _ACROSS * _STEP:g} {place // _ACROSS * _STEP:g})"
        places.append(element("path", d=SHAPES[name], class_=name, transform=move))
    box = f"-0.5 -0.5 {_ACROSS * _STEP - 2:g} {len(taken) / _ACROSS * _STEP - 2:g}"
    return element("svg", *places, viewBox=box, class_="hundred", aria_hidden="true")


def draw_key(cause: str) -> Markup:
    """Draw the shape of one cause, for the words beside it."""
    box = {"viewBox": "-0.5 -0.5 13 13", "width": 13, "height": 13, "class_": "key"}
    return element("svg", element("path", d=SHAPES[cause], class_=cause), **box, aria_hidden="true")


class Plane(NamedTuple):
    """Height of a picture and of what stays free at head and foot [px]; places are shares of the rest."""

    height: float
    head: float
    foot: float

    def y(self, share: float) -> float:
        """Pixels from the top of what lies so far up; what lies beyond an end lies on it."""
        return self.bottom - min(max(share, 0.0), 1.0) * (self.bottom - self.head)

    @property
    def bottom(self) -> float:
        """Pixels from the top of the base line."""
        return self.height - self.foot

    def path(self, points: Iterable[tuple[float, float]], kind: str) -> Markup:
        """Draw a line through places along and up; a band is closed."""
        corners = "L".join(f"{1000 * x:.0f} {1000 * self.y(up) / self.height:.0f}" for x, up in points)
        return stretched(f"M{corners}{'Z' if kind == 'band' else ''}" if corners else "", class_=kind)

    def upright(self, x: str, kind: str) -> Markup:
        """Draw a line from head to foot."""
        return line(x, self.head, x, self.bottom, kind)

    def base(self) -> Markup:
        """Draw the line at the foot."""
        return line("0", self.bottom, "100%", self.bottom, "base")


def draw_curve(blurs: BlurPicture, finding: str) -> Markup:
    """Draw a rate over blur, with its finding in words: curve and band, what was observed, and two marks."""
    plane, curve, bins = Plane(210.0, 34.0, 24.0), blurs.curve, blurs.bins
    least, most = np.log(curve["blur_mm"].iloc[[0, -1]])
    top = min(1.0, 1.08 * float(np.nanmax([bins["high"].max(), curve["rate"].max()])))

    def x(blur_mm: Any) -> Any:
        return (np.log(blur_mm) - least) / (most - least)

    low, rate, high = (
        list(zip(x(curve["blur_mm"]), curve[name] / top, strict=True)) for name in ("low", "rate", "high")
    )
    parts = [plane.path([*low, *high[::-1]], "band"), plane.path(rate, "line")]
    for row in bins.itertuples():
        at = along(x(row.blur_mm))
        start, middle, end = (plane.y(share / top) for share in (row.low, row.rate, row.high))
        square = {"width": 8, "height": 8, "class_": "point kept", "transform": "translate(-4 0)"}
        parts.append(line(at, f"{start:.1f}", at, f"{end:.1f}", "whisker"))
        parts.append(element("rect", x=at, y=f"{middle - 4:.1f}", **square))
    for place, (blur_mm, name) in enumerate(sorted(blurs.marks)):
        at, before = along(x(blur_mm)), place == 0 and x(blur_mm) > 0.3
        side = ("end", -4) if before else ("start", 4)
        parts += [plane.upright(at, "mark"), label(name, at, 12 + 15 * place, side[0], dx=side[1])]
    parts += [plane.base(), *(label(name, along(x(mm)), plane.height - 6) for mm, name in blurs.ticks)]
    return picture(finding, plane.height, *parts, class_="curve")


def draw_line(one: LinePresses, finding: str) -> Markup:
    """Draw exposure time over distance at a line: a block where a walker stays sharp, every frame a dot."""
    plane, frames, edge = Plane(210.0, 24.0, 24.0), one.frames, one.edge
    scale = scale_of([*frames["distance_m"], *edge["distance_m"]], [])
    times = np.log([*frames["exposure_time_s"], *edge["longest_s"].tail(1), edge["longest_s"].max()])
    shortest, longest = times.min() - 0.3, times.max() + 0.3

    def up(time_s: float) -> float:
        return float((math.log(max(time_s, 1e-9)) - shortest) / (longest - shortest))

    ends = [(end, 0.0) for end in edge["distance_m"].iloc[[0, -1]]] if len(edge) else []
    corners = [*ends[:1], *edge.itertuples(index=False), *ends[1:]]
    parts = [
        plane.path([(scale.at(distance_m), up(time_s)) for distance_m, time_s in corners], "band"),
        plane.upright(along(scale.at(one.line_m)), "mark"),
    ]
    for time_s in STANDARD_TIMES_S:
        y = plane.y(up(time_s))
        if plane.head + 8 < y < plane.bottom:
            parts.append(line("0", f"{y:.1f}", "100%", f"{y:.1f}", "track"))
            parts.append(label(format_exposure_time(time_s), "100%", f"{y:.1f}", "end", dy=-3))
    for row in frames.itertuples():
        place = {"cx": along(scale.at(row.distance_m)), "cy": f"{plane.y(up(row.exposure_time_s)):.1f}"}
        parts.append(element("circle", **place, r=4, class_="kept" if row.kept else "not-kept"))
    parts.append(plane.base())
    for distance_m in (one.near_limit_m, one.line_m, one.far_limit_m):
        if scale.holds(distance_m):
            named = said(partial(format_distance, distance_m))._asdict()
            spans = Markup("").join(element("tspan", text, class_=unit) for unit, text in named.items())
            parts.append(label(spans, along(scale.at(distance_m)), plane.height - 6))
    return picture(finding, plane.height, *parts, class_="curve")


def draw_over_time(walks: pd.DataFrame, finding: str) -> Markup:
    """Draw the table of :func:`auditor.evidence.walks.count_walks`, walks that were chosen from alone."""
    plane, shown = Plane(190.0, 14.0, 22.0), walks[walks["kept_of"] > 0].tail(MOST_WALKS)
    top = max(float(shown[["kept_share", "kept_high"]].max(axis=None)) * 1.05, 0.05)
    rows = [((place + 0.5) / len(shown), row) for place, row in enumerate(shown.itertuples())]
    banded = [(x, row) for x, row in rows if row.kept_high == row.kept_high]
    upper = [(x, row.kept_high / top) for x, row in banded]
    lower = [(x, row.kept_low / top) for x, row in reversed(banded)]
    parts = [plane.path([*upper, *lower], "band")] if banded else []
    parts.append(plane.path([(x, row.kept_share / top) for x, row in rows], "line"))
    for x, row in rows:
        size, kind = (6, "not-kept") if row.kept_place in ("more", "less") else (3.5, "kept")
        spot = {"cx": along(x), "cy": f"{plane.y(row.kept_share / top):.1f}", "r": size}
        parts.append(element("circle", **spot, class_=f"point {kind}"))
    parts += [plane.base(), label(f"{100 * top:.0f} %", "0", plane.head - 3, "start")]
    for row, end, anchor in ((rows[0][1], "0", "start"), (rows[-1][1], "100%", "end")):
        if row.starts_at == row.starts_at:
            parts.append(label(f"{row.starts_at:%Y-%m-%d}", end, plane.height - 6, anchor))
    return picture(finding, plane.height, *parts, class_="curve")
