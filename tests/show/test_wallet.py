"""The wallet card: its true size, its figures, its cues, and several on a sheet."""

from __future__ import annotations

import io
import subprocess
from dataclasses import replace
from pathlib import Path
from shutil import which

import pytest
from PIL import Image

from auditor.advice.lens_decision import Decisions
from auditor.journey import Audit
from auditor.optics.bench import Bench
from auditor.optics.ring_check import find_shift
from auditor.optics.sensors import Sensor, parse_criterion
from auditor.show.card_faces import advised_card, typed_cards
from auditor.show.cards import make_table, remarks
from auditor.show.decided import gather_decision, lenses_of
from auditor.show.wallet import (
    EDGE,
    HEIGHT,
    LEAST_PT,
    LETTER,
    MARGIN,
    PNG_DPI,
    POINT_MM,
    WIDTH,
    draw_sheets,
    wallet_bytes,
)  # fmt: skip


@pytest.fixture(scope="module")
def keeping(walked: Audit) -> Audit:
    """The same archive, where every lens is to be kept as it is."""
    lenses = tuple(
        replace(one, decision=replace(one.decision, kind="keep", setting=None))
        for one in walked.decisions.lenses
    )
    return replace(walked, decisions=Decisions(lenses))


def test_the_card_says_what_was_decided(keeping: Audit) -> None:
    lens = lenses_of(keeping)[0]
    card = advised_card(keeping, lens)
    now = gather_decision(keeping, lens).now
    assert card is not None
    assert now is not None
    assert card.setting == f"f/{now.f_number:g}, ring on {now.focus_distance_m:g} m"
    assert card.near_at < card.far_at
    assert card.back.f_numbers[card.now[1]] == now.f_number
    assert card.back.ring_m[card.now[0]] == pytest.approx(now.focus_distance_m)
    assert [cue.split(",")[0] for cue in card.cues] == ["Level", "Upright"]
    assert "the frame cuts the" in card.cues[0]


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_front_s_limits_lie_inside_the_zone_as_the_table_s_do(units: str) -> None:
    sensor, ring = Sensor(36.0, 24.0), tuple(mark * (1 if units == "m" else 0.3048) for mark in (2, 3, 7))
    bench = Bench(28.0, sensor, parse_criterion("0.03mm"), units=units, ring_m=ring)
    table = make_table(bench, [5.6, 8.0, 11.0], ring, 0.03, (0.03, "0.03mm"))
    (card,) = typed_cards(table)
    assert [end.removesuffix(f" {units}") for end in (card.near, card.far)] == list(table.limits(*card.now))
    scale = 1.0 if units == "m" else 0.3048
    row, column = card.now
    near, far = table.zone.near_limit_m[row, column], table.zone.far_limit_m[row, column]
    assert near <= float(card.near.split()[0]) * scale < near * 1.02
    assert card.far == "∞" or far * 0.98 < float(card.far.split()[0].removeprefix(">")) * scale <= far


def test_a_card_of_a_ring_that_is_off_says_so_beside_the_engraved_scale() -> None:
    shift = find_shift(28.0, [2.0], [2.2])
    bench = Bench(28.0, Sensor(24.0, 16.0), parse_criterion("0.02mm"), ring_m=(1.0, 2.0, 5.0), shift=shift)
    table = make_table(bench, [8.0], bench.ring_m, 0.02, (0.02, "0.02mm"))
    assert table.scale_differs
    assert "Every mark is off, so the engraved scale reads wrong distances" in " ".join(remarks(table))
    plain = make_table(replace(bench, shift=None), [8.0], [2.0], 0.03, (0.03, "0.03mm"))
    assert "Every mark" not in " ".join(remarks(plain))


def test_what_the_frame_shows_fits_on_the_card_and_names_the_ring_as_engraved() -> None:
    ring = tuple(mark * 0.3048 for mark in (7, 10, 15, 30))
    bench = Bench(35.0, Sensor(36.0, 24.0), parse_criterion("0.03mm"), units="ft", ring_m=ring)
    (card,) = typed_cards(make_table(bench, [8.0], ring, 0.03, (0.03, "0.03mm")))
    assert all(cue.endswith("% high at 30 ft.") for cue in card.cues)
    assert max(map(len, card.cues)) <= (WIDTH - 2 * EDGE) / (LETTER * POINT_MM * LEAST_PT)


def test_no_card_where_nothing_can_be_told(walked: Audit, keeping: Audit) -> None:
    lens = lenses_of(walked)[0]
    own = walked.decisions.lenses[0]
    nothing = replace(own, decision=replace(own.decision, kind="cannot_tell", setting=None))
    assert advised_card(replace(walked, decisions=Decisions((nothing,))), lens) is None
    made = [advised_card(keeping, lens) for lens in lenses_of(keeping)]
    assert len(list(filter(None, made))) == len(keeping.decisions.lenses)


@pytest.mark.slow
def test_sheets_are_true_to_size_and_the_same_every_time(keeping: Audit) -> None:
    cards = list(filter(None, (advised_card(keeping, lens) for lens in lenses_of(keeping))))
    png = wallet_bytes(cards[:1], Path("card.png"))
    with Image.open(io.BytesIO(png)) as picture:
        wanted = (2 * (WIDTH + MARGIN), HEIGHT + 2 * MARGIN)
        assert picture.size == pytest.approx(tuple(side / 25.4 * PNG_DPI for side in wanted), abs=2)
    assert (WIDTH, HEIGHT) == (86.0, 54.0)
    assert png == wallet_bytes(cards[:1], Path("card.png"))
    assert wallet_bytes(cards, Path("card.pdf"), "a4") == wallet_bytes(cards, Path("card.pdf"), "a4")
    assert len(draw_sheets(cards * 6, "letter")) == -(-len(cards) * 6 // 4), "four cards on a sheet"


@pytest.mark.skipif(which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_printed_card_reads_as_text(keeping: Audit) -> None:
    card = advised_card(keeping, lenses_of(keeping)[0])
    assert card is not None
    pdf = wallet_bytes([card], Path("card.pdf"), "letter")
    told = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout
    text = told.decode()
    for word in (card.setting, card.near, card.far, card.lens, "ring on", *card.cues):
        assert word in text
