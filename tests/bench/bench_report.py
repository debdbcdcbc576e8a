"""Time to draw the charts and build the page, and time of a large page to open.

Drawing and building are held against matplotlib drawing one plain scatter; processor time is taken, so that
a busy machine does not matter. Opening, in chromium where it is installed, is held against an empty page. Run
it from the checkout: ``python tests/bench/bench_report.py``. It exits with 1 where a limit is missed.
"""

from __future__ import annotations

import importlib.util
import io
import os
import shutil
import sys
import tempfile
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from auditor.journey import Audit
from auditor.show.charts import Chart, render_charts
from auditor.show.report import build_report

FRAMES = 10_000
TIMES_ALLOWED = 8.0  # of one plain scatter, for each chart, its page part included
REPEATS = 3
LARGE_FRAMES, LARGE_SESSIONS = 50_000, 250
LARGE_MB = 5.0
PAINT_ALLOWED, LOAD_ALLOWED = 6.0, 60.0  # times an empty page: to the first words, and to the last element
OPENINGS = 6


def plain_scatter_s() -> float:
    """Seconds to draw and save one plain scatter of as many points, as SVG and PNG; the best of three."""
    rng = np.random.default_rng(1)
    x, y = rng.random((2, FRAMES))
    return min(_timed_scatter(x, y) for _ in range(REPEATS))


def _timed_scatter(x: np.ndarray, y: np.ndarray) -> float:
    start = process_time()
    figure = Figure()
    figure.add_subplot().scatter(x, y)
    for kind in ("svg", "png"):
        figure.savefig(io.BytesIO(), format=kind)
    return process_time() - start


def measured(audit: Audit) -> tuple[float, float, dict[str, Chart], str]:
    """Seconds to draw the charts and to build the page, and both."""
    start = process_time()
    charts = render_charts(audit)
    drawn = process_time()
    page = build_report(audit, charts)
    return drawn - start, process_time() - drawn, charts, page


def invented() -> Any:
    """The test suite's maker of invented archives."""
    place = Path(__file__).parents[1] / "show" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def large_archive(make: Any) -> pd.DataFrame:
    """Years of walks: 30 presets of two lenses, five of them in each session."""
    presets = [
        (f"preset {n}", f"{28 + 7 * (n % 2)} mm", 28.0 + 7 * (n % 2), 8.0, 1 + n / 10) for n in range(30)
    ]
    frames = make.invented_frames(LARGE_FRAMES, presets=presets)
    day = np.arange(LARGE_FRAMES) * LARGE_SESSIONS // LARGE_FRAMES
    chosen = (7 * day + np.random.default_rng(1).integers(0, 5, LARGE_FRAMES)) % 30
    at = pd.Timestamp("2020-01-01T14:00:00") + pd.to_timedelta(day, unit="D")
    at = at + pd.to_timedelta(np.arange(LARGE_FRAMES) % 200 * 11.0, unit="s")
    names = ("preset", "lens", "focal_length_mm", "f_number", "focus_distance_m")
    own = {name: np.array([preset[k] for preset in presets])[chosen] for k, name in enumerate(names)}
    return frames.assign(captured_at=at.strftime("%Y-%m-%dT%H:%M:%S"), **own)


def opening_ms(browser: Any, page: Path) -> tuple[float, float]:
    """Milliseconds to the first words on the screen and to the load event; the best of some openings."""
    script = (
        "[performance.getEntriesByName('first-contentful-paint')[0].startTime,"
        " performance.getEntriesByType('navigation')[0].loadEventEnd]"
    )
    times = []
    for _ in range(OPENINGS):
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        sheet = context.new_page()
        sheet.goto(page.as_uri(), wait_until="load")
        sheet.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
        sheet.wait_for_function("performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
        times.append(sheet.evaluate(script))
        context.close()
    paint, load = np.array(times).min(axis=0)
    return float(paint), float(load)


def opens(text: str, folder: Path) -> bool:
    """Whether a large page opens at once; True, with a word, where there is no browser."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("no chromium with playwright here: opening is not measured")
        return True
    large, empty = folder / "large.html", folder / "empty.html"
    large.write_text(text, encoding="utf-8")
    empty.write_text("<!doctype html><html lang=en><title>Empty</title><p>Empty.", encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        first, second = opening_ms(browser, empty), opening_ms(browser, large)
        browser.close()
    paint, load = (own / plain for own, plain in zip(second, first, strict=True))
    print(
        f"first words after {second[0]:.0f} ms, {paint:.1f} times an empty page ({PAINT_ALLOWED:g} allowed)"
    )
    print(f"loaded after {second[1]:.0f} ms, {load:.1f} times an empty page ({LOAD_ALLOWED:g} allowed)")
    return paint <= PAINT_ALLOWED and load <= LOAD_ALLOWED


def main() -> int:
    """Measure and compare."""
    make = invented()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        audit = make.audited(make.invented_frames(FRAMES), folder)
        unit = plain_scatter_s()
        drawing, building, charts, page = min(
            (measured(audit) for _ in range(REPEATS)), key=lambda m: m[0] + m[1]
        )
        times = (drawing + building) / (unit * len(charts))
        print(f"plain scatter of {FRAMES} points: {unit:.2f} s")
        print(f"{len(charts)} charts: {drawing:.2f} s, page: {building:.2f} s, {len(page) / 1e6:.2f} MB")
        print(f"{times:.1f} times the scatter for each chart, {TIMES_ALLOWED:g} allowed")
        _, _, _, large = measured(make.audited(large_archive(make), folder))
        size = len(large.encode()) / 1e6
        print(
            f"page of {LARGE_FRAMES} frames in {LARGE_SESSIONS} sessions: {size:.2f} MB, {LARGE_MB:g} allowed"
        )
        opened = opens(large, folder)
    return int(times > TIMES_ALLOWED or size > LARGE_MB or not opened)


if __name__ == "__main__":
    sys.exit(main())
