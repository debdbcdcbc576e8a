"""The wallet card of one lens: on the front what to set, on the back the table; alone or several on a sheet.

86 x 54 mm, the size of a bank card (ISO/IEC 7810, ID-1: 85.60 x 53.98 mm). Front and back lie side by side,
to be folded between them. One unit of the axes is one millimetre on paper.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from auditor.show.cards import NO_ZONE, Card
from auditor.show.charts.style import INK, MUTED, RULE, chart_style
from auditor.show.page.ring_scale import Engraving
from auditor.units import format_f_number

MM_PER_INCH = 25.4
PNG_DPI = 300
WIDTH, HEIGHT, EDGE = 86.0, 54.0, 5.0
MARGIN = 6.0  # round a card that is printed alone
RULER_MM = 50.0
ZONE_TINT = "#f6e27a"
MOST_STOPS, MOST_RINGS = 6, 6
PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}

Paper = Literal["wallet", "a4", "letter"]


@dataclass(frozen=True, slots=True)
class WalletCard:
    """What stands on a wallet card."""

    lens: str
    setting: str  # what to set, large
    near: str  # limits of the zone, and their places on the ring's scale, from 0 to 1
    far: str
    near_at: float
    far_at: float
    engravings: tuple[Engraving, ...]
    expect: str  # about how often it works
    exposure: str
    date: str  # as of when
    cues: tuple[str, ...]  # what the viewfinder shows at the zone's ends, a line for each way of holding
    back: Card
    now_row: int = -1  # cell of the table that is set
    now_column: int = -1
    eye: str = ""  # how strict it is; empty where nobody knows
    scale: str = ""  # how to read the engraved scale


def wallet_bytes(cards: Sequence[WalletCard], suffix: str, paper: Paper = "wallet") -> bytes:
    """Draw wallet cards as a file, ``.pdf`` or ``.png`` (the first sheet); the same cards, the same bytes."""
    made = io.BytesIO()
    with chart_style():
        sheets = draw_sheets(cards, paper)
        if suffix == ".pdf":
            with PdfPages(made, metadata={"CreationDate": None}) as out:
                for sheet in sheets:
                    sheet.savefig(out, format="pdf")
        else:
            out = made
            sheets[0].savefig(out, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return made.getvalue()


def draw_sheets(cards: Sequence[WalletCard], paper: Paper = "wallet") -> list[Figure]:
    """Lay cards out, front and back side by side: each card's own sheet, or as many as a sheet holds."""
    if paper == "wallet":
        size = (2 * WIDTH + 2 * MARGIN, HEIGHT + 2 * MARGIN)
        return [_sheet([card], size) for card in cards]
    size = PAPERS[paper]
    rows = int((size[1] - 2 * MARGIN) // HEIGHT)
    return [_sheet(cards[at : at + rows], size) for at in range(0, len(cards), rows)]


def _sheet(cards: Sequence[WalletCard], size: tuple[float, float]) -> Figure:
    figure = Figure(figsize=(size[0] / MM_PER_INCH, size[1] / MM_PER_INCH), facecolor="white")
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, size[0]), ylim=(size[1], 0))
    ax.axis("off")
    left = (size[0] - 2 * WIDTH) / 2
    for place, card in enumerate(cards):
        top = MARGIN + place * HEIGHT
        for x in (left, left + WIDTH):
            ax.add_patch(Rectangle((x, top), WIDTH, HEIGHT, fill=False, ec=RULE, lw=0.4))
        _front(ax, card, left, top)
        _back(ax, card, left + WIDTH, top)
    bottom = MARGIN + len(cards) * HEIGHT + 2.4
    ax.plot([left, left + RULER_MM], [bottom, bottom], color=MUTED, lw=0.5)
    note = "50 mm if printed at its own size; cut round, fold between front and back"
    _text(ax, left + RULER_MM + 2, bottom, note, 5, color=MUTED)
    return figure


def _text(ax: Axes, x: float, y: float, text: str, size: float, **style: Any) -> None:
    look = {"ha": "left", "color": INK, "va": "center_baseline", "parse_math": False, **style}
    ax.text(x, y, text, fontsize=size, **look)


def _fitted(ax: Axes, x: float, y: float, text: str, size: float, room: float, **style: Any) -> None:
    """Write a line as large as wanted, or as fits: letters of this face are about half as wide as high."""
    width = 0.54 * size / 72 * MM_PER_INCH * max(len(text), 1)
    _text(ax, x, y, text, size * min(1.0, room / width), **style)


def _front(ax: Axes, card: WalletCard, x: float, y: float) -> None:
    room, left, right = WIDTH - 2 * EDGE, x + EDGE, x + WIDTH - EDGE
    _fitted(ax, left, y + 6.2, card.lens, 8, 0.6 * room, weight="bold")
    _text(ax, right, y + 6.2, card.date, 5.5, ha="right", color=MUTED)
    _fitted(ax, left, y + 14.2, card.setting, 18, room, weight="bold", family="DejaVu Serif")
    near, far = (left + room * at for at in (card.near_at, card.far_at))
    base, top = y + 33.5, y + 26.5
    _text(ax, max(near, left + 5), top - 2.2, card.near, 7.5, ha="center", weight="bold")
    _text(ax, min(far, right - 5), top - 2.2, card.far, 7.5, ha="center", weight="bold")
    ax.add_patch(Rectangle((near, top), far - near, base - top, fc=ZONE_TINT, ec=INK, lw=0.9))
    _text(ax, (near + far) / 2, (top + base) / 2, "sharp", 7, ha="center")
    ax.plot([left, right], [base, base], color=INK, lw=0.9)
    for one in card.engravings:
        at = left + room * one.at
        ax.plot([at, at], [base, base + 1.6], color=INK, lw=0.7)
        if one.in_use:
            ax.add_patch(
                Polygon([(at - 1.1, base + 2), (at + 1.1, base + 2), (at, base + 0.1)], fc=INK, lw=0)
            )
        if one.wide:
            weight = "bold" if one.in_use else "normal"
            _text(ax, at, base + 4.2, one.label, 7 if one.in_use else 6.2, ha="center", weight=weight)
    _fitted(ax, left, y + 42.6, " · ".join(part for part in (card.expect, card.exposure) if part), 7, room)
    for line, cue in enumerate(card.cues):
        _fitted(ax, left, y + 47.3 + 3.3 * line, cue, 5.6, room, color=MUTED)


def _back(ax: Axes, card: WalletCard, x: float, y: float) -> None:
    room, left, right = WIDTH - 2 * EDGE, x + EDGE, x + WIDTH - EDGE
    table = card.back
    unit = "metres" if table.bench.units == "m" else "feet"
    _fitted(ax, left, y + 6.2, f"{card.lens}: sharp from – to, in {unit}", 7.2, room, weight="bold")
    rings, stops = (
        _shown(len(table.ring_m), card.now_row, MOST_RINGS),
        range(len(table.f_numbers))[:MOST_STOPS],
    )
    step = (room - 11) / max(len(rings), 1)
    _text(ax, left, y + 12, "ring on", 5.8, color=MUTED)
    ax.plot([left, right], [y + 14.4] * 2, color=INK, lw=0.9)
    height = min(5.2, 26 / max(len(stops), 1))
    longest = max((len(_span(*table.limits(row, column))) for row in rings for column in stops), default=1)
    size = min(6.0, (step - 1.2) / (0.6 * longest) / MM_PER_INCH * 72)
    for place, row in enumerate(rings):
        end = left + 11 + step * (place + 1)
        _text(ax, end, y + 12, table.engraving(row), 7, ha="right", weight="bold")
        for line, column in enumerate(stops):
            middle = y + 14.8 + height * (line + 0.6)
            near, far = table.limits(row, column)
            if (row, column) == (card.now_row, card.now_column):
                corner = (end - step + 1, middle - height / 2)
                ax.add_patch(Rectangle(corner, step - 0.4, height, fc=ZONE_TINT, ec=INK, lw=0.9))
            _text(ax, end, middle, _span(near, far), size, ha="right")
    for line, column in enumerate(stops):
        number = format_f_number(float(table.f_numbers[column]))
        _text(ax, left, y + 14.8 + height * (line + 0.6), number, 7, weight="bold")
    ax.plot([left, right], [y + 42.6] * 2, color=INK, lw=0.5)
    below = (f"Counted with {table.note}.", card.eye, card.scale)
    for line, text in enumerate(text for text in below if text):
        _fitted(ax, left, y + 45.4 + 3 * line, text, 5.5, room, color=MUTED)


def _span(near: str, far: str) -> str:
    return near if near == NO_ZONE else f"{near}–{far}"


def _shown(count: int, wanted: int, most: int) -> list[int]:
    """Choose neighbouring rows around the one that is set.

    >>> _shown(9, 7, 5), _shown(3, 0, 5)
    ([4, 5, 6, 7, 8], [0, 1, 2])
    """
    start = min(max(wanted - most // 2, 0), max(count - most, 0))
    return list(range(count))[start : start + most]
