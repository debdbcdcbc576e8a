"""Draws one chip: the ring's scale, the sharp zone as a block, and every frame at its subject's distance.

Kept stands above the line, not kept below it; the shape tells sharp from soft where that was judged.
"""

from markupsafe import Markup

from auditor.show.page.model import Chip, Mark, Said
from auditor.show.page.ring_scale import Engraving
from auditor.show.page.svg import along, element, line, picture, shape_at

ROOM = 190.0  # pixels for the stacks above and below the line together
LARGEST, SMALLEST = 11.0, 3.0  # pixels between two dots of a stack
HEAD, FOOT = 26.0, 44.0
EDGE = 0.16  # a limit this near an end of the picture has its number on the other side
CLOSE = 0.2  # limits this close share one number
BAR = 0.016
_KINDS = {True: "kept", False: "not-kept", None: "unmarked"}


def draw_hero(chip: Chip) -> Markup:
    """Draw a chip; its marks carry ``data-f``, the rows of the frames behind them."""
    above = max((mark.level for mark in chip.marks if mark.kept is not False), default=0)
    below = max((mark.level for mark in chip.marks if mark.kept is False), default=0)
    step = ROOM / max(above + below, 1)
    if not chip.bars:
        step = min(LARGEST, max(SMALLEST, step))
    level = HEAD + max(step * above, 14) + 6
    foot = level + max(step * below, 14) + 6
    draw = _bar if chip.bars else _dot
    block = {"x": along(chip.near_at), "width": along(chip.far_at - chip.near_at), "y": f"{HEAD:g}"}
    return picture(
        "",
        foot + FOOT,
        element("rect", **block, height=f"{foot - HEAD:.1f}", class_="zone"),
        *_limits(chip),
        line("0", f"{level:.1f}", "100%", f"{level:.1f}", "base"),
        element("g", *(draw(mark, level, step) for mark in chip.marks), class_="marks"),
        *(_engraving(one, foot) for one in chip.engravings),
    )


def legend(chip: Chip) -> list[tuple[Markup, str]]:
    """List the kinds of marks that a chip holds, each drawn, with its meaning."""
    kept, judged = ({mark[at] for mark in chip.marks} for at in (2, 3))
    names = {True: "kept", False: "not kept", None: "no mark that counts"}
    verdicts = {"yes": "judged sharp", "no": "judged soft"}
    kinds = [(Mark(0, 1, one, "", ()), name) for one, name in names.items() if one in kept]
    kinds += [(Mark(0, 1, False, one, ()), name) for one, name in verdicts.items() if one in judged]
    return [(_key(mark), name) for mark, name in kinds]


def _key(mark: Mark) -> Markup:
    up = 1 if mark.kept is False else -1
    dot = _dot(mark, 7 - 8 * up, 10)  # so that its middle is 7 pixels down
    return element("svg", element("svg", dot, x=6, overflow="visible"), width=12, height=14)


def _limits(chip: Chip) -> list[Markup]:
    """Write near and far limit above the edges of the zone, outside it where there is room."""
    if chip.near_at < EDGE and chip.far_at - chip.near_at < CLOSE:
        both = Said(f"{chip.near.m}–{chip.far.m}", f"{chip.near.ft}–{chip.far.ft}")
        return [_limit(both, chip.near_at, "start", "sharp ")]
    return [
        _limit(chip.near, chip.near_at, "start" if chip.near_at < EDGE else "end", "sharp from "),
        _limit(chip.far, chip.far_at, "end" if chip.far_at > 1 - EDGE else "start", "to "),
    ]


def _limit(text: Said, at: float, anchor: str, word: str) -> Markup:
    parts = ((word, "wordy"), (text.m, "m"), (text.ft, "ft"))
    spans = (element("tspan", part, class_=kind) for part, kind in parts)
    place = {"x": along(at), "dx": "-5" if anchor == "end" else "5", "y": f"{HEAD - 8:g}"}
    return element("text", *spans, **place, text_anchor=anchor, class_="limit")


def _dot(mark: Mark, level: float, step: float) -> Markup:
    """A circle; a square on its corner where judged sharp, a cross where judged soft."""
    up = -1 if mark.kept is not False else 1
    y = level + up * (mark.level - 0.5) * step + up * 3
    rows = " ".join(map(str, mark.rows)) or None  # the keys of the legend show no frame
    r, kind = 0.42 * step, _KINDS[mark.kept]
    if not mark.sharp:
        return element("circle", cx=along(mark.at), cy=f"{y:.1f}", r=f"{r:.1f}", class_=kind, data_f=rows)
    q = 1.25 * r
    shape = f"M0 {-q:.1f}L{q:.1f} 0L0 {q:.1f}L{-q:.1f} 0Z"
    if mark.sharp == "no":
        shape = f"M{-r:.1f} {-r:.1f}L{r:.1f} {r:.1f}M{-r:.1f} {r:.1f}L{r:.1f} {-r:.1f}"
        kind += " soft"
    return shape_at(along(mark.at), f"{y:.1f}", element("path", d=shape, class_=kind, data_f=rows))


def _bar(mark: Mark, level: float, step: float) -> Markup:
    height = max(mark.level * step, 1.5)
    top = level - height if mark.kept is not False else level
    place = {"x": along(mark.at - BAR / 2), "width": along(BAR), "y": f"{top:.1f}", "height": f"{height:.1f}"}
    return element("rect", **place, class_=_KINDS[mark.kept], data_f=" ".join(map(str, mark.rows)))


def _engraving(one: Engraving, foot: float) -> Markup:
    hidden = [name for name, shown in (("no-wide", one.wide), ("no-narrow", one.narrow)) if not shown]
    at, kind = along(one.at), " ".join(["ring", *(["in-use"] if one.in_use else hidden)])
    anchor = "end" if one.at > 0.985 else "start" if one.at < 0.015 else "middle"
    parts = [
        line(at, f"{foot:.1f}", at, f"{foot + 7:.1f}", "tick"),
        element("text", one.label, x=at, y=f"{foot + 21:.1f}", text_anchor=anchor, class_=kind),
    ]
    if one.in_use:
        arrow = element("path", d="M-6 11L6 11L0 1Z", class_="arrow")
        parts.append(shape_at(at, f"{foot + 25:.1f}", arrow))
    return element("g", *parts)
