"""Archives that hold too little: the page says the right next step, and nothing that it cannot know."""

from __future__ import annotations

import re

import pytest

from auditor.journey import Audit
from auditor.show.page.view import lens_views
from auditor.show.report import build_report
from auditor.show.words import next_time, steps

pytestmark = pytest.mark.slow

HEADLINES = {  # what helps most, in the order of trust: distances, verdicts on sharpness, marks
    "no marks": "Judge all 46 frames for sharpness to learn what to set",
    "no distances": "Measure all 46 distances to learn what to set",
    "nothing": "Measure all 29 distances to learn what to set",
    "twenty frames": "Walk once more to learn what to set",
}


@pytest.mark.parametrize("state", HEADLINES)
def test_the_headline_says_what_would_bring_an_answer(thin: dict[str, Audit], state: str) -> None:
    view = lens_views(thin[state])[0]
    assert next_time.headline(view.decided) == HEADLINES[state]
    step = steps.step(view.decided, thin[state].sources)
    once_more = state == "twenty frames"  # each of them has its distance
    assert step.command.startswith("auditor prepare ") is not once_more
    assert step.cost == ("one walk" if once_more else "about ten minutes")


def test_without_marks_it_says_how_many_stood_in_the_zone_and_how_marks_come_in(
    thin: dict[str, Audit],
) -> None:
    audit = thin["no marks"]
    view = lens_views(audit)[0]
    own = audit.table[audit.table["lens"] == view.name]
    inside = int(own["in_zone"].sum())
    said = " ".join((next_time.expect(view.decided), *next_time.sure(view.decided)))
    assert f"{inside} of {len(own)} subjects measured stood in the sharp zone." in said
    assert "--keepers" in said
    assert "no subject distance" not in said.lower()
    assert all(mark.kept is None for chip in view.chips for mark in chip.marks)
    assert sum(len(chip.marks) for chip in view.chips) == len(own), "every frame is still a dot"


def test_without_distances_the_zones_stand_and_nothing_is_drawn_in_them(thin: dict[str, Audit]) -> None:
    view = lens_views(thin["no distances"])[0]
    assert view.chips
    assert not any(chip.marks for chip in view.chips)
    assert "No frame here has a subject distance" in view.chips[0].finding
    assert view.rings == ()
    assert not view.causes


def test_one_preset_is_compared_with_nothing(thin: dict[str, Audit]) -> None:
    (view,) = lens_views(thin["one preset"])
    assert view.presets_title.startswith("One preset: ")
    assert view.differences == ()
    assert 'class="tabs chips"' not in build_report(thin["one preset"])


def test_of_three_lenses_each_has_its_own_next_step(thin: dict[str, Audit]) -> None:
    views = {view.name: view for view in lens_views(thin["one lens of three"])}
    assert set(views) == {"28 mm", "50 mm", "21 mm"}
    for name in ("50 mm", "21 mm"):
        assert next_time.headline(views[name].decided).startswith("Measure all ")
    assert "Measure" not in next_time.headline(views["28 mm"].decided)


@pytest.mark.parametrize("state", [*HEADLINES, "one preset", "one lens of three"])
def test_no_thin_page_shows_a_hole(thin: dict[str, Audit], state: str) -> None:
    page = build_report(thin[state])
    for word in ("nan", "None", "undefined"):
        assert not re.search(rf">[^<]*\b{word}\b", page.split('<script type="application/json"')[0]), word
    for section in re.findall(r'href="#(\w+)">', page.split("</nav>")[0]):
        assert f'<section id="{section}"' in page
