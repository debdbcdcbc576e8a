"""Draws the smaller pictures: a rate on its interval, a hundred frames by cause, a curve with its band."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from markupsafe import Markup

from auditor.show.fitted_tables import BlurPicture
from auditor.show.page.model import Rate
from auditor.show.page.svg import along, element, line, picture, shape_at, stretched

LANE = 16.0
_ACROSS, _STEP = 20, 15.0
# One shape for each cause, so that colour is never alone; the side of a place is 12.
SHAPES = {
    "not_explained_by_blur": "M2 2H10V10H2Z",
    "subject_motion": "M1.5 1.5L11 6L1.5 10.5Z",
    "beyond_zone": "M6 1A5 5 0 1 1 5.99 1Z",
    "in_front_of_zone": "M1 1H11V11H1Z",
    "diffraction": "M6 0L12 6L6 12L0 6Z",
}


def draw_rates(kept: Rate, sharp: Rate | None, top: float) -> Markup:
    """Draw the rates of one row on the interval of each: sharp above, kept below."""
    lanes = [(sharp, "sharp"), (kept, "kept")] if sharp is not None else [(kept, "kept")]
    parts: list[Markup] = []
    for place, (rate, kind) in enumerate(lanes):
        y = LANE * (place + 0.5)
        parts.append(line("0", y, "100%", y, "track"))
        if rate is None or not rate.of or np.isnan(rate.share):
            continue
        low, at, high = (min(end / top, 1.0) for end in (rate.low, rate.share, rate.high))
        span = {"x": along(low), "width": along(high - low), "y": y - 4, "height": 8}
        parts.append(element("rect", **span, class_=f"span {kind}"))
        if kind == "kept":
            parts.append(element("circle", cx=along(at), cy=y, r=5, class_="point kept"))
        else:
            diamond = element("path", d="M0 -6.5L6.5 0L0 6.5L-6.5 0Z", class_="point sharp")
            parts.append(shape_at(along(at), y, diamond))
    return picture("", LANE * len(lanes), *parts, class_="rates")


def draw_session(row: Any) -> Markup:
    """Draw the rate of one walk, of all there is."""
    return draw_rates(Rate(row.hit_rate, row.low, row.high, int(row.hits), int(row.bursts)), None, 1.0)


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


def draw_curve(told: BlurPicture, label: str) -> Markup:
    """Draw a rate over blur, with its finding in words: curve and band, what was observed, and two marks."""
    curve, bins = told.curve, told.bins
    height, head, foot = 210.0, 34.0, 24.0
    least, most = np.log(curve["blur_mm"].iloc[[0, -1]])
    top = min(1.0, 1.08 * float(np.nanmax([bins["high"].max(), curve["rate"].max()])))

    def x(blur_mm: Any) -> Any:
        return (np.log(blur_mm) - least) / (most - least)

    def y(share: Any) -> Any:
        return height - foot - np.minimum(share / top, 1) * (height - head - foot)

    def points(values: Any) -> list[str]:
        places = zip(1000 * x(curve["blur_mm"]), 1000 * y(values) / height, strict=True)
        return [f"{a:.0f} {b:.0f}" for a, b in places]

    band = "L".join(points(curve["low"]) + points(curve["high"])[::-1])
    parts = [
        stretched(f"M{band}Z", class_="band"),
        stretched("M" + "L".join(points(curve["rate"])), class_="line"),
    ]
    for row in bins.itertuples():
        at = along(x(row.blur_mm))
        square = {"width": 8, "height": 8, "class_": "point kept", "transform": "translate(-4 0)"}
        parts += [
            line(at, f"{y(row.low):.1f}", at, f"{y(row.high):.1f}", "whisker"),
            element("rect", x=at, y=f"{y(row.rate) - 4:.1f}", **square),
        ]
    for place, (blur_mm, name) in enumerate(sorted(told.marks)):
        before = place == 0 and x(blur_mm) > 0.3
        at, anchor = along(x(blur_mm)), {"text_anchor": "end" if before else "start"}
        beside = {"dx": -4 if before else 4, "y": 12 + 15 * place, "class_": "label"}
        parts += [
            line(at, head, at, height - foot, "mark"),
            element("text", name, x=at, **beside, **anchor),
        ]
    parts.append(line("0", height - foot, "100%", height - foot, "base"))
    for blur_mm, name in told.ticks:
        under = {"y": height - 6, "text_anchor": "middle", "class_": "label"}
        parts.append(element("text", name, x=along(x(blur_mm)), **under))
    return picture(label, height, *parts, class_="curve")
