"""First side: what books print. One test for each row of tests/authorities, and one for each file's head."""

from __future__ import annotations

import pytest

from tests.optics.authority import FOLDER, HEADINGS, approximate, ours, rows

ROWS = rows()
IDS = [f"{row.source}-{row.id}" for row in ROWS]


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_our_value_against_the_print(row):
    assert ours(row) == pytest.approx(row.published, rel=0, abs=row.allowed * (1 + 1e-9)), row.why
    assert row.ours_within is None or row.why, "a tolerance other than the printed rounding needs its reason"


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_the_print_follows_from_its_inputs_by_the_formula_that_the_row_names(row):
    if row.formula == "-":
        assert row.rounding == "no"
        if row.quantity != "shutter_speed":
            assert abs(ours(row) - row.published) > row.step / 2, "this row agrees: say so in the file"
        return
    value = approximate(row) if row.formula == "approx" else ours(row)
    if row.rounding == "truncated":
        assert -1e-9 <= value - row.published < row.step
    elif row.quantity not in ("best_f_number", "near_sensor", "far_sensor", "extension_stops"):
        assert value == pytest.approx(row.published, rel=0, abs=max(row.step / 2, 1e-12))


def test_there_are_enough_rows_and_most_agree():
    printed = [row for row in ROWS if row.formula != "-"]
    assert len(ROWS) >= 60
    assert len(printed) >= 45


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.csv")), ids=lambda path: path.stem)
def test_every_file_names_its_source(path):
    head = [line for line in path.read_text("utf-8").splitlines() if line.startswith("#")]
    for heading in HEADINGS:
        assert any(line.startswith(f"# {heading}: ") for line in head), heading


def test_the_motion_table_amounts_to_one_smear():
    """Why 0.065 mm: the smear that every cell of the table allows lies within 15 % of it."""
    cells = [row for row in ROWS if row.quantity == "shutter_speed"]
    smears = [0.065 * ours(row) / row.published for row in cells]
    assert len(cells) == 12
    assert min(smears) > 0.065 / 1.15
    assert max(smears) < 0.065 * 1.2
