"""Draws walks over time: the share kept along a line, each walk in the band of what was usual before it."""

from __future__ import annotations

import pandas as pd
from markupsafe import Markup

from auditor.show.page.svg import along, element, line, picture, stretched

HEIGHT, HEAD, FOOT = 190.0, 14.0, 22.0
MOST = 100  # of the newest walks


def draw_over_time(walks: pd.DataFrame, label: str) -> Markup:
    """Draw the table of :func:`auditor.evidence.walks.count_walks`, walks that were chosen from alone."""
    shown = walks[walks["kept_of"] > 0].tail(MOST)
    top = max(float(shown[["kept_share", "kept_high"]].max(axis=None)) * 1.05, 0.05)
    places = [(place + 0.5) / len(shown) for place in range(len(shown))]

    def y(share: float) -> float:
        return HEAD + (1 - min(share / top, 1)) * (HEIGHT - HEAD - FOOT)

    def path(points: list[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{1000 * x:.0f} {1000 * y(share) / HEIGHT:.0f}" for x, share in points)

    rows = list(zip(places, shown.itertuples(), strict=True))
    banded = [(x, row) for x, row in rows if row.kept_high == row.kept_high]
    parts = []
    if banded:
        upper = [(x, row.kept_high) for x, row in banded]
        lower = [(x, row.kept_low) for x, row in reversed(banded)]
        parts.append(stretched(path([*upper, *lower]) + "Z", class_="band"))
    parts.append(stretched(path([(x, row.kept_share) for x, row in rows]), class_="line"))
    for x, row in rows:
        size, kind = (6, "not-kept") if row.kept_place in ("more", "less") else (3.5, "kept")
        spot = {"cx": along(x), "cy": f"{y(row.kept_share):.1f}", "r": size}
        parts.append(element("circle", **spot, class_=f"point {kind}"))
    parts.append(line("0", HEIGHT - FOOT, "100%", HEIGHT - FOOT, "base"))
    parts.append(element("text", f"{100 * top:.0f} %", x="0", y=HEAD - 3, class_="label"))
    for row, end, anchor in ((rows[0][1], "0", "start"), (rows[-1][1], "100%", "end")):
        if row.starts_at == row.starts_at:
            day = f"{row.starts_at:%Y-%m-%d}"
            parts.append(element("text", day, x=end, y=HEIGHT - 6, text_anchor=anchor, class_="label"))
    return picture(label, HEIGHT, *parts, class_="curve")
