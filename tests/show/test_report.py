"""The page as text: self-contained, well-formed, safe against hostile names, small."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from auditor.errors import Problem
from auditor.intake.people.filling import PictureFacts
from auditor.journey import Audit
from auditor.show import filter_tables
from auditor.show.charts import render_charts
from auditor.show.report import both, build_report, tied
from auditor.text import printable

VOID = {"meta", "input", "br", "img", "link", "hr"}
HOSTILE = [
    "<img src=x onerror=alert(1)>.JPG",
    "\"'><script>alert(1)</script>.JPG",
    "\u202egpj.evil\u2066.JPG",
    "{{ 7 * 7 }}{% raw %}.JPG",
    "n" * 251 + ".JPG",
    "caf\udce9.JPG",
]


class Outline(HTMLParser):
    """Elements in order, with a check that every one is closed where it should be."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, self.getpos()


def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    parser.close()
    assert not parser.open
    return parser


Audited = Callable[..., Audit]
Frames = Callable[..., pd.DataFrame]


def page_of(audit: Audit) -> str:
    return build_report(audit, render_charts(audit))


@pytest.mark.parametrize(
    "state", [{}, {"marks": False}, {"distances": False}, {"marks": False, "distances": False}]
)
def test_page_is_whole_in_every_state(audit_of: Audited, frames_of: Frames, state: dict[str, bool]) -> None:
    page = page_of(audit_of(frames_of(60, **state)))
    parsed = outline(page)
    ids = [attributes["id"] for _, attributes in parsed.seen if "id" in attributes]
    assert len(ids) == len(set(ids))
    for word in ("nan", "None", "undefined"):
        assert not re.search(rf">[^<]*\b{word}\b", page.split("<script>")[0]), word
    assert [tag for tag, _ in parsed.seen if tag == "h1"] == ["h1"]


def test_page_asks_for_nothing_from_elsewhere(walked_page: str) -> None:
    page = walked_page
    for tag, attributes in outline(page).seen:
        assert tag not in {"link", "iframe", "object", "embed"}
        for name in ("src", "href", "xlink:href", "action", "srcset"):
            value = attributes.get(name)
            assert value is None or value.startswith(("#", "data:")), (tag, value)
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_every_distance_stands_in_both_units(walked_page: str) -> None:
    page = walked_page
    assert '<span class="m">arcade · 28\u00a0mm f/8 at 2.5\u00a0m</span>' in page
    assert '<span class="ft">arcade · 28\u00a0mm f/8 at 8.2\u00a0ft</span>' in page
    bare = re.sub(
        r'<(svg|span|div) [^>]*class="(m|ft)\b.*?</\1>|<table.*?</table>|<style>.*?</style>',
        "",
        page,
        flags=re.S,
    )
    assert not re.search(r"\d\u00a0(m|ft)\b(?!/s)", bare), "a speed has one unit"


def test_both_writes_a_text_without_distances_once() -> None:
    assert both(lambda units: "no <distance>") == "no &lt;distance&gt;"
    assert (
        both(lambda units: f"5 {units}") == '<span class="m">5\u00a0m</span><span class="ft">5\u00a0ft</span>'
    )


def test_figures_stay_with_their_units() -> None:
    assert tied("30 % of 5 m in 2 steps") == "30\u00a0% of 5\u00a0m in 2 steps"


def test_sections_stand_in_the_order_of_the_questions(walked_page: str) -> None:
    found = re.findall(r'<section id="(\w+)"', walked_page)
    assert found == [
        "verdict", "presets", "distances", "causes", "frames", "tuning", "tolerance", "advice", "sessions",
        "fallout", "method", "glossary",
    ]  # fmt: skip
    advice = walked_page.split('<section id="advice"')[1].split("</section>")[0]
    assert "The next walk" in advice
    assert "alternate" in advice.split("The next walk")[1]


def sentences(page: str) -> list[str]:
    """What the page says once in metres, without tables, pictures, captions and the script."""
    skipped = r"<(svg|table|style|script|figcaption|dl)\b.*?</\1>|<span class=\"ft\">.*?</span>"
    text = re.sub(skipped, "", page, flags=re.S)
    blocks = re.findall(r"<(p|li)\b[^>]*>(.*?)</\1>", text, flags=re.S)
    plain = (re.sub(r"<[^>]+>", "", block).strip() for _, block in blocks)
    return [part for block in plain for part in re.split(r"(?<=[.?]) (?=[A-Z])", block) if len(part) > 45]


@pytest.mark.parametrize("state", [{}, {"marks": False}, {"distances": False}, {"n": 20}])
def test_nothing_is_said_twice(audit_of: Audited, frames_of: Frames, state: dict[str, object]) -> None:
    said = sentences(build_report(audit_of(frames_of(**({"n": 200} | state))), {}))
    captions = {sentence for sentence in said if "with 95" in sentence}  # a table for each unit has the same
    rest = [sentence for sentence in said if sentence not in captions and "was chosen" not in sentence]
    assert len(rest) > 5
    assert sorted(rest) == sorted(set(rest))


def test_what_the_pictures_told_has_a_section(walked: Audit) -> None:
    counts = {
        "frames": 200, "tried": 200, "opened": 190, "previews": 0, "with_face": 80, "chosen": 60,
        "ambiguous": 6, "filled": 40,
    }  # fmt: skip
    near = (("P1010004.jpg", 0.8), ("P1010009.jpg", 1.2))
    facts = PictureFacts(pd.DataFrame(), counts, {"too small": 20}, [], "CenterFace", True, near)
    page = build_report(replace(walked, pictures=facts), {})
    outline(page)
    section = page.split('<section id="measured"')[1].split("</section>")[0]
    assert "40 distances were filled in" in section
    assert "too small (20)" in section
    assert "about 9\u00a0%" in section
    assert "P1010004.jpg (0.8\u00a0m)" in section
    assert "faced the camera" in section
    assert 'id="measured"' not in build_report(walked, {})


def test_small_presets_are_together_in_every_table(audit_of: Audited, frames_of: Frames) -> None:
    audit = audit_of(frames_of(20))
    small = audit.presets[audit.presets["frames"] < 5]
    assert len(small) > 1
    table = build_report(audit, {}).split('aria-labelledby="bands-m"')[2].split("</table>")[0]
    names = re.findall(r'<th scope="row">(.*?)</th>', table)
    assert not set(names) & set(small["preset"])
    assert names[-1] == "other"


def test_a_large_archive_offers_its_latest_sessions(walked: Audit, monkeypatch: pytest.MonkeyPatch) -> None:
    pairs = walked.table.groupby("session")["preset"].nunique()
    monkeypatch.setattr(filter_tables, "MOST_PAIRS", int(pairs.iloc[-1]))
    page = build_report(walked, {})
    assert "Session (the latest 1)" in page
    assert set(re.findall(r'data-of-session="(\d*)"', page)) == {"", str(pairs.index[-1])}


def test_the_distance_chart_says_which_presets_it_shows(audit_of: Audited, frames_of: Frames) -> None:
    many = [(f"preset {n}", "28 mm", 28.0, 8.0, 1.0 + n / 10) for n in range(15)]
    assert "Shown are the 12 most used of 15 presets" in page_of(audit_of(frames_of(400, presets=many)))


def test_hostile_names_and_notes_are_shown_as_text(audit_of: Audited, frames_of: Frames) -> None:
    frames = frames_of(60)
    evil = "<script>alert(1)</script>{{ 1 }} $x$ \"'"
    frames["lens"] = evil
    frames["preset"] = evil
    audit = audit_of(frames)
    audit = replace(audit, problems=[Problem(name, f"Bad {name}", f"Mend {name}") for name in HOSTILE])
    page = page_of(audit)
    parsed = outline(page)
    assert [tag for tag, _ in parsed.seen].count("script") == 1, "ours alone"
    assert not any(name.startswith("on") for _, attributes in parsed.seen for name in attributes)
    assert "{{ 1 }}" in page
    page.encode("utf-8")
    assert "\u202e" not in page
    assert "caf\\xe9.JPG" in page
    assert "n" * 251 in page


def test_hostile_signs_become_codes() -> None:
    assert printable("a\u202eb\x00\udce9\n") == "a\\u202eb\\u0000\\xe9\\u000a"
    assert printable("Füße · 漢字 🙂") == "Füße · 漢字 🙂"


def test_only_our_script_may_run(walked_page: str) -> None:
    import base64
    import hashlib

    page = walked_page
    script = page.split("<script>")[1].split("</script>")[0]
    wanted = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{wanted}'" in page


def test_many_problems_are_cut_and_counted(walked: Audit) -> None:
    audit = replace(walked, problems=[Problem(f"{n}.JPG", "Bad.") for n in range(100)])
    page = build_report(audit, {})
    assert page.count("Bad.") == 40
    assert "60 more problems in audit.json." in page


def test_thirty_presets_and_many_frames_stay_small(audit_of: Audited, frames_of: Frames) -> None:
    many = [(f"preset {n}", "28 mm", 28.0, 8.0, 1.0 + n / 10) for n in range(30)]
    frames = frames_of(50_000, presets=many)
    page = page_of(audit_of(frames))
    assert len(page.encode()) < 5_000_000


def test_settings_choose_the_units_shown_first(audit_of: Audited, frames_of: Frames) -> None:
    page = build_report(audit_of(frames_of(20), units="ft"), {})
    assert 'data-units="ft"' in page
    checked = [a for tag, a in outline(page).seen if tag == "input" and "checked" in a]
    assert [a["value"] for a in checked] == ["ft"]


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_agrees_with_the_published_extremes() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: ratios range from 1 to 21
    assert contrast("#767676", "#ffffff") == pytest.approx(
        4.54, abs=0.005
    )  # common worked example, from memory


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_contrast_enough(scheme: str, walked_page: str) -> None:
    """WCAG 2.2: text 4.5 to 1 (1.4.3), what carries meaning in pictures 3 to 1 (1.4.11)."""
    blocks = re.findall(r":root \{(.*?)\}", walked_page, flags=re.S)
    colours = dict(re.findall(r"(--[\w-]+): (#\w{6})", blocks[0]))
    if scheme == "dark":
        colours |= dict(re.findall(r"(--[\w-]+): (#\w{6})", blocks[1]))
    for ground in ("--paper", "--sheet"):
        for text in ("--ink", "--muted", "--link"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for mark in ("--kept", "--not-kept"):
        assert contrast(colours[mark], colours["--paper"]) >= 3, mark


def test_nothing_is_said_of_causes_on_a_tolerance_that_does_not_carry(
    audit_of: Audited, frames_of: Frames
) -> None:
    audit = audit_of(frames_of(20))
    assert audit.tolerance.fitted
    assert not audit.tolerance.carries
    page = page_of(audit)
    assert "Blur accounts" not in page
    assert "Frames to look at" not in page
    assert "nothing rests on it" in page
