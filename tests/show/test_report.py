"""The page as text: self-contained, well-formed, safe against hostile names, small, true to the audit."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from auditor.errors import Problem
from auditor.intake.people.filling import PictureFacts
from auditor.intake.statements.session import Lens
from auditor.journey import Audit
from auditor.show.outputs import audit_json
from auditor.show.page.hero import draw_hero
from auditor.show.page.view import lens_views, out_of_100
from auditor.show.report import both, build_report, tied
from auditor.text import json_text

VOID = {"meta", "input", "br", "img", "link", "hr", "rect", "line", "path", "circle"}
HOSTILE = [
    "<img src=x onerror=alert(1)>.JPG",
    "\"'><script>alert(1)</script>.JPG",
    "\u202egpj.evil\u2066.JPG",
    "{{ 7 * 7 }}{% raw %}.JPG",
    "n" * 251 + ".JPG",
    "caf\udce9.JPG",
]
Audited = Callable[..., Audit]
Frames = Callable[..., pd.DataFrame]


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


def plain(page: str) -> str:
    """The words of the page in metres, as they are read."""
    body = re.sub(r"<(script|style)\b.*?</\1>|<(span|tspan) class=\"ft\">.*?</\2>", "", page, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ")


def test_page_is_whole(walked_page: str) -> None:
    parsed = outline(walked_page)
    ids = [attributes["id"] for _, attributes in parsed.seen if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert not re.search(r">[^<]*\b(nan|None|undefined)\b", walked_page.split("<script")[0])


def test_page_asks_for_nothing_from_elsewhere(demo_page: str) -> None:
    for tag, attributes in outline(demo_page).seen:
        assert tag not in {"link", "iframe", "object", "embed"}
        for name in ("src", "xlink:href", "action", "srcset"):
            value = attributes.get(name)
            assert value is None or value.startswith(("#", "data:")), (tag, value)
        address = attributes.get("href") or "#"
        assert tag == "a" or address.startswith("#")
        assert not re.match(r"\w+:|/", address), "links are relative"
    assert "@import" not in demo_page
    assert not re.search(r"url\((?!#)", demo_page)


def test_sections_stand_in_the_order_of_the_questions(walked_page: str) -> None:
    found = re.findall(r'<section id="(\w+)"', walked_page)
    assert found == ["next", "walk", "presets", "lost", "sure", "rest"]
    assert re.findall(r'<li><a href="#(\w+)">', walked_page) == found
    firsts = [walked_page.index(word) for word in ("<h1>", 'class="stage"', 'class="cards"')]
    assert firsts == sorted(firsts)


def test_the_demo_page_stays_within_its_words(demo_page: str) -> None:
    """At most 700 words unfolded and 250 up to the first chart, for the lens that is shown first."""
    own = re.sub(
        r'<div data-lens="[1-9]">.*?\n</div>\n(?=<div data-lens|</section>)', "", demo_page, flags=re.S
    )
    own = re.sub(r"<details>.*?</details>", "", own, flags=re.S)
    (shown,) = re.findall(r'id="chip-(0-\w+)" checked', own)
    own = re.sub(rf'<figure data-chip="(?!{shown}").*?</figure>', "", own, flags=re.S)
    alternatives = " ".join(re.findall(r'aria-label="([^"]+)"', own))
    assert len((plain(own) + alternatives).split()) <= 700
    assert len(plain(own.split('<div class="stage">')[0].split("<body>")[1]).split()) <= 250


def test_dots_are_the_frames_at_their_distances(walked: Audit) -> None:
    (view, *_) = lens_views(walked)
    chip = next(one for one in view.chips if not one.key.endswith("new"))
    rows = [row for mark in chip.marks for row in mark.rows]
    assert len(rows) == len(set(rows))
    frames = walked.table.loc[rows]
    kept = (frames["counted_as"] == "keeper").to_numpy()
    assert [mark.kept for mark in chip.marks] == kept.tolist()
    at = np.array([mark.at for mark in chip.marks])
    order = np.argsort(frames["subject_distance_m"].to_numpy(), kind="stable")
    assert (np.diff(at[order]) >= 0).all(), "places are in the order of the distances"
    inside = frames["in_zone"].to_numpy(bool)
    edge = 1 / 64  # a column's width
    assert ((at > chip.near_at - edge) & (at < chip.far_at + edge))[inside].all()
    assert str(int(inside.sum())) in chip.finding
    svg = draw_hero(chip)
    assert svg.count("data-f=") == len(rows)
    assert svg.count('class="kept"') == kept.sum()
    ring = chip.label.rpartition(", ")[2].removesuffix(" m")
    assert [part.label for part in chip.engravings if part.in_use] == [ring]


@pytest.mark.slow
def test_many_frames_are_bars_that_add_up(audit_of: Audited, frames_of: Frames) -> None:
    audit = audit_of(frames_of(1500, presets=[("arcade", "28 mm", 28.0, 8.0, 2.5)]))
    (chip,) = lens_views(audit)[0].chips
    assert chip.bars
    counted = audit.table[audit.table["counted_as"] != "left out"]
    assert sum(mark.level for mark in chip.marks) == len(counted)
    assert sum(mark.level for mark in chip.marks if mark.kept) == audit.counts["keepers"]
    assert max(len(mark.rows) for mark in chip.marks) <= 12
    assert len(build_report(audit).encode()) < 1_500_000


def numbers_of(value: object) -> set[str]:
    """Every way a value of audit.json may be written on the page."""
    out: set[str] = set()
    if isinstance(value, dict):
        out = set().union(*map(numbers_of, value.values())) if value else out
    elif isinstance(value, list):
        out = set().union(*map(numbers_of, value)) if value else out
    elif isinstance(value, bool) or value is None:
        pass
    elif isinstance(value, (int, float)):
        for scale in (1, 100, 1 / 0.3048):
            out |= {f"{abs(value) * scale:.{digits}f}" for digits in range(4)}
            out |= {f"{abs(value) * scale:.3g}"}
        out |= {f"{round(1 / value)}"} if 0 < abs(value) < 1 else set()  # exposure times
    elif isinstance(value, str):
        out |= set(re.findall(r"\d+(?:\.\d+)?", value))
    return out


def test_every_number_on_the_page_is_the_audits(demo: Audit, demo_page: str) -> None:
    """Each figure of the tables of rates and of the fold stands in audit.json, rounded as it is shown."""
    known = numbers_of(json.loads(json_text(audit_json(demo))))
    known |= {number.rstrip("0").rstrip(".") for number in known if "." in number}
    page = re.sub(r"<(script|style)\b.*?</\1>|<svg.*?</svg>", "", demo_page, flags=re.S)
    cells = re.findall(
        r'<td class="number"[^>]*>(.*?)</td>', page.replace('<table class="heat">', "<x>"), re.S
    )
    checked = 0
    for cell in cells:
        for number in re.findall(r"\d+(?:\.\d+)?", re.sub(r"<[^>]+>", " ", cell)):
            assert number in known, (number, cell)
            checked += 1
    assert checked > 200
    for one in demo.decisions.lenses:  # the decision's own figures in the sentences
        if one.next_walk is not None:
            assert f"{one.next_walk.low} to {one.next_walk.high}" in plain(page)
        assert f"{100 * one.level.rate:.0f} of 100" in plain(page)


def test_settings_are_written_as_the_ring_is_engraved_in_either_unit(walked: Audit) -> None:
    ring = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 5.0, math.inf)
    lenses = (Lens("28 mm", 28.0, ring_m=ring), Lens("35 mm", 35.0, ring_m=ring))
    page = build_report(replace(walked, lenses=lenses, settings=walked.settings.changed(units="ft")))
    text = html.unescape(re.sub(r"<style.*?</style>|<[^>]+>", "", page, flags=re.S)).replace("\u00a0", " ")
    found = re.findall(r"(?:at|ring on) ([\d.]+) (m|ft)\b", text)
    assert len(found) > 20
    assert ("8.2", "ft") not in found
    assert ("2.5", "m") in found
    assert not re.findall(r"f/[\d.]+(?: at|, ring on) [\d.]+ ft", text)


def test_walks_stand_in_the_order_of_their_chart(walked: Audit) -> None:
    sessions = walked.sessions.assign(starts_at=walked.sessions["starts_at"].mask(walked.sessions.index == 1))
    page = build_report(replace(walked, sessions=sessions))
    table = page.split('aria-labelledby="sessions-table"', 2)[2].split("</table>")[0]
    order = [int(number) for number in re.findall(r'<th scope="row"[^>]*>(\d+)</th>', table)]
    assert order[0] == sessions["session"].iloc[1]
    assert order[1:] == [one for one in sessions["session"] if one != order[0]]
    assert "Each walk in order of time, rolls without times first;" in page


def test_both_writes_a_text_without_distances_once() -> None:
    assert both(lambda units: "no <distance>") == "no &lt;distance&gt;"
    assert (
        both(lambda units: f"5 {units}") == '<span class="m">5\u00a0m</span><span class="ft">5\u00a0ft</span>'
    )
    assert tied("30 % of 5 m in 2 steps") == "30\u00a0% of 5\u00a0m in 2 steps"


def test_a_hundred_places_are_shared_out_whole() -> None:
    assert out_of_100([194.9, 23.7, 8.4, 5.4, 2.6]) == [83, 10, 4, 2, 1]
    assert sum(out_of_100([1.0, 1.0, 1.0])) == 100


@pytest.mark.slow
def test_hostile_names_and_notes_are_shown_as_text(audit_of: Audited, frames_of: Frames) -> None:
    frames = frames_of(60)
    evil = "<script>alert(1)</script>{{ 1 }} $x$ \"'\u202e"
    frames["lens"] = evil
    frames["preset"] = evil
    frames["reason"] = evil
    audit = audit_of(frames)
    audit = replace(audit, problems=[Problem(name, f"Bad {name}", f"Mend {name}") for name in HOSTILE])
    page = build_report(audit)
    parsed = outline(page)
    assert [tag for tag, _ in parsed.seen].count("script") == 2, "ours alone: the frames, and what moves them"
    assert not any(name.startswith("on") for _, attributes in parsed.seen for name in attributes)
    assert "{{ 1 }}" in page
    page.encode("utf-8")
    data = json.loads(page.split('id="frames">')[1].split("</script>")[0])
    assert "\u202e" not in page + str(data)
    assert "caf\\xe9.JPG" in page
    assert "n" * 251 in page


def test_only_our_script_may_run(walked_page: str) -> None:
    script = walked_page.rsplit("<script>", 1)[1].split("</script>")[0]
    wanted = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{wanted}'" in walked_page


def test_many_problems_are_cut_and_counted(walked: Audit) -> None:
    page = build_report(replace(walked, problems=[Problem(f"{n}.JPG", "Bad.") for n in range(100)]))
    assert page.count("Bad.") == 40
    assert "60 more problems in audit.json." in page


def test_a_statement_that_was_not_followed_stands_above_all(walked: Audit) -> None:
    ignored = Problem("walk/notes.csv", "No such frame: X.", "Mend its name.", ignored=True)
    problems = [Problem("P1.jpg", "Odd."), ignored]
    page = build_report(replace(walked, problems=problems))
    line = page.split('<p class="ignored">')[1].split("</p>")[0]
    assert "walk/notes.csv: No such frame: X. Mend its name." in line
    assert page.index('class="ignored"') < page.index("<header")
    assert 'class="ignored"' not in build_report(replace(walked, problems=problems[:1]))


def test_what_the_pictures_told_is_folded_in(walked: Audit) -> None:
    counts = {
        "frames": 200, "tried": 200, "opened": 190, "previews": 0, "with_face": 80, "chosen": 60,
        "ambiguous": 6, "filled": 40,
    }  # fmt: skip
    near = (("P1010004.jpg", 0.8), ("P1010009.jpg", 1.2))
    facts = PictureFacts(pd.DataFrame(), counts, {"too small": 20}, [], "CenterFace", True, near)
    section = (
        build_report(replace(walked, pictures=facts)).split("Pictures measured")[1].split("</details>")[0]
    )
    assert "40 distances were filled in" in section
    assert "too small (20)" in section
    assert "P1010004.jpg (0.8\u00a0m)" in section
    assert "Pictures measured" not in build_report(walked)


def test_presses_at_a_line_are_drawn_each_once_where_there_is_one(
    demo: Audit, demo_page: str, walked_page: str
) -> None:
    (one,) = demo.lines
    part = demo_page.split("At the line")[1].split("</details>")[0]
    assert part.count("<circle") == len(one.frames)
    assert f"{one.slower} of {one.timed} frames" in plain(part)
    assert "At the line" not in walked_page


def test_settings_choose_the_units_shown_first(walked: Audit) -> None:
    page = build_report(replace(walked, settings=walked.settings.changed(units="ft")))
    assert 'data-units="ft"' in page
    checked = [
        a for tag, a in outline(page).seen if tag == "input" and "checked" in a and a["name"] == "units"
    ]
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
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)  # worked example, from memory


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_letters_and_marks_stand_out_on_every_ground(walked_page: str, scheme: int) -> None:
    """SVG text too, which a checker of pages does not see: 4.5:1 for letters, 3:1 for marks (WCAG 2.2)."""
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", walked_page.split(":root {")[1 + scheme]))
    for ink in ("ink", "muted", "link"):
        for ground in ("paper", "sheet"):
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
    mixed = [
        int(colours["sky"][i : i + 2], 16) * 0.45 + int(colours["paper"][i : i + 2], 16) * 0.55
        for i in (1, 3, 5)
    ]
    assert contrast(colours["ink"], "#" + "".join(f"{round(part):02x}" for part in mixed)) >= 4.5, "heat"
    for mark in ("kept", "not-kept", "sharp", "purple"):
        for ground in ("paper", "zone"):
            assert contrast(colours[mark], colours[ground]) >= 3, (mark, ground)


def test_the_ring_picture_frames_what_cannot_be_told_apart(demo: Audit) -> None:
    seen = 0
    for view in lens_views(demo):
        decided = demo.decisions.of(view.name)
        if decided is None or not view.rings:
            continue
        picture = view.rings[0]
        framed = {
            (picture.stops[row], picture.rings[column])
            for row, cells in enumerate(picture.cells)
            for column, cell in enumerate(cells)
            if cell.alike
        }
        stated = {(f"f/{one.f_number:g}", f"{one.focus_distance_m:g}") for one in decided.decision.latitude}
        assert framed == {one for one in stated if one[1] in picture.rings}
        seen += len(framed)
    assert seen > 1
