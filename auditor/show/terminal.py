"""The screen: the answer first, tables where they are asked for, progress and problems; plain when piped."""

import math
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TextIO

from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderHook, RenderResult
from rich.progress import MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.text import Text

from auditor.errors import Problem, SettingError
from auditor.journey import Audit
from auditor.show.chart_tables import presets_for_reading
from auditor.show.decided import ring_units
from auditor.show.page.model import Cell, LensView
from auditor.show.screen import isolated, show_answer, show_walk
from auditor.show.text_tables import Column, print_table
from auditor.show.words import distances as distance_words
from auditor.show.words import fallout, line
from auditor.show.words import tolerance as tolerance_words
from auditor.show.words.figures import band, interval, percent, zone
from auditor.show.words.method import CAUTION
from auditor.text import printable_lines

WIDEST = 100
PROBLEMS_SHOWN = 8


class _Screen(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command, which may have more to do, what to make of a reader that went away."""
        raise BrokenPipeError


def console(stream: TextIO | None = None) -> Console:
    """A console for results: no wider than 100 columns; colour and width as the terminal says."""
    made = _Screen(file=stream or sys.stdout, highlight=False, markup=False, emoji=False)
    made.width = min(WIDEST, made.width) if made.is_terminal else WIDEST
    made.push_render_hook(_Plain())
    return made


class Stages:
    """Tells on stderr which stage runs, how far it is, the time gone and the time left."""

    def __init__(self, bar: Progress) -> None:
        self._bar = bar
        self._task = bar.add_task("Reading", total=None, rate="")

    def __call__(self, done: int, total: int) -> None:
        """Say how many files of a stage are done."""
        speed = self._bar.tasks[self._task].speed
        rate = f"{speed:.0f} files/s" if speed else ""
        self._bar.update(self._task, completed=done, total=total, rate=rate)

    def stage(self, name: str) -> None:
        """Begin another stage; how long it will take is not known before it has run."""
        self._bar.update(self._task, visible=False)
        self._task = self._bar.add_task(name, total=None, rate="")


class _Plain(RenderHook):
    """Lets nothing from a file name, a lens or a note reach the terminal as a command."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        """Put each thing to print into :class:`_PlainText`."""
        return [_PlainText(renderable) for renderable in renderables]


class _PlainText:
    def __init__(self, inner: ConsoleRenderable) -> None:
        self._inner = inner

    def __rich_console__(self, out: Console, options: ConsoleOptions) -> RenderResult:
        for segment in out.render(self._inner, options):
            yield (
                segment if segment.control else segment._replace(text=isolated(printable_lines(segment.text)))
            )


@contextmanager
def progress_on_stderr(what: str = "Reading") -> Iterator[Stages]:
    """Show the stages while the block runs; nothing where stderr is no terminal."""
    rate, quiet = TextColumn("{task.fields[rate]}"), Console(stderr=True)
    columns = (*Progress.get_default_columns(), MofNCompleteColumn(), rate, TimeElapsedColumn())
    with Progress(*columns, console=quiet, transient=True, disable=not quiet.is_terminal) as bar:
        stages = Stages(bar)
        stages.stage(what)
        yield stages


def show_audit(
    audit: Audit, views: Sequence[LensView], out: Console, report: str = "", *, full: bool = False
) -> None:
    """Print the answer for the first lens, and where asked what fell out, presets and distance bands."""
    show_ignored(audit.problems, out)
    show_answer(views[0], audit.settings.units, out, [view.name for view in views[1:]], audit.sources)
    if audit.diary is not None:
        show_walk(audit.diary, audit.table["file"], ring_units(audit), audit.settings.units, out)
    if report:
        out.print(Text(f"Report     {report}"), no_wrap=True, crop=False, overflow="ignore")
    if full:
        rows = fallout.steps(audit.counts)
        room = max(len(number) for number, _ in rows)
        for number, text in rows:
            out.print(Text(f"{number:>{room}} {text}"))
        for remark in audit.remarks:
            out.print(Text(remark))
        show_presets(audit, out)
        show_distances(audit, out)
        rings = ring_units(audit)
        for one in audit.lines:
            out.print(Text(line.say_where(one, rings[one.preset], audit.settings.units)))
        out.print(Text(tolerance_words.finding(audit.tolerance)))
        out.print(Text(CAUTION))
    show_problems(audit.problems, out, "audit.json and the report list them all")


def view_of(views: Sequence[LensView], wanted: str | None) -> LensView:
    """Choose a lens by its name, or by its focal length; the first where none is asked for."""
    if wanted is None:
        return views[0]
    word = wanted.strip().casefold()
    length = re.compile(rf"(?<![\d.]){re.escape(word.removesuffix('mm').strip())}\s*mm")
    named = [view for view in views if view.name.casefold() == word]
    stated = [view for view in views if length.match(f"{view.decided.bench.focal_length_mm:g} mm")]
    if found := [*named, *(view for view in views if length.search(view.name.casefold())), *stated]:
        return found[0]
    names = ", ".join(view.name for view in views if view.name)
    raise SettingError(f"No counted frame was taken with a lens {wanted!r}.", f"The archive has: {names}.")


def show_settings(view: LensView, out: Console) -> None:
    """Print how many of 100 subjects would have been sharp at each stop and engraving."""

    def written(cell: Cell) -> str:
        return "" if math.isnan(cell.share) else f"{100 * cell.share:.0f}{'*' * cell.now}{'=' * cell.alike}"

    for one in view.rings:
        names = [ring if ring == "∞" else f"{ring} {one.unit}" for ring in one.rings]
        columns = [Column("stop", left=True), *map(Column, names, range(1, len(names) + 1))]
        rows = [[stop, *map(written, cells)] for stop, cells in zip(one.stops, one.cells, strict=True)]
        light = f", {one.light}" if one.light else ""
        whom = "passers" if one.of_passers else "subjects you pressed at"
        key = "* now, = as good as the best" if one.has_region else "* now"
        print_table(out, f"Sharp of 100 {whom}, stop by ring{light} ({key})", columns, rows)
    out.print(Text(CAUTION))


def show_presets(audit: Audit, out: Console) -> None:
    """Print each preset's zone and rates."""
    if not len(audit.presets):
        return
    columns = [
        Column("preset", left=True), Column("sharp zone", 3, left=True), Column("kept"),
        Column("interval", 1), Column("presses", 2), Column("frames", 4),
    ]  # fmt: skip
    rows = [
        [
            str(row.preset),
            zone(row.near_limit_m, row.far_limit_m, row.focus_distance_m, audit.settings.units),
            percent(row.hit_rate),
            interval(row.low, row.high),
            f"{row.hits} of {row.bursts}",
            f"{row.keepers} of {row.frames}",
        ]
        for row in presets_for_reading(audit).itertuples()
    ]
    level = f"{100 * audit.settings.confidence:.0f} %"
    print_table(out, f"Presets: presses with a keeper ({level} interval), and frames kept", columns, rows)


def show_distances(audit: Audit, out: Console) -> None:
    """Print distance bands: of all frames the rate with its interval, and each preset's counts."""
    if not len(audit.distances):
        return
    presets = list(audit.distances["preset"].dropna().unique())
    columns = [Column("distance", left=True), Column("kept"), Column("interval", 1), Column("frames", 2)]
    columns += [Column(str(name), 3 + place) for place, name in enumerate(presets)]
    rows = []
    for (from_m, to_m), here in audit.distances.groupby(["from_m", "to_m"]):
        whole = here[here["preset"].isna()].iloc[0]
        own = {one.preset: _of(one) for one in here.itertuples()}
        rate = percent(whole["frame_rate"]), interval(whole["frame_low"], whole["frame_high"]), _of(whole)
        name = band(from_m, to_m, audit.settings.units)
        rows.append([name, *rate, *(own.get(preset, "") for preset in presets)])
    print_table(out, "Frames kept, by subject distance; shares are put back to all frames", columns, rows)
    if note := distance_words.without_distances(audit.unheard):
        out.print(Text(note))


def _of(row: Any) -> str:
    return f"{row.keepers:.0f} of {row.frames:.0f}"


def show_ignored(problems: list[Problem], out: Console) -> None:
    """Print first of all which statements the figures are made without."""
    if sentence := fallout.ignored(problems):
        out.print(Text(sentence, style="bold"))


def show_problems(
    problems: list[Problem], out: Console, rest: str = "the report of auditor audit lists them"
) -> None:
    """Print problems with their next step, the first few in full, and where the rest stands."""
    if not problems:
        return
    out.print(Text(f"\nProblems ({len(problems)})", style="bold"))
    for problem in problems[:PROBLEMS_SHOWN]:
        out.print(Text(f"– {f'{problem.file}: ' if problem.file else ''}{problem.what}"))
        if problem.next:
            out.print(Text(f"  {problem.next}"))
    if (more := len(problems) - PROBLEMS_SHOWN) > 0:
        out.print(Text(f"– and {more} more: {rest}."))
