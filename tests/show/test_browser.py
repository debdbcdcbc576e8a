"""The page in a real browser: silent, private, usable by mouse and keyboard, accessible, printable."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from auditor.errors import Problem
from auditor.journey import Audit
from auditor.show.report import build_report

pytestmark = pytest.mark.slow
MOST_STOPS = 40
LOOKS = {  # width and what the browser says of its reader
    "light": (1200, {}),
    "dark": (1200, {"color_scheme": "dark"}),
    "forced colours": (1200, {"forced_colors": "active"}),
    "360 px": (360, {}),
    "320 px": (320, {"color_scheme": "dark"}),
    "200 % zoom": (600, {"device_scale_factor": 2}),
}


@pytest.fixture
def opened(chromium: Any, tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Open a page's text; at the end of the test it must have been silent and asked for nothing."""
    noise: list[str] = []
    asked: list[str] = []
    contexts = []

    def open_page(text: str, width: int = 1200, **options: Any) -> Any:
        path = tmp_path / "report.html"
        path.write_text(text, encoding="utf-8")
        context = chromium.new_context(viewport={"width": width, "height": 800}, **options)
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
    assert {url for url in asked if not url.endswith("/report.html") and not url.startswith("data:")} == set()


def shown_text(page: Any) -> str:
    return str(page.inner_text("main")).replace("\u00a0", " ")


def unfold(page: Any) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true })")


def violations(page: Any) -> list[str]:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    found = axe.Axe().run(page).response["violations"]
    return [f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}" for one in found]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_units_and_lenses_change_everything(opened: Any, demo: Audit, demo_page: str, script: bool) -> None:
    page = opened(demo_page, java_script_enabled=script)
    first, second = (one.lens for one in demo.decisions.lenses)
    near_m = re.search(r"sharp from ([\d.]+) m\b", re.sub(r"\s+", " ", shown_text(page)))
    assert near_m, "the answer says from where on it is sharp"
    page.get_by_label("ft", exact=True).check(force=True)
    near_ft = re.search(r"sharp from ([\d.]+) ft\b", re.sub(r"\s+", " ", shown_text(page)))
    assert near_ft
    assert float(near_ft[1]) * 0.3048 == pytest.approx(float(near_m[1]), rel=0.01)
    assert " m " not in re.sub(r"\s+", " ", page.locator("h1:visible").inner_text())
    one = shown_text(page)
    page.get_by_label(second, exact=True).check(force=True)
    other = shown_text(page)
    assert page.locator("h1:visible").count() == 1
    assert "aisle" in one
    assert "aisle" not in other, "no preset of another lens is left on the page"
    page.get_by_label(first, exact=True).check(force=True)
    assert shown_text(page) == one


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_chips_choose_the_frames(opened: Any, demo_page: str, script: bool) -> None:
    page = opened(demo_page, java_script_enabled=script)
    assert page.locator("figure:visible .stage").count() == 1
    before = page.locator("figure:visible figcaption").inner_text()
    page.locator(".chips:visible input").nth(1).check(force=True)
    assert page.locator("figure:visible .stage").count() == 1
    assert page.locator("figure:visible figcaption").inner_text() != before


def test_frames_are_reached_by_keyboard_and_by_pointer(opened: Any, demo_page: str) -> None:
    page = opened(demo_page)
    stage = page.locator(".stage:visible")
    assert stage.get_attribute("role") == "slider"
    stage.focus()
    told = page.locator(".look:visible").inner_text()
    assert re.search(r"\.jpg\s+\d", told)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.locator(".look:visible").inner_text() != told
    assert stage.get_attribute("aria-valuenow") == "3"
    assert ".jpg" in str(stage.get_attribute("aria-valuetext"))
    page.keyboard.press("End")
    last = page.locator(".look:visible").inner_text()
    assert page.locator(".look:visible img").count() == 1
    page.locator(".stage:visible [data-f]").first.hover(force=True)
    assert page.locator(".look:visible").inner_text() != last
    address = page.locator(".look:visible a").get_attribute("href")
    assert address.startswith("../") or not address.startswith(("/", "file:"))


@pytest.mark.parametrize("look", LOOKS)
def test_no_violation_folded_or_unfolded(opened: Any, demo_page: str, look: str) -> None:
    width, options = LOOKS[look]
    page = opened(demo_page, width, **options)
    assert violations(page) == []
    unfold(page)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.get_by_label("ft", exact=True).check(force=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_thin_pages_have_no_violation(opened: Any, thin: dict[str, Audit]) -> None:
    for audit in thin.values():
        page = opened(build_report(audit), 360)
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_demo_fits_four_screens_and_three_sheets(opened: Any, demo_page: str, tmp_path: Path) -> None:
    page = opened(demo_page)
    assert page.evaluate("document.documentElement.scrollHeight") <= 4 * 800
    page.pdf(path=tmp_path / "report.pdf", format="A4")
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    told = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "report.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    assert told.count("\f") <= 3
    for word in ("No preset surely keeps more", "How sure is this?"):
        assert word in told
    assert "Walks over time" not in told, "folded parts stay folded"


def test_the_demo_has_few_tab_stops_in_the_order_of_the_page(opened: Any, demo_page: str) -> None:
    page = opened(demo_page)
    seen = []
    for _ in range(MOST_STOPS + 5):
        page.keyboard.press("Tab")
        at = page.evaluate(
            "() => { const part = document.activeElement; if (part === document.body) return null;"
            " const box = part.getBoundingClientRect();"
            " const all = [...document.querySelectorAll('*')];"
            " return [all.indexOf(part), part.closest('section')?.id ?? 'bar',"
            " box.top + scrollY]; }"
        )
        if at is None or at[0] in {one[0] for one in seen}:
            break
        seen.append(at)
    assert 10 < len(seen) <= MOST_STOPS
    order = [section for _, section, _ in seen]
    assert [name for name in dict.fromkeys(order) if name != "bar"] == ["next", "walk", "rest"]


def test_readers_hear_the_page_in_its_order(opened: Any, demo_page: str) -> None:
    page = opened(demo_page)
    tree = page.locator("body").aria_snapshot()
    wanted = [
        'link "To the answer"', "navigation", "radio", "heading", "slider", 'heading "What to change',
        "table", 'heading "How sure', 'heading "Everything else',
    ]  # fmt: skip
    places = []
    for word in wanted:
        places.append(tree.index(word, places[-1] if places else 0))
    assert places == sorted(places)
    assert len(re.findall(r'heading "[^"]*" \[level=1\]', tree)) == 1


@pytest.mark.parametrize("kind", ["deuteranopia", "protanopia", "tritanopia", "achromatopsia"])
def test_kept_and_not_kept_differ_to_every_eye(opened: Any, demo_page: str, kind: str) -> None:
    """The browser's own emulation; what is told apart by colour is told by fill and side too."""
    page = opened(demo_page)
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": kind})
    import io

    from PIL import Image

    def middle(selector: str) -> tuple[int, ...]:
        part = page.locator(f".stage:visible {selector}").first
        picture = Image.open(io.BytesIO(part.screenshot())).convert("RGB")
        return picture.getpixel((picture.width // 2, picture.height // 2))  # type: ignore[return-value]

    kept, left = middle("circle.kept"), middle("circle.not-kept")
    assert sum(abs(a - b) for a, b in zip(kept, left, strict=True)) > 150, "solid against hollow"


def test_the_smallest_letters_stay_readable_on_a_telephone(opened: Any, demo_page: str) -> None:
    page = opened(demo_page, 320)
    unfold(page)
    sizes = page.evaluate(
        "[...document.querySelectorAll('svg text, small, .note, td, figcaption')]"
        ".filter(part => part.getClientRects().length)"
        ".map(part => parseFloat(getComputedStyle(part).fontSize))"
    )
    assert min(sizes) >= 9


def test_labels_of_the_ring_never_touch(opened: Any, demo_page: str) -> None:
    for width in (320, 1200):
        page = opened(demo_page, width)
        boxes = page.evaluate(
            "[...document.querySelectorAll('.stage')].filter(stage => stage.getClientRects().length)"
            ".flatMap(stage => [...stage.querySelectorAll('text.ring')]"
            ".filter(text => text.getClientRects().length)"
            ".map(text => { const box = text.getBoundingClientRect(); return [box.left, box.right]; }))"
        )
        assert len(boxes) > 3
        assert all(one[1] < other[0] for one, other in pairwise(boxes))


def test_hostile_names_are_text(opened: Any, walked: Audit) -> None:
    names = [
        "<img src=x onerror=alert(1)>.JPG",
        "\"'><svg onload=alert(2)>",
        "\u202egpj.x",
        "\udcff.JPG",
        "n" * 255,
    ]
    audit = replace(walked, problems=[Problem(name, "Bad.", "Mend.") for name in names])
    page = opened(build_report(audit), 360)
    unfold(page)
    told = page.locator(".problems").inner_text()
    for name in (names[0], "<svg onload=alert(2)>", "\\u202egpj.x", "\\xff.JPG", names[4]):
        assert name in told
    assert page.locator("img").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_tables_in_the_fold_sort_by_mouse_and_by_keyboard(opened: Any, walked_page: str) -> None:
    page = opened(walked_page)
    unfold(page)
    table = page.locator("table[aria-labelledby=presets-table]")
    head = table.locator("th", has_text="Hit rate")

    def shown() -> list[float]:
        return [
            float(cell.get_attribute("data-sort")) for cell in table.locator("tbody td:nth-child(3)").all()
        ]

    head.get_by_role("button").click()
    assert shown() == sorted(shown(), reverse=True)
    assert head.get_attribute("aria-sort") == "descending"
    head.get_by_role("button").focus()
    page.keyboard.press("Enter")
    assert shown() == sorted(shown())
