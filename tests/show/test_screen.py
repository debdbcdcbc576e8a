"""The screen: one order, 60 columns, whole numbers, and tables that give way column by column."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from auditor.errors import Problem, SettingError
from auditor.journey import Audit
from auditor.show.page.view import lens_views
from auditor.show.screen import chart, isolated, show_answer
from auditor.show.terminal import show_audit, show_distances, show_presets, show_problems, view_of
from auditor.show.text_tables import Column, blocks, grid
from auditor.show.words import next_time, steps


def said(write: object, width: int = 100) -> list[str]:
    out = io.StringIO()
    write(Console(file=out, width=width, highlight=False, markup=False))  # type: ignore[operator]
    return out.getvalue().splitlines()


def test_the_answer_comes_first_and_fits_sixty_columns(walked: Audit) -> None:
    views = lens_views(walked)
    lines = said(lambda out: show_answer(views[0], "m", out))
    headline = next_time.headline(views[0].decided)
    assert " ".join(lines[: len(lines)]).startswith(headline[:40])
    assert max(map(len, lines)) <= 60 or steps.step(views[0].decided, ()).command in max(lines, key=len)
    labels = [line.split("  ")[0] for line in lines if line[:1].isupper() and "  " in line]
    order = ["Instead", "Blur", "Next walk", "How sure"]
    assert [label for label in labels if label in order] == [name for name in order if name in labels]


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_chart_counts_every_dot_and_puts_the_ring_under_the_zone(walked: Audit, units: str) -> None:
    chip = next(one for one in lens_views(walked)[0].chips if one.now)
    lines = chart(chip, units)
    assert max(map(len, lines)) <= 60
    ring, zone = (next(line for line in lines if line.startswith(name)) for name in ("ring", "sharp"))
    assert zone.index("█") <= ring.index("▲") <= zone.rindex("█")
    assert chip.near.in_units(units) in lines[0]


def test_tables_lose_whole_columns_and_never_a_figure() -> None:
    columns = [Column("preset", left=True), Column("rate"), Column("interval", 1), Column("frames", 2)]
    rows = [
        ["the long way round the market hall", "37 %", "28–48 %", "31 of 83"],
        ["b", "5 %", "1–9 %", "2 of 40"],
    ]
    for width in range(12, 100):
        lines = list(grid(columns, rows, width))
        assert not any("…" in line for line in lines)
        for line in lines[1:]:
            assert line.count("%") in (0, 1, 2, 3)
        held = [name for name in ("frames", "interval", "rate") if name in lines[0]]
        assert held == ["frames", "interval", "rate"][3 - len(held) :]
    told = list(blocks(columns, rows))
    assert "  interval  28–48 %" in told


@pytest.mark.parametrize("units", ["m", "ft"])
@pytest.mark.parametrize("width", [60, 72, 100])
def test_tables_of_an_audit_fit_where_they_are_shown(walked: Audit, units: str, width: int) -> None:
    audit = replace(walked, settings=walked.settings.changed(units=units))
    lines = said(lambda out: (show_presets(audit, out), show_distances(audit, out)), width)
    assert max(map(len, lines)) <= width
    assert not any("…" in line for line in lines)


def test_a_cut_list_of_problems_names_where_the_rest_stands(walked: Audit) -> None:
    problems = [Problem(f"{n}.JPG", "Bad.") for n in range(10)]
    assert (
        said(lambda out: show_problems(problems, out))[-1]
        == "– and 2 more: the report of auditor audit lists them."
    )
    whole = replace(walked, problems=problems)
    lines = said(lambda out: show_audit(whole, lens_views(whole), out))
    assert lines[-1] == "– and 2 more: audit.json and the report list them all."


def test_cautions_are_not_on_every_run(walked: Audit) -> None:
    views = lens_views(walked)
    assert not any("local law" in line for line in said(lambda out: show_audit(walked, views, out)))
    full = said(lambda out: show_audit(walked, views, out, full=True))
    assert sum("local law" in line for line in full) == 1


def test_a_lens_is_chosen_by_name_or_by_focal_length(walked: Audit) -> None:
    views = lens_views(walked)
    assert view_of(views, None) is views[0]
    assert view_of(views, "35mm").name == "35 mm"
    assert view_of(views, "28 MM").name == "28 mm"
    with pytest.raises(SettingError, match="'8mm'"):
        view_of(views, "8mm")
    named = replace(views[0], decided=replace(views[0].decided, lens="my old one"))
    assert view_of([named], f"{named.decided.bench.focal_length_mm:g}mm") is named


def test_names_that_run_from_right_to_left_do_not_turn_their_neighbours() -> None:
    assert isolated("at שוק ישן, f/8") == "at \u2068שוק ישן\u2069, f/8"
    assert isolated("arcade · f/8") == "arcade · f/8"
