"""What the answer, the whole audit and a large page cost, in units of the scan of the same frames.

Processor time, medians of some runs. The demo with a warm cache: the commands ``scan`` and ``audit`` as they
are typed, start and all, in which the limits are set; then, to be told, in one process with everything
imported before, in two units: the scan that takes the facts kept of an unchanged archive, and the one that
reads the cache file by file. Then 50,000 frames of a table in 250 walks. The large page's size is told, and
in chromium, where there is one, how long it takes to open against an empty page. Run
``python tests/bench/bench_page.py`` in the checkout. It exits with 1 where a limit is missed.
"""

from __future__ import annotations

import importlib.util
import io
import os
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import process_time
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands do

import numpy as np
import pandas as pd
import psutil
from rich.console import Console

from auditor.intake.tables import to_csv_text
from auditor.journey import run_audit, run_scan
from auditor.settings import Request
from auditor.show.outputs import write_outputs
from auditor.show.page.view import lens_views
from auditor.show.report import build_report
from auditor.show.terminal import show_audit

DEMO = Path(__file__).parents[2] / "demo_metadata"
SUMMARY_ALLOWED, WHOLE_ALLOWED = 4.0, 7.0  # commands ``scan`` of the warm demo
LARGE_FRAMES, LARGE_SESSIONS = 50_000, 250
LARGE_ALLOWED, LARGE_MB = 10.0, 5.0  # scans of the same table; size of its page
PAINT_ALLOWED = 6.0  # times an empty page, to the first words
RUNS, OPENINGS = 3, 6


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Median processor time of some runs, and what the last one returned."""
    times, found = [], None
    for _ in range(RUNS):
        start = process_time()
        found = work()
        times.append(process_time() - start)
    return statistics.median(times), found


def typed(*words: str) -> tuple[float, float]:
    """Median processor time of a command in its own process: to the last of its answer, and to its end."""
    answers, ends = [], []
    for _ in range(RUNS):
        command = [sys.executable, "-m", "auditor", *words]
        with psutil.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as running:
            answered = 0.0
            while running.stdout.read1():
                answered = sum(running.cpu_times()[:2])
            _, _, used = os.wait4(running.pid, 0)
        answers.append(answered)
        ends.append(used.ru_utime + used.ru_stime)
    return statistics.median(answers), statistics.median(ends)


def scanned(request: Request) -> str:
    """What ``auditor scan`` does."""
    return to_csv_text(run_scan(request).archive.table)


def scanned_by_file(request: Request) -> str:
    """The same, with the facts of every file put together from the cache anew."""
    with closing(sqlite3.connect(str(request.cache))) as store, store:
        store.execute("DELETE FROM walk")
    return scanned(request)


def answered(request: Request) -> Any:
    """What stands on the screen before anything is drawn."""
    audit = run_audit(request)
    views = lens_views(audit)
    show_audit(audit, views, Console(file=io.StringIO(), width=100))
    return audit, views


def whole(request: Request, folder: Path) -> None:
    """What ``auditor audit`` does."""
    audit, views = answered(request)
    write_outputs(audit, folder, views, cache=request.cache)


def large_archive() -> pd.DataFrame:
    """Years of walks: 30 presets of two lenses, five of them in each session."""
    place = Path(__file__).parents[1] / "show" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented", place)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    presets = [
        (f"preset {n}", f"{28 + 7 * (n % 2)} mm", 28.0 + 7 * (n % 2), 8.0, 1 + n / 10) for n in range(30)
    ]
    frames = made.invented_frames(LARGE_FRAMES, presets=presets)
    day = np.arange(LARGE_FRAMES) * LARGE_SESSIONS // LARGE_FRAMES
    chosen = (7 * day + np.random.default_rng(1).integers(0, 5, LARGE_FRAMES)) % 30
    at = pd.Timestamp("2020-01-01T14:00:00") + pd.to_timedelta(day, unit="D")
    at = at + pd.to_timedelta(np.arange(LARGE_FRAMES) % 200 * 11.0, unit="s")
    names = ("preset", "lens", "focal_length_mm", "f_number", "focus_distance_m")
    own = {name: np.array([preset[k] for preset in presets])[chosen] for k, name in enumerate(names)}
    return frames.assign(captured_at=at.strftime("%Y-%m-%dT%H:%M:%S"), **own)


def first_words_ms(browser: Any, page: Path) -> float:
    """Milliseconds to the first words on the screen; the best of some openings."""
    times = []
    for _ in range(OPENINGS):
        context = browser.new_context(viewport={"width": 1200, "height": 800})
        sheet = context.new_page()
        sheet.goto(page.as_uri(), wait_until="load")
        sheet.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
        times.append(sheet.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
        context.close()
    return float(min(times))


def opens(large: Path, folder: Path) -> bool:
    """Whether a large page opens at once; True, with a word, where there is no browser."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("no chromium with playwright here: opening is not measured")
        return True
    empty = folder / "empty.html"
    empty.write_text("<!doctype html><html lang=en><title>Empty</title><p>Empty.", encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        plain, own = first_words_ms(browser, empty), first_words_ms(browser, large)
        browser.close()
    print(f"large page, first words: {own / plain:.1f} empty pages ({PAINT_ALLOWED:g} allowed), {own:.0f} ms")
    return own / plain <= PAINT_ALLOWED


def main() -> int:
    """Measure and compare."""
    missed = False
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        demo = Request((DEMO,), workers=1, cache=folder / "read.sqlite")
        scanned(demo)
        whole(demo, folder / "warm")
        unit, _ = seconds(lambda: scanned_by_file(demo))
        kept, _ = seconds(lambda: scanned(demo))
        print(f"demo, scan: {unit:.2f} s file by file, {kept:.2f} s from kept facts")
        for name, work in (
            ("summary", lambda: answered(demo)),
            ("whole", lambda: whole(demo, folder / "out")),
        ):
            taken, _ = seconds(work)
            print(f"demo, {name}: {taken / unit:.1f} scans file by file, {taken / kept:.1f} from kept facts")
        place = (str(DEMO), "--cache", str(demo.cache))
        _, one = typed("scan", *place)
        summary, taken = (time / one for time in typed("audit", *place, "--out", str(folder / "typed")))
        print(f"demo, as typed: summary {summary:.1f} commands scan ({SUMMARY_ALLOWED:g} allowed), "
              f"whole {taken:.1f} ({WHOLE_ALLOWED:g} allowed)")  # fmt: skip
        missed |= summary > SUMMARY_ALLOWED or taken > WHOLE_ALLOWED
        table = folder / "frames.csv"
        large_archive().to_csv(table, index=False)
        large = Request((table,), workers=1)
        unit, _ = seconds(lambda: scanned(large))
        start = process_time()
        audit, views = answered(large)
        page = build_report(audit, folder, views=views)
        taken, size = process_time() - start, len(page.encode()) / 1e6
        print(f"{LARGE_FRAMES} frames: {taken / unit:.1f} scans ({LARGE_ALLOWED:g} allowed)")
        print(f"page of {LARGE_FRAMES} frames: {size:.2f} MB ({LARGE_MB:g} allowed)")
        (folder / "large.html").write_text(page, encoding="utf-8")
        missed |= taken / unit > LARGE_ALLOWED or size > LARGE_MB
        missed |= not opens(folder / "large.html", folder)
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
