"""The answer on the screen, in 60 columns and in the order of the page."""

import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence

import pandas as pd
from rich.console import Console
from rich.text import Text

from auditor.advice.this_walk import Diary
from auditor.show.page.model import Chip, LensView
from auditor.show.words import next_time, steps, walk

WIDTH = 60
LABEL = 11  # columns before the text of a row
_SIDE = 7  # columns before the chart
_CELLS = WIDTH - _SIDE
_BARS = " ▁▂▃▄▅▆▇█"
_LETTERS = "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]"
_RIGHT_TO_LEFT = re.compile(f"{_LETTERS}+(?:[^\\w\\n]*{_LETTERS}+)*")


def show_answer(
    view: LensView, units: str, out: Console, others: Sequence[str] = (), sources: Sequence[str] = ()
) -> None:
    """Print the answer for one lens, and the command that shows another one of the same sources."""
    decided, step = view.decided, steps.step(view.decided, sources)
    _print(out, next_time.headline(decided), style="bold")
    if expected := next_time.expect(decided):
        _print(out, "\n" + expected)
    chip = next((one for one in view.chips if one.now), None)
    if chip is not None and chip.marks:
        out.print()
        if out.encoding.lower().startswith("utf"):
            for line in chart(chip, units):
                _whole(out, line)
        _print(out, chip.finding)
    out.print()
    _row(out, "Instead", next_time.instead(decided))
    _row(out, "Blur", next_time.blur_costs(view.causes, decided.exposure_time_s))
    _row(out, "Next walk", next_time.next_walk(decided))
    _row(out, "Scale", next_time.engraved_scale(decided))
    _row(out, "How sure", " ".join(next_time.sure(decided)))
    if step.sentence:
        helps = step.sentence[0].lower() + step.sentence[1:]
        _row(out, "", f"What helps most, in {step.cost}: {helps}.")
    if step.command:
        _whole(out, " " * LABEL + step.command)
    if others:
        _row(out, "Lenses", f"also {', '.join(others)}; see one of them with")
        _whole(out, f"{' ' * LABEL}auditor advise {steps.typed_sources(sources)} --lens NAME")


def show_walk(diary: Diary, files: pd.Series, rings: Mapping[str, str], units: str, out: Console) -> None:
    """Print what one walk brought, against what was usual before."""
    called = walk.called(diary, files)
    out.print()
    _print(out, walk.title(diary), style="bold")
    _print(out, walk.set_up(diary, rings))
    for row in walk.rows(diary):
        usual = f", {row.place} ({row.usual})" if row.usual else ""
        _row(out, row.what.capitalize(), f"{row.value}{usual}")
    for label, note in walk.notes(diary, called, rings, units):
        _row(out, label, note)
    looks = [f"{called[files[row]]} ({why})" for row, why in walk.frames(diary, files)]
    _row(out, "Look at", ", ".join(looks))


def isolated(text: str) -> str:
    """Keep words that run from right to left from turning their neighbours around (Unicode Annex 9)."""
    return _RIGHT_TO_LEFT.sub("\N{FIRST STRONG ISOLATE}\\g<0>\N{POP DIRECTIONAL ISOLATE}", text)


def _whole(out: Console, line: str, style: str = "") -> None:
    """Print a line as it is, however wide."""
    out.print(Text(line, style=style), no_wrap=True, crop=False, overflow="ignore")


def _print(out: Console, text: str, style: str = "") -> None:
    for paragraph in text.split("\n"):
        for line in textwrap.wrap(paragraph, WIDTH) or [""]:
            _whole(out, line, style)


def _row(out: Console, label: str, text: str) -> None:
    for place, line in enumerate(textwrap.wrap(text, WIDTH - LABEL, break_long_words=False)):
        head = Text(f"{label if place == 0 else '':<{LABEL}}", style="bold")
        out.print(head + Text(line), crop=False, no_wrap=True, overflow="ignore")


def chart(chip: Chip, units: str) -> list[str]:
    """Draw one chip with characters, at most 60 columns wide: limits, zone, frames kept and not, the ring."""
    near, far = _cell(chip.near_at), _cell(chip.far_at)
    limits = _beside_each_other([(chip.near.in_units(units), near), (chip.far.in_units(units), far)])
    rows = [("", limits), ("sharp", " " * near + "█" * max(far - near, 1))]
    counts = {name: _counts(chip, kept) for name, kept in (("kept", True), ("not", False), ("other", None))}
    tallest = max(map(max, counts.values()))
    for name, cells in counts.items():
        if any(cells):
            rows.append((name, "".join(_BARS[-(-8 * count // tallest)] for count in cells)))
    marks, ring = sorted(chip.engravings, key=lambda one: not one.in_use), ["─"] * _CELLS
    for one in reversed(marks):
        ring[_cell(one.at)] = "▲" if one.in_use else "┴"
    numbers = _beside_each_other([(one.label, _cell(one.at)) for one in marks])
    rows += [("ring", "".join(ring)), ("", numbers)]
    return [f"{name:<{_SIDE}}{text}".rstrip() for name, text in rows]


def _cell(at: float) -> int:
    return min(int(at * _CELLS), _CELLS - 1)


def _counts(chip: Chip, kept: bool | None) -> list[int]:
    cells = [0] * _CELLS
    for mark in chip.marks:
        if mark.kept is kept:
            cells[_cell(mark.at)] += mark.level if chip.bars else 1
    return cells


def _beside_each_other(words: Iterable[tuple[str, int]]) -> str:
    """Write words around their cells in one line; none where it would touch one before it."""
    line = [" "] * _CELLS
    for word, at in words:
        start = min(max(at - len(word) // 2, 0), _CELLS - len(word))
        if not "".join(line[max(start - 1, 0) : start + len(word) + 1]).strip():
            line[start : start + len(word)] = word
    return "".join(line)
