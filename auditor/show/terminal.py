"""The summary on the screen: rich tables in at most 100 columns, plain text when piped."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import pandas as pd
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from auditor.errors import Problem
from auditor.evidence.bursts import zone_focused
from auditor.evidence.presets import count_all, pool_small
from auditor.intake.library.reading import Progress as ReportProgress
from auditor.journey import Audit
from auditor.show.chart_tables import presets_for_reading, zone_rates
from auditor.show.words import fallout as fallout_words
from auditor.show.words import tolerance as tolerance_words
from auditor.show.words import verdict as verdict_words
from auditor.show.words.figures import band, interval, percent, zone

WIDEST = 100
BAR_CELLS = 12
PROBLEMS_SHOWN = 8


def console(stream: TextIO | None = None) -> Console:
    """A console for results: no wider than 100 columns; colour and width as the terminal says."""
    made = Console(file=stream or sys.stdout, highlight=False, markup=False, emoji=False)
    made.width = min(WIDEST, made.width) if made.is_terminal else WIDEST
    return made


@contextmanager
def progress_on_stderr(what: str) -> Iterator[ReportProgress]:
    """Show files done, files a second and time left on stderr while the block runs."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(),
    )
    quiet = Console(stderr=True)
    with Progress(*columns, console=quiet, transient=True, disable=not quiet.is_terminal) as bar:
        task = bar.add_task(what, total=None, rate="")

        def report(done: int, total: int) -> None:
            speed = bar.tasks[task].speed
            bar.update(task, completed=done, total=total, rate=f"{speed:.0f} files/s" if speed else "")

        yield report


def share_bar(low: float, rate: float, high: float) -> str:
    """Draw a rate between 0 and 1 with its interval as a short bar of characters.

    Examples
    --------
    >>> share_bar(0.2, 0.5, 0.8)
    '··━━━━●━━━··'
    """
    if math.isnan(rate):
        return " " * BAR_CELLS
    cells = ["·"] * BAR_CELLS

    def cell(share: float) -> int:
        return min(BAR_CELLS - 1, int(share * BAR_CELLS))

    for position in range(cell(low), cell(high) + 1):
        cells[position] = "━"
    cells[cell(rate)] = "●"
    return "".join(cells)


def show_audit(audit: Audit, out: Console) -> None:
    """Print the verdict, what fell out, presets, distance bands, the tolerance and problems."""
    show_ignored(audit.problems, out)
    _show_verdict(audit, out)
    _show_counts(audit, out)
    for remark in audit.remarks:
        out.print(Text(remark))
    if len(audit.presets):
        _show_presets(audit, out)
    if len(audit.distances):
        _show_distances(audit, out)
    out.print(Text(tolerance_words.finding(audit.tolerance)))
    show_problems(audit.problems, out)


def _show_verdict(audit: Audit, out: Console) -> None:
    results = {
        "overall": count_all(audit.table, audit.settings.confidence),
        "presets": presets_for_reading(audit),
        "tally": zone_rates(zone_focused(audit.table), audit.settings.confidence),
        "advice": audit.advice,
    }
    sentences = [say(audit, results, audit.settings.units) for say in verdict_words.SENTENCES]
    out.print(Text(" ".join(sentence for sentence in sentences if sentence), style="bold"))
    out.print()


def _show_counts(audit: Audit, out: Console) -> None:
    counts = audit.counts
    steps = Table(box=None, show_header=False, pad_edge=False)
    steps.add_column(justify="right")
    steps.add_column()
    missing = counts["missing_numbers"]
    merged = f", {counts['merged']} joined as copies of another" if counts["merged"] else ""
    rows = [
        (counts["found"], f"picture files found, {counts['unreadable']} unreadable{merged}"),
        (counts["frames"], "frames"),
        (counts["with_zone"], f"with a sharp zone; {counts['without_zone']} lack a setting"),
        (counts["with_subject_distance"], "with a known subject distance"),
        (counts["marked"], f"counted: {counts['keepers']} keepers, {counts['not_kept']} not kept"),
        (counts["left_out"], "left out, since nobody said whether they were looked at"),
    ]
    assumed = int((audit.table["sensor_source"] == "assumed").sum())
    if assumed:
        rows.insert(3, (assumed, "of unknown sensor size, taken for 36×24 mm; state sensor in [[camera]]"))
    if counts["not_zone_focused"]:
        rows.insert(3, (counts["not_zone_focused"], "autofocused, so in no preset"))
    if missing:
        rows.append((missing, "numbers missing inside sessions (deleted before choosing?)"))
    for number, text in rows:
        steps.add_row(str(number), text)
    out.print(steps)


def _table(title: str) -> Table:
    return Table(box=SIMPLE_HEAD, title=title, title_justify="left", pad_edge=False, padding=(0, 1, 0, 0))


def _show_presets(audit: Audit, out: Console) -> None:
    level = f"{100 * audit.settings.confidence:.0f} %"
    table = _table(f"Presets: bursts with a keeper ({level} interval), and frames kept")
    table.add_column("preset", overflow="fold")
    table.add_column("sharp zone", no_wrap=True)
    table.add_column("bursts", justify="right", no_wrap=True)
    table.add_column("rate", justify="right", no_wrap=True)
    table.add_column("interval", justify="right", no_wrap=True)
    table.add_column("0 … 100 %", no_wrap=True)
    table.add_column("frames", justify="right", no_wrap=True)
    for row in pool_small(audit.presets, audit.table, audit.settings.confidence).itertuples():
        table.add_row(
            Text(str(row.preset)),
            zone(row.near_limit_m, row.far_limit_m, row.focus_distance_m, audit.settings.units),
            f"{row.hits}/{row.bursts}",
            percent(row.hit_rate),
            interval(row.low, row.high),
            share_bar(row.low, row.hit_rate, row.high),
            f"{row.keepers}/{row.frames}",
        )
    out.print(table)


def _show_distances(audit: Audit, out: Console) -> None:
    """Bands across, presets down: keepers of frames, and for all of them the rate with its interval."""
    bands = audit.distances.drop_duplicates(["from_m", "to_m"]).sort_values("from_m")
    edges = list(zip(bands["from_m"], bands["to_m"], strict=True))
    table = _table("Frames kept, by subject distance")
    table.add_column("", overflow="fold")
    for from_m, to_m in edges:
        table.add_column(
            band(from_m, to_m, audit.settings.units).replace(" and beyond", "+"), justify="right"
        )
    names = audit.distances["preset"]
    together = audit.distances[names.isna()]
    table.add_row("all", *_cells(together, edges, lambda row: f"{row.keepers}/{row.frames}"))
    table.add_row("  rate", *_cells(together, edges, lambda row: percent(row.frame_rate)))
    table.add_row("  interval", *_cells(together, edges, lambda row: interval(row.frame_low, row.frame_high)))
    for name in names.dropna().unique():
        cells = _cells(audit.distances[names == name], edges, lambda row: f"{row.keepers}/{row.frames}")
        table.add_row(Text(str(name)), *cells)
    out.print(table)


def _cells(rows: pd.DataFrame, edges: list[tuple[float, float]], write: Callable[[Any], str]) -> list[str]:
    """One text for each band; empty where the band holds no frame."""
    found = {(row.from_m, row.to_m): write(row) for row in rows.itertuples()}
    return [found.get(edge, "") for edge in edges]


def show_ignored(problems: list[Problem], out: Console) -> None:
    """Print first of all which statements the figures are made without."""
    if sentence := fallout_words.ignored(problems):
        out.print(Text(sentence, style="bold"))


def show_problems(problems: list[Problem], out: Console) -> None:
    """Print problems with their next step, the first few in full."""
    if not problems:
        return
    out.print(Text(f"\nProblems ({len(problems)})", style="bold"))
    for problem in problems[:PROBLEMS_SHOWN]:
        where = f"{problem.file}: " if problem.file else ""
        out.print(Text(f"– {where}{problem.what}"))
        if problem.next:
            out.print(Text(f"  {problem.next}"))
    more = len(problems) - PROBLEMS_SHOWN
    if more > 0:
        out.print(Text(f"– and {more} more, in audit.json and the report."))
