"""Draws one chip: the ring's scale, the sharp zone as a block, and every frame at its subject's distance.

Kept stands above the line, not kept below it; the shape tells sharp from soft where that was judged.
"""

from __future__ import annotations

from markupsafe import Markup

from auditor.show.page.model import Chip, Mark, Said
from auditor.show.page.ring_scale import Engraving
from auditor.show.page.svg import along, element, picture

ROOM = 190.0  # pixels for the stacks above and below the line together
LARGEST, SMALLEST = 11.0, 3.0  # pixels between two dots of a stack
HEAD, FOOT = 26.0, 44.0
EDGE = 0.16  # a limit this near an end of the picture has its number on the other side
CLOSE = 0.2  # limits this close share one number
BAR = 0.016


def draw_hero(chip: Chip) -> Markup:
    """Draw a chip; its marks carry ``data-f``, the rows of the frames behind them."""
    above = max((mark.level for mark in chip.marks if mark.kept is not False), default=0)
    below = max((mark.level for mark in chip.marks if mark.kept is False), default=0)
    step = (
        min(LARGEST, max(SMALLEST, ROOM / max(above + below, 1))) if not chip.bars else ROOM / (above + below)
    )
    line = HEAD + max(step * above, 14) + 6
    foot = line + max(step * below, 14) + 6
    marks = (_bar(mark, line, step) if chip.bars else _dot(mark, line, step) for mark in chip.marks)
    return picture(
        "",
        foot + FOOT,
        element(
            "rect",
            x=along(chip.near_at),
            width=along(chip.far_at - chip.near_at),
            y=f"{HEAD:g}",
            height=f"{foot - HEAD:.1f}",
            class_="zone",
        ),
        *_limits(chip),
        element("line", x1="0", x2="100%", y1=f"{line:.1f}", y2=f"{line:.1f}", class_="base"),
        element("g", *marks, class_="marks"),
        *(_engraving(one, foot) for one in chip.engravings),
    )


def legend(chip: Chip) -> list[tuple[Markup, str]]:
    """List the kinds of marks that a chip holds, each drawn, with its meaning."""
    there = {(mark.kept, mark.sharp) for mark in chip.marks}
    names = {True: "kept", False: "not kept", None: "not marked"}
    kinds = [(kept, "") for kept in names if any(one[0] is kept for one in there)]
    found = [(_key(Mark(0, 1, kept, "", ())), names[kept]) for kept, _ in kinds]
    told = {"yes": "judged sharp", "no": "judged soft"}
    return found + [
        (_key(Mark(0, 1, False, sharp, ())), word)
        for sharp, word in told.items()
        if any(o[1] == sharp for o in there)
    ]


def _key(mark: Mark) -> Markup:
    up = 1 if mark.kept is False else -1
    dot = _dot(mark, 7 - 8 * up, 10)  # so that its middle is 7 pixels down
    return element("svg", element("svg", dot, x=6, overflow="visible"), width=12, height=14)


def _limits(chip: Chip) -> list[Markup]:
    """Write near and far limit above the edges of the zone, outside it where there is room."""
    if chip.near_at < EDGE and chip.far_at - chip.near_at < CLOSE:
        both = Said(f"{chip.near.m}–{chip.far.m}", f"{chip.near.ft}–{chip.far.ft}")
        return [_limit(both, chip.near_at, "start", "sharp ")]
    near = ("start", "sharp from ") if chip.near_at < EDGE else ("end", "sharp from ")
    return [
        _limit(chip.near, chip.near_at, *near),
        _limit(chip.far, chip.far_at, "end" if chip.far_at > 1 - EDGE else "start", "to "),
    ]


def _limit(text: Said, at: float, anchor: str, word: str) -> Markup:
    return element(
        "text",
        element("tspan", word, class_="wordy"),
        element("tspan", text.m, class_="m"),
        element("tspan", text.ft, class_="ft"),
        x=along(at),
        dx="-5" if anchor == "end" else "5",
        y=f"{HEAD - 8:g}",
        text_anchor=anchor,
        class_="limit",
    )


def _kind(mark: Mark) -> str:
    return "kept" if mark.kept else "unmarked" if mark.kept is None else "not-kept"


def _dot(mark: Mark, line: float, step: float) -> Markup:
    """A circle; a square on its corner where judged sharp, a cross where judged soft."""
    up = -1 if mark.kept is not False else 1
    y = line + up * (mark.level - 0.5) * step + up * 3
    rows = " ".join(map(str, mark.rows)) or None  # the keys of the legend show no frame
    r = 0.42 * step
    kind = _kind(mark)
    if not mark.sharp:
        return element("circle", cx=along(mark.at), cy=f"{y:.1f}", r=f"{r:.1f}", class_=kind, data_f=rows)
    q = 1.25 * r
    shape = f"M0 {-q:.1f}L{q:.1f} 0L0 {q:.1f}L{-q:.1f} 0Z"
    if mark.sharp == "no":
        shape = f"M{-r:.1f} {-r:.1f}L{r:.1f} {r:.1f}M{-r:.1f} {r:.1f}L{r:.1f} {-r:.1f}"
        kind += " soft"
    path = element("path", d=shape, class_=kind, data_f=rows)
    return element("svg", path, x=along(mark.at), y=f"{y:.1f}", width="1", height="1", overflow="visible")


def _bar(mark: Mark, line: float, step: float) -> Markup:
    height = max(mark.level * step, 1.5)
    return element(
        "rect",
        x=along(mark.at - BAR / 2),
        width=along(BAR),
        y=f"{line - height if mark.kept is not False else line:.1f}",
        height=f"{height:.1f}",
        class_=_kind(mark),
        data_f=" ".join(map(str, mark.rows)),
    )


def _engraving(one: Engraving, foot: float) -> Markup:
    shown = " ".join(
        name for name, told in (("no-wide", not one.wide), ("no-narrow", not one.narrow)) if told
    )
    parts = [
        element(
            "line", x1=along(one.at), x2=along(one.at), y1=f"{foot:.1f}", y2=f"{foot + 7:.1f}", class_="tick"
        )
    ]
    anchor = "end" if one.at > 0.985 else "start" if one.at < 0.015 else "middle"
    parts.append(
        element(
            "text",
            one.label,
            x=along(one.at),
            y=f"{foot + 21:.1f}",
            text_anchor=anchor,
            class_=("ring in-use" if one.in_use else f"ring {shown}").strip(),
        )
    )
    if one.in_use:
        arrow = element("path", d="M-6 11L6 11L0 1Z", class_="arrow")
        parts.append(
            element(
                "svg", arrow, x=along(one.at), y=f"{foot + 25:.1f}", width="1", height="1", overflow="visible"
            )
        )
    return element("g", *parts)
