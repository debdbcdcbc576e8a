"""Draws wallet cards: on the front what to set, on the back the table; alone or several on a sheet.

86 x 54 mm, the size of a bank card (ISO/IEC 7810, ID-1: 85.60 x 53.98 mm). Front and back lie side by side,
to be folded between them. One unit of the axes is one millimetre on paper.
"""

import io
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from auditor.errors import OutputError
from auditor.show.cards import NO_ZONE, ZoneTable, remarks
from auditor.show.charts.style import INK, MUTED, RULE, chart_style
from auditor.show.page.ring_scale import Engraving, around
from auditor.units import format_f_number

MM_PER_INCH = 25.4
PNG_DPI = 300
WIDTH, HEIGHT, EDGE = 86.0, 54.0, 5.0
MARGIN = 6.0  # round a card that is printed alone
RULER_MM = 50.0
ZONE_TINT = "#f6e27a"
MOST_STOPS = 6
LEAST_PT = 5.0  # nothing on a card is smaller
LETTER, FIGURE, POINT_MM = 0.54, 0.6, MM_PER_INCH / 72  # widths in this face, over its size
LEAST_PITCH_MM = 1.95  # of rows
NOTE_LETTERS, NOTE_MM = 80, 2.5  # of a line below the table
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
    cues: tuple[str, ...]  # what the viewfinder shows at the zone's ends, a line for each way of holding
    back: ZoneTable
    now: tuple[int, int]  # row and column of the table that is set
    columns: range  # of the table that the card shows
    expect: str = ""  # about how often it works, or what the setting is for
    exposure: str = ""
    date: str = ""  # as of when
    notes: tuple[str, ...] = ()  # how strict the eye is, how to read the engraved scale


def wallet_bytes(cards: Sequence[WalletCard], path: Path, paper: Paper = "wallet") -> bytes:
    """Draw wallet cards as the .pdf, or one sheet as the .png, that ``path`` names; or OutputError."""
    suffix, buffer = path.suffix.lower(), io.BytesIO()
    if suffix not in (".pdf", ".png"):
        raise OutputError(f"{path} is no kind of card.", "Name a file ending in .pdf or .png.")
    with chart_style():
        sheets = draw_sheets(cards, paper)
        if suffix == ".pdf":
            with PdfPages(buffer, metadata={"CreationDate": None}) as out:
                for sheet in sheets:
                    sheet.savefig(out, format="pdf")
        elif len(sheets) == 1:
            sheets[0].savefig(buffer, format="png", dpi=PNG_DPI, metadata={"Software": None})
        else:
            raise OutputError(f"A .png holds one sheet, and these are {len(sheets)}.", "Name a .pdf.")
    return buffer.getvalue()


def draw_sheets(cards: Sequence[WalletCard], paper: Paper = "wallet") -> list[Figure]:
    """Lay cards out, front and back side by side: each card's own sheet, or as many as a sheet holds."""
    width, height = PAPERS.get(paper, (2 * (WIDTH + MARGIN), HEIGHT + 2 * MARGIN))
    rows = int((height - 2 * MARGIN) // HEIGHT)
    return [_sheet(cards[at : at + rows], width, height) for at in range(0, len(cards), rows)]


def _sheet(cards: Sequence[WalletCard], width: float, height: float) -> Figure:
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), facecolor="white")
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, width), ylim=(height, 0))
    ax.axis("off")
    left = (width - 2 * WIDTH) / 2
    for place, card in enumerate(cards):
        top = MARGIN + place * HEIGHT
        for x in (left, left + WIDTH):
            ax.add_patch(Rectangle((x, top), WIDTH, HEIGHT, fill=False, ec=RULE, lw=0.4))
        _front(ax, card, left, top)
        _back(ax, card, left + WIDTH, top)
    bottom = MARGIN + len(cards) * HEIGHT + 2.4
    ax.plot([left, left + RULER_MM], [bottom, bottom], color=MUTED, lw=0.5)
    note = "50 mm if printed at its own size; cut round, fold between front and back"
    _text(ax, left + RULER_MM + 2, bottom, note, LEAST_PT, color=MUTED)
    return figure


def _text(ax: Axes, x: float, y: float, text: str, size: float, room: float = 0.0, **style: Any) -> None:
    """Write a line as large as wanted; in a given room as large as fits, cut short where nothing does."""
    if room and text:
        size = max(min(size, room / (LETTER * POINT_MM * len(text))), LEAST_PT)
        text = textwrap.shorten(text, int(room / (LETTER * POINT_MM * size)) + 1, placeholder=" …")
    look = {"ha": "left", "color": INK, "va": "center_baseline", "parse_math": False, **style}
    ax.text(x, y, text, fontsize=size, **look)


def _front(ax: Axes, card: WalletCard, x: float, y: float) -> None:
    room, left, right = WIDTH - 2 * EDGE, x + EDGE, x + WIDTH - EDGE
    _text(ax, left, y + 6.2, card.lens, 8, 0.55 * room, weight="bold")
    _text(ax, right, y + 6.2, card.date, 5.5, ha="right", color=MUTED)
    _text(ax, left, y + 14.2, card.setting, 19, room, weight="bold", family="DejaVu Serif")
    near, far = (left + room * at for at in (card.near_at, card.far_at))
    base, top = y + 33.5, y + 26.5
    for at, limit in ((near, card.near), (far, card.far)):
        side = "left" if at < left + 5 else "right" if at > right - 5 else "center"
        _text(ax, at, top - 2.2, limit, 7.5, ha=side, weight="bold")
    ax.add_patch(Rectangle((near, top), far - near, base - top, fc=ZONE_TINT, ec=INK, lw=0.9))
    _text(ax, (near + far) / 2, (top + base) / 2, "sharp", 7, ha="center")
    ax.plot([left, right], [base, base], color=INK, lw=0.9)
    for one in card.engravings:
        at = left + room * one.at
        ax.plot([at, at], [base, base + 1.6], color=INK, lw=0.7)
        if one.in_use:
            corners = [(at - 1.1, base + 2), (at + 1.1, base + 2), (at, base + 0.1)]
            ax.add_patch(Polygon(corners, fc=INK, lw=0))
        if one.wide:
            weight = "bold" if one.in_use else "normal"
            _text(ax, at, base + 4.2, one.label, 7 if one.in_use else 6.2, ha="center", weight=weight)
    _text(ax, left, y + 42.6, " · ".join(part for part in (card.expect, card.exposure) if part), 7, room)
    for line, cue in enumerate(card.cues):
        _text(ax, left, y + 47.3 + 3.3 * line, cue, 5.6, room, color=MUTED)


def _back(ax: Axes, card: WalletCard, x: float, y: float) -> None:
    """Engravings down, f-numbers across, as in the table as text; notes below."""
    room, left, right = WIDTH - 2 * EDGE, x + EDGE, x + WIDTH - EDGE
    table, unit = card.back, "metres" if card.back.bench.units == "m" else "feet"
    _text(ax, left, y + 5, card.lens, 7.2, 0.45 * room, weight="bold")
    _text(ax, right, y + 5, f"sharp from – to, in {unit}", 6.5, ha="right", color=MUTED)
    notes = textwrap.wrap(
        " ".join((f"Counted with {table.note}.", *(n for n in card.notes if n), *remarks(table))),
        NOTE_LETTERS,
    )
    added: list[tuple[str, Callable[[int], str]]] = [("scale", table.scale_marks)] * table.scale_differs
    added += [("flash", table.lit)] if table.flash else []
    first, foot = y + 13.4, y + HEIGHT - 2.6 - NOTE_MM * len(notes)
    rings = around(len(table.ring_m), card.now[0], int((foot - first) / LEAST_PITCH_MM) - len(added))
    pitch = min(5.0, (foot - first) / (len(rings) + len(added)))
    step = (room - 9) / len(card.columns)
    cells = {
        (row, column): "–".join(table.limits(row, column)).replace("–––", NO_ZONE)
        for row in rings
        for column in card.columns
    }
    fits = step / (FIGURE * POINT_MM * (max(map(len, cells.values())) + 1))
    size = max(LEAST_PT, min(7.0, 0.77 * pitch / POINT_MM, fits))
    _text(ax, left, y + 9, "ring on", LEAST_PT, color=MUTED)
    _text(ax, left, y + 11.6, "∞ from", LEAST_PT, color=MUTED)
    for place, column in enumerate(card.columns):
        end = left + 9 + step * (place + 1)
        _text(ax, end, y + 9, format_f_number(float(table.f_numbers[column])), 7, ha="right", weight="bold")
        _text(ax, end, y + 11.6, table.hyperfocal(column), 5.5, ha="right", color=MUTED)
        for line, row in enumerate(rings):
            if (row, column) == card.now:
                corner = (end - step + 0.6, first + pitch * line)
                ax.add_patch(Rectangle(corner, step, pitch, fc=ZONE_TINT, ec=INK, lw=0.7))
            _text(ax, end, first + pitch * (line + 0.55), cells[row, column], size, ha="right")
        for line, (_, value) in enumerate(added, len(rings)):
            _text(
                ax, end, first + pitch * (line + 0.55), value(column).replace("-", "–"), LEAST_PT, ha="right"
            )
    ax.plot([left, right], [first] * 2, color=INK, lw=0.9)
    for line, name in enumerate([*(table.engraving(row) for row in rings), *(name for name, _ in added)]):
        weight = "bold" if line < len(rings) else "normal"
        _text(ax, left, first + pitch * (line + 0.55), name, size, weight=weight)
    if added:
        ax.plot([left, right], [first + pitch * len(rings)] * 2, color=RULE, lw=0.5)
    ax.plot([left, right], [foot + 0.4] * 2, color=INK, lw=0.5)
    for line, text in enumerate(notes):
        _text(ax, left, foot + 0.5 + NOTE_MM * (line + 0.6), text, LEAST_PT, color=MUTED)
