"""Draws a pocket card at its true size, with marks to cut along."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from auditor.show.cards import NO_ZONE, Card, remarks
from auditor.show.charts.style import INK, MUTED, RULE, chart_style
from auditor.units import format_f_number

MM_PER_INCH = 25.4
PNG_DPI = 300
# All in mm, on the card as printed.
EDGE, LABEL, CELL, ROW, HEAD, FOOT, MARGIN = 3.0, 11.0, 17.0, 4.7, 14.5, 9.5, 9.0
NOTE = 2.8  # a line of the foot
LEAST_WIDTH = 72.0  # room for the notes below few columns
RULER_MM = 50.0
TINT = "#ece7da"
LEGEND = "∞ from: hyperfocal distance. Tinted: sharp to infinity."


def draw_card(card: Card) -> Figure:
    """Draw a card; one unit of its axes is one millimetre on paper."""
    cell = _cell(card)
    width = _column(len(card.f_numbers), cell) + EDGE
    below = remarks(card)
    added = card.scale_differs + (card.flash is not None)
    height = HEAD + ROW * (len(card.ring_m) + added) + FOOT + NOTE * len(below)
    page = width + 2 * MARGIN, height + 2 * MARGIN
    with chart_style():
        figure = Figure(figsize=(page[0] / MM_PER_INCH, page[1] / MM_PER_INCH), facecolor="white")
        ax = figure.add_axes((0, 0, 1, 1))
        ax.set(xlim=(-MARGIN, width + MARGIN), ylim=(height + MARGIN, -MARGIN))
        ax.axis("off")
        _cutting_marks(ax, width, height)
        _endless(ax, card, cell)
        _head(ax, card, width, cell)
        _rows(ax, card, width, cell)
        _added_rows(ax, card, width, cell)
        for place, line in enumerate([card.note, *reversed(below), LEGEND]):
            _text(ax, EDGE, height - NOTE * (place + 1), line, 5.6, color=MUTED, ha="left")
    return figure


def card_bytes(card: Card, suffix: str) -> bytes:
    """The drawn card as a file, ``.pdf`` or ``.png``; the same card gives the same bytes."""
    buffer = io.BytesIO()
    dates: dict[str, Any] = {"CreationDate": None} if suffix == ".pdf" else {"Software": None}
    with chart_style():
        draw_card(card).savefig(buffer, format=suffix.removeprefix("."), dpi=PNG_DPI, metadata=dates)
    return buffer.getvalue()


def _text(ax: Axes, x: float, y: float, text: str, size: float, **style: Any) -> None:
    style = {"ha": "center", "color": INK, **style}
    ax.text(x, y, text, fontsize=size, va="center_baseline", **style)


def _cell(card: Card) -> float:
    return max(CELL, (LEAST_WIDTH - 2 * EDGE - LABEL) / len(card.f_numbers))


def _column(index: float, cell: float) -> float:
    return EDGE + LABEL + cell * index


def _row(index: int) -> float:
    return HEAD + ROW * index


def _endless(ax: Axes, card: Card, cell: float) -> None:
    """Tint the cells that reach infinity, and draw the step along which they begin."""
    rows = len(card.ring_m)
    step: list[tuple[float, float]] = []
    for column in range(len(card.f_numbers)):
        left, right = _column(column, cell), _column(column + 1, cell)
        first = min((row for row in range(rows) if card.endless(row, column)), default=rows)
        ax.add_patch(Rectangle((left, _row(first)), cell, ROW * (rows - first), facecolor=TINT, lw=0))
        step += [(left, _row(first)), (right, _row(first))]
    ax.plot(*zip(*step, strict=True), color=INK, lw=1.3, solid_joinstyle="miter")


def _head(ax: Axes, card: Card, width: float, cell: float) -> None:
    unit = "m" if card.bench.units == "m" else "ft"
    _text(ax, EDGE, 4.0, card.title, 10.5, ha="left", weight="bold")
    _text(ax, width - EDGE, 4.0, "metres" if unit == "m" else "feet", 8, ha="right", color=MUTED)
    _text(ax, EDGE, 9.2, "ring", 6, ha="left", color=MUTED)
    _text(ax, EDGE, 12.3, "∞ from", 6, ha="left", color=MUTED)
    for column, number in enumerate(card.f_numbers):
        middle = _column(column + 0.5, cell)
        _text(ax, middle, 8.9, format_f_number(float(number)), 8.5, weight="bold")
        _text(ax, middle, 12.3, card.hyperfocal(column), 6.5, color=MUTED)
    ax.plot([EDGE, width - EDGE], [6.4, 6.4], color=INK, lw=0.6)


def _rows(ax: Axes, card: Card, width: float, cell: float) -> None:
    for row in range(len(card.ring_m)):
        middle = _row(row) + ROW / 2
        ax.plot([EDGE, width - EDGE], [_row(row)] * 2, color=RULE, lw=0.4, zorder=0.5)
        _text(ax, EDGE, middle, card.engraving(row), 8.5, ha="left", weight="bold")
        for column in range(len(card.f_numbers)):
            near, far = card.limits(row, column)
            x = _column(column + 0.47, cell)
            if near == NO_ZONE:
                _text(ax, x, middle, NO_ZONE, 7.5, color=MUTED)
                continue
            _text(ax, x - 1.0, middle, near, 7.5, ha="right")
            _text(ax, x, middle, "–", 6, color=MUTED)
            _text(ax, x + 1.0, middle, far, 7.5, ha="left")


def _added_rows(ax: Axes, card: Card, width: float, cell: float) -> None:
    """Below the limits: which marks of the engraved scale to read, and what the flash lights."""
    rows = [("scale", card.scale_marks)] if card.scale_differs else []
    rows += [("flash", card.lit)] if card.flash else []
    for place, (name, value) in enumerate(rows):
        top = _row(len(card.ring_m) + place)
        ax.plot([EDGE, width - EDGE], [top, top], color=INK if place == 0 else RULE, lw=0.6, zorder=0.6)
        _text(ax, EDGE, top + ROW / 2, name, 6.5, ha="left", color=MUTED)
        for column in range(len(card.f_numbers)):
            _text(ax, _column(column + 0.5, cell), top + ROW / 2, value(column).replace("-", "–"), 6.5)


def _cutting_marks(ax: Axes, width: float, height: float) -> None:
    """Corner marks, and a ruler that shows whether the printer kept the size."""
    for x, outward in ((0.0, -1.0), (width, 1.0)):
        for y, down in ((0.0, -1.0), (height, 1.0)):
            ax.plot([x + outward, x + 5 * outward], [y, y], color=MUTED, lw=0.4)
            ax.plot([x, x], [y + down, y + 5 * down], color=MUTED, lw=0.4)
    start, level = (width - RULER_MM) / 2, height + 3.2
    ax.plot([start, start + RULER_MM], [level, level], color=MUTED, lw=0.5)
    for end in (start, start + RULER_MM):
        ax.plot([end, end], [level - 0.8, level + 0.8], color=MUTED, lw=0.5)
    _text(ax, width / 2, level + 2.4, "50 mm if printed at its own size", 5, color=MUTED)
