"""The page in a real browser: silent, private, usable by mouse and keyboard, accessible, printable."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from auditor.errors import Problem
from auditor.journey import Audit
from auditor.show.charts import render_charts
from auditor.show.report import build_report

playwright = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed: no browser tests"
)

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-sync",
]
# Width that a sheet leaves between the margins of 15 mm, in CSS pixels of 1/96 inch.
SHEETS = {"A4": (210 - 30) / 25.4 * 96, "Letter": (215.9 - 30) / 25.4 * 96}


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("chromium is not installed (or named in the variable CHROMIUM): no browser tests")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Open a page's text; at the end of the test it must have been silent and asked for nothing."""
    noise: list[str] = []
    asked: list[str] = []
    contexts = []

    def open_page(text: str, width: int = 1280, **options: Any) -> Any:
        path = tmp_path / "report.html"
        path.write_text(text, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: noise.append(message.text))
        page.on("pageerror", lambda error: noise.append(str(error)))
        page.on("dialog", lambda dialog: noise.append(dialog.message))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert noise == []
    assert {url for url in asked if not url.endswith("/report.html")} == set()


def shown_text(page: Any) -> str:
    return str(page.inner_text("main")).replace("\u00a0", " ")


def column(page: Any, table: str, number: int) -> list[str]:
    cells = page.eval_on_selector_all(
        f"table[aria-labelledby={table}] tbody tr:not([hidden]):not(.total)",
        f"rows => rows.map(row => row.cells[{number}].dataset.sort ?? row.cells[{number}].innerText)",
    )
    return [str(cell) for cell in cells]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_units_switch_every_figure_and_chart(opened: Any, walked_page: str, script: bool) -> None:
    page = opened(walked_page, java_script_enabled=script)
    assert "28 mm f/8 at 2.5 m" in shown_text(page)
    page.get_by_label("feet").click()
    assert "28 mm f/8 at 8.2 ft" in shown_text(page)
    assert "2.5 m" not in shown_text(page)
    pictures = page.locator("figure svg:visible").all()
    assert len(pictures) == page.locator("figure").count() > 1, "one of its four pictures for each chart"
    for picture in pictures:
        assert "ft" in picture.get_attribute("class").split()
    page.get_by_label("feet").focus()
    page.keyboard.press("ArrowLeft")
    assert page.get_by_label("metres").is_checked()
    assert "28 mm f/8 at 2.5 m" in shown_text(page)


def test_tables_sort_by_mouse_and_by_keyboard(opened: Any, walked: Audit, walked_page: str) -> None:
    page = opened(walked_page)
    wanted = sorted(walked.presets["hit_rate"])
    head = page.locator("table[aria-labelledby=presets-table] th", has_text="Hit rate")
    head.get_by_role("button").click()
    assert [float(cell) for cell in column(page, "presets-table", 2)] == pytest.approx(wanted[::-1], rel=1e-4)
    assert head.get_attribute("aria-sort") == "descending"
    head.get_by_role("button").focus()
    page.keyboard.press("Enter")
    assert [float(cell) for cell in column(page, "presets-table", 2)] == pytest.approx(wanted, rel=1e-4)
    assert head.get_attribute("aria-sort") == "ascending"
    names = page.locator("table[aria-labelledby=presets-table] th", has_text="Preset").get_by_role("button")
    names.focus()
    page.keyboard.press("Space")
    told = column(page, "presets-table", 0)
    assert told == sorted(told)
    assert head.get_attribute("aria-sort") is None
    bands = page.locator("table[aria-labelledby=bands-m]")
    bands.get_by_role("button").nth(3).click()
    assert "all presets" in bands.locator("tbody tr").first.inner_text(), "the total stays on top"


def test_filters_by_lens_and_session(opened: Any, walked: Audit, walked_page: str) -> None:
    page = opened(walked_page)
    assert page.locator("#presets tbody tr:visible").count() == len(walked.presets)
    page.locator("#pick-lens").select_option("35 mm")
    assert column(page, "presets-table", 0) == ["close · 35\u00a0mm f/5.6 at 1.5\u00a0m"]
    faded = page.locator("#distances svg:visible g.aside").count()
    assert faded == (walked.presets["lens"] != "35 mm").sum()
    assert column(page, "bands-m", 0) == ["close"]
    assert column(page, "met-table", 0) == ["close"]
    assert page.locator("#distances tr.total:visible").count() == 0, "the total is of every lens"
    page.locator("#pick-lens").select_option("all")
    page.locator("#pick-session").select_option("1")
    frames = sum(int(cell) for cell in column(page, "presets-table", 6))
    counted = walked.table[(walked.table["session"] == 1) & (walked.table["counted_as"] != "left out")]
    assert frames == len(counted)
    assert kept_of(page) == (int((counted["counted_as"] == "keeper").sum()), len(counted))
    note = page.get_by_role("status").inner_text()
    assert "show what was chosen" in note
    assert "speaks of the whole archive" in note


def kept_of(page: Any) -> tuple[int, int]:
    """Keepers and frames, added up over the bands that are shown."""
    cells = page.eval_on_selector_all(
        "table[aria-labelledby=bands-m] tbody tr:not([hidden]) small:last-child",
        "parts => parts.map(part => part.innerText)",
    )
    kept, frames = zip(*(map(int, cell.split(" of ")) for cell in cells), strict=True)
    return sum(kept), sum(frames)


def test_a_choice_without_frames_says_so(
    opened: Any, audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    frames = frames_of(200)
    frames = frames[(frames["lens"] == "28 mm") | (frames["captured_at"] > "2024-05-05")]
    page = opened(build_report(audit_of(frames), {}))
    assert page.locator(".nothing:visible").count() == 0
    page.locator("#pick-lens").select_option("35 mm")
    page.locator("#pick-session").select_option("1")
    assert page.locator("#presets .nothing").is_visible()
    assert page.locator("#bands-m ~ .scroll .nothing").first.is_visible()
    page.locator("#pick-lens").select_option("")
    assert page.locator(".nothing:visible").count() == 0


def violations(page: Any) -> list[str]:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    found = axe.Axe().run(page).response
    assert len(found["passes"]) > 10, "axe looked at the page"
    return [
        f"{fault['id']}: {node['html'][:120]}" for fault in found["violations"] for node in fault["nodes"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1600])
def test_axe_finds_no_violation_and_nothing_overflows(
    opened: Any, walked_page: str, scheme: str, width: int
) -> None:
    page = opened(walked_page, width, color_scheme=scheme)
    for name in ("tuning", "advice", "tolerance", "causes", "sessions"):
        assert page.locator(f"#{name} svg:visible").count() == 1, name
    assert violations(page) == []
    page.get_by_label("feet").check()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_page_without_marks_has_no_violation(
    opened: Any, audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    audit = audit_of(frames_of(20, marks=False, distances=False))
    assert violations(opened(build_report(audit, render_charts(audit)))) == []


@pytest.mark.parametrize("sheet", SHEETS)
def test_prints_without_a_cut_table(opened: Any, walked_page: str, sheet: str) -> None:
    page = opened(walked_page, int(SHEETS[sheet]), color_scheme="dark")
    page.emulate_media(media="print")
    wide = page.eval_on_selector_all(
        "table, svg, p, dl, ul",
        "parts => parts.filter(part => part.getBoundingClientRect().right > document.body.clientWidth + 8)"
        ".map(part => part.outerHTML.slice(0, 120))",
    )
    assert wide == []
    assert page.locator("#tuning table").is_visible()
    assert page.locator("#advice table").is_visible()
    ground = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--paper')")
    assert ground.strip() == "#ffffff", "printed light even from a dark screen"
    assert page.locator(".switches").is_hidden()
    assert len(page.pdf(format=sheet)) > 10_000


def test_a_table_cut_by_the_sheet_repeats_its_head(
    opened: Any, tmp_path: Path, audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    many = [(f"preset {n}", "28 mm", 28.0, 8.0, 1.0 + n / 10) for n in range(30)]
    page = opened(build_report(audit_of(frames_of(600, presets=many)), {}))
    page.pdf(path=tmp_path / "report.pdf", format="A4")
    told = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "report.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    sheets = [sheet for sheet in told.split("\f") if re.search(r"preset \d+ · 28.*%.*%", sheet)]
    assert len(sheets) > 1
    assert all("Keepers an hour" in sheet for sheet in sheets)


def test_a_long_chart_fits_its_sheet(
    opened: Any, audit_of: Callable[..., Audit], frames_of: Callable[..., pd.DataFrame]
) -> None:
    many = [(f"preset {n}", "28 mm", 28.0, 8.0, 1.0 + n / 10) for n in range(30)]
    audit = audit_of(frames_of(600, presets=many))
    page = opened(build_report(audit, render_charts(audit, ["presets", "distances"])), int(SHEETS["Letter"]))
    page.emulate_media(media="print")
    heights = page.eval_on_selector_all(
        "figure svg", "parts => parts.map(part => part.getBoundingClientRect().height).filter(Boolean)"
    )
    assert len(heights) == 2
    letter_px = (279.4 - 32) / 25.4 * 96  # between the margins of 16 mm
    assert max(heights) < 0.92 * letter_px, "with room for its caption"


def test_hostile_names_are_text(opened: Any, walked: Audit) -> None:
    names = [
        "<img src=x onerror=alert(1)>.JPG",
        "\"'><svg onload=alert(2)>",
        "\u202egpj.x",
        "\udcff.JPG",
        "n" * 255,
    ]
    audit = replace(walked, problems=[Problem(name, "Bad.", "Mend.") for name in names])
    page = opened(build_report(audit, {}), 360)
    told = page.locator(".problems").inner_text()
    for name in (
        "<img src=x onerror=alert(1)>.JPG",
        "<svg onload=alert(2)>",
        "\\u202egpj.x",
        "\\xff.JPG",
        "n" * 255,
    ):
        assert name in told
    assert page.locator("img").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
