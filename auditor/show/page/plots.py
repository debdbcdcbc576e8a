"""Draws the smaller pictures: a rate on its interval, a hundred frames by cause, a curve with its band."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from markupsafe import Markup

from auditor.show.page.model import Cause, Rate
from auditor.show.page.svg import along, element, picture, stretched

LANE = 16.0
_ACROSS, _SIDE = 20, 12.0
# One shape for each cause, so that colour is never alone; the side of a place is 12.
SHAPES = {
    "not_explained_by_blur": "M2 2H10V10H2Z",
    "subject_motion": "M1.5 1.5L11 6L1.5 10.5Z",
    "beyond_zone": "M6 1A5 5 0 1 1 5.99 1Z",
    "in_front_of_zone": "M1 1H11V11H1Z",
    "diffraction": "M6 0L12 6L6 12L0 6Z",
}


def draw_rates(kept: Rate, sharp: Rate | None, top: float, *, empty: str = "") -> Markup:
    """Draw the rates of one row on the interval of each: sharp above, kept below."""
    lanes = [(sharp, "sharp"), (kept, "kept")] if sharp is not None else [(kept, "kept")]
    parts: list[Markup] = []
    for place, (rate, kind) in enumerate(lanes):
        y = LANE * (place + 0.5)
        parts.append(element("line", x1="0", x2="100%", y1=y, y2=y, class_="track"))
        if rate is None or not rate.of or np.isnan(rate.share):
            continue
        low, high = (min(end / top, 1.0) for end in (rate.low, rate.high))
        parts.append(
            element("rect", x=along(low), width=along(high - low), y=y - 4, height=8, class_=f"span {kind}")
        )
        at = along(min(rate.share / top, 1.0))
        if kind == "kept":
            parts.append(element("circle", cx=at, cy=y, r=5, class_="point kept"))
        else:
            shape = element("path", d="M0 -6.5L6.5 0L0 6.5L-6.5 0Z", class_="point sharp")
            parts.append(element("svg", shape, x=at, y=y, width=1, height=1, overflow="visible"))
    return picture(empty, LANE * len(lanes), *parts, class_="rates")


def draw_hundred(causes: Sequence[Cause]) -> Markup:
    """Draw a hundred places, each with the shape of the cause that took it."""
    taken = [cause.name for cause in causes for _ in range(cause.of_100)]
    places = (
        element(
            "path",
            d=SHAPES[name],
            class_=name,
            transform=f"translate({place % _ACROSS * _SIDE * 1.25:g} {place // _ACROSS * _SIDE * 1.25:g})",
        )
        for place, name in enumerate(taken)
    )
    width, height = _ACROSS * _SIDE * 1.25 - 3, len(taken) / _ACROSS * _SIDE * 1.25 - 3
    return element(
        "svg",
        *places,
        viewBox=f"-0.5 -0.5 {width + 1:g} {height + 1:g}",
        class_="hundred",
        aria_hidden="true",
    )


def draw_key(cause: str) -> Markup:
    """Draw the shape of one cause, for the words beside it."""
    return element(
        "svg",
        element("path", d=SHAPES[cause], class_=cause),
        viewBox="-0.5 -0.5 13 13",
        width=13,
        height=13,
        class_="key",
        aria_hidden="true",
    )


def draw_curve(
    curve: pd.DataFrame, bins: pd.DataFrame, marks: pd.DataFrame, ticks: pd.DataFrame, label: str
) -> Markup:
    """Draw a rate over blur: the curve in its band, what was observed, and the diameters to mark.

    Parameters
    ----------
    curve : pandas.DataFrame
        ``blur_mm, rate, low, high``.
    bins : pandas.DataFrame
        ``blur_mm, rate, low, high, frames``.
    marks : pandas.DataFrame
        ``blur_mm, label``.
    ticks : pandas.DataFrame
        ``at_mm, label``.
    label : str
        The finding in words.
    """
    height, head, foot = 210.0, 34.0, 24.0
    least, most = np.log(curve["blur_mm"].iloc[[0, -1]])
    top = min(1.0, 1.08 * float(np.nanmax([bins["high"].max(), curve["rate"].max()])))

    def x(blur_mm: object) -> np.ndarray:
        return np.asarray((np.log(np.asarray(blur_mm, dtype=float)) - least) / (most - least))

    def y(share: object) -> np.ndarray:
        return np.asarray(
            height - foot - np.minimum(np.asarray(share, dtype=float) / top, 1) * (height - head - foot)
        )

    def path(values: Iterable[float], back: Iterable[float] = ()) -> str:
        along_it = list(zip(1000 * x(curve["blur_mm"]), 1000 * y(list(values)) / height, strict=True))
        back = list(back)
        if back:
            along_it += list(zip(1000 * x(curve["blur_mm"]), 1000 * y(back) / height, strict=True))[::-1]
        return "M" + "L".join(f"{a:.0f} {b:.0f}" for a, b in along_it) + ("Z" if back else "")

    parts = []
    if curve["low"].notna().all():
        parts.append(stretched(path(curve["low"], curve["high"]), class_="band"))
    parts.append(stretched(path(curve["rate"]), class_="line"))
    for row in bins.itertuples():
        at = along(float(x(row.blur_mm)))
        low, high, middle = (float(y(value)) for value in (row.low, row.high, row.rate))
        parts += [
            element("line", x1=at, x2=at, y1=f"{low:.1f}", y2=f"{high:.1f}", class_="whisker"),
            element(
                "rect", x=at, y=f"{middle - 4:.1f}", width=8, height=8, class_="point kept",
                transform="translate(-4 0)",
            ),
        ]  # fmt: skip
    for place, row in enumerate(marks.sort_values("blur_mm").itertuples()):
        share = float(x(row.blur_mm))
        before = place == 0 and share > 0.3
        parts += [
            element("line", x1=along(share), x2=along(share), y1=head, y2=height - foot, class_="mark"),
            element(
                "text", row.label, x=along(share), dx=-4 if before else 4, y=12 + 15 * place, class_="label",
                text_anchor="end" if before else "start",
            ),
        ]  # fmt: skip
    parts.append(element("line", x1="0", x2="100%", y1=height - foot, y2=height - foot, class_="base"))
    parts += [
        element(
            "text",
            row.label,
            x=along(float(x(row.at_mm))),
            y=height - 6,
            text_anchor="middle",
            class_="label",
        )
        for row in ticks.itertuples()
    ]
    return picture(label, height, *parts, class_="curve")
