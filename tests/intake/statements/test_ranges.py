"""Which values are taken, at the ends of what is allowed, and what is said of those beyond."""

from __future__ import annotations

import math
from datetime import date, datetime, time

import numpy as np
import pytest

from auditor.errors import UnitError
from auditor.intake.statements.notes import NOTE_READERS, SAMPLE_READERS
from auditor.intake.statements.ranges import RANGES, NotAllowedError, any_text, number, one_of, out_of_range
from auditor.intake.statements.session_values import SCHEMA

INF, NAN = math.inf, math.nan


def test_a_number_lies_between_both_ends_and_these_belong_to_it():
    read = number(1, 5, "from 1 to 5")
    assert [read(1), read(2.5), read(5)] == [1.0, 2.5, 5.0]
    for wrong in (0.999, 5.001, "3", True, NAN, None):
        with pytest.raises(NotAllowedError, match="a number from 1 to 5"):
            read(wrong)
    with pytest.raises(NotAllowedError):
        number(0, INF, "from zero up")(INF)
    assert one_of("yes", "no")("no") == "no"
    with pytest.raises(NotAllowedError, match='"yes" or "no"; did you mean'):
        one_of("yes", "no")("noo")
    assert any_text(" a ") == "a"
    for wrong in ("", "  ", 3):
        with pytest.raises(NotAllowedError):
            any_text(wrong)


def test_a_range_leaves_out_its_lower_end_and_takes_its_upper_one():
    values = np.array([-1.0, 0.0, 1e-9, 10_000.0, 10_000.1, INF, -INF, NAN])
    inside = [False, False, True, True, False, False, False, False]
    assert RANGES["f_number"].holds(values).tolist() == inside
    far = RANGES["focus_distance_m"].holds(np.array([0.0, 1e6, 1.1e6, INF, -INF, NAN]))
    assert far.tolist() == [False, True, False, True, False, False]


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("focus_distance", 1e7, "above 0, at most 1e+06 or inf"),
        ("focus_distance", INF, ""),
        ("f_number", 0, "above 0, at most 10000"),
        ("f_number", NAN, ""),  # unknown is not wrong
        ("f_number", "wide", ""),
        ("f_number", True, ""),
        ("reason", 3.0, ""),
    ],
)
def test_what_is_allowed_is_told_only_of_a_figure_beyond_it(name, value, allowed):
    assert out_of_range(name, value) == allowed


def taken(read, value):
    try:
        return read(value)
    except (NotAllowedError, UnitError):
        return None


@pytest.mark.parametrize(
    ("table", "key", "value", "read"),
    [
        ("advice", "worth", "1000%", 10.0),
        ("advice", "worth", "1001%", None),
        ("advice", "worth", "2.5 %", 0.025),
        ("advice", "worth", "0%", None),
        ("advice", "worth", "nan%", None),
        ("advice", "worth", "10", None),
        ("advice", "worth", 10, None),
        ("camera", "clock_offset", "-3155760000s", -3155760000.0),  # 100 years of 365.25 days
        ("camera", "clock_offset", "3155760000s", 3155760000.0),
        ("camera", "clock_offset", "3155760001s", None),
        ("preset", "f_number", 8, 8.0),
        ("preset", "f_number", "8", 8.0),
        ("preset", "f_number", 5.6, 5.6),
        ("preset", "f_number", True, None),
        ("preset", "f_number", [8], None),
        ("lens", "f_stops", [8, 2.8], (2.8, 8.0)),
        ("lens", "f_stops", 8, None),
        ("lens", "f_stops", "fifth", None),
        ("lens", "ring", ["inf", "1m"], (1.0, INF)),
        ("marks", "markers", ["P1"], ("P1",)),
        ("marks", "markers", "P1", None),
        ("subject", "speed_m_s", 0, 0.0),
        ("subject", "speed_m_s", INF, None),
        ("subject", "guess_sd", 0, None),
        ("stretch", "from", datetime(2031, 4, 5, 14, 5), "2031-04-05 14:05:00"),
        ("stretch", "from", date(2031, 4, 5), "2031-04-05"),
        ("stretch", "from", time(14, 5), "14:05:00"),
        ("stretch", "from", 1405, None),
    ],
)
def test_a_session_files_values_at_their_limits(table, key, value, read):
    assert taken(SCHEMA[table][key][1], value) == read


def test_a_lenss_tables_are_one_or_a_list_of_those_with_every_key():
    read = SCHEMA["lens"]["ring_check"][1]
    (check,) = read({"mark": "2m", "focuses": "2.2m"})
    assert (check.mark_m, check.focuses_m) == (2.0, 2.2)
    assert len(read([{"mark": "2m", "focuses": "2.2m"}] * 2)) == 2
    for wrong in ({"mark": "2m"}, {"mark": "2m", "focuses": "2m", "by": "tape"}, "2m", [3]):
        with pytest.raises(NotAllowedError, match="mark = "):
            read(wrong)


@pytest.mark.parametrize(
    ("column", "cell", "read"),
    [
        ("standing_share", "100%", 1.0),
        ("standing_share", "100.1%", None),
        ("standing_share", "1", None),  # perhaps 1 %
        ("standing_share", "0.999", 0.999),
        ("standing_share", "0", None),
        ("standing_share", "-5%", None),
        ("subject_distance_sd", "500%", 5.0),
        ("subject_distance_sd", "5", 5.0),
        ("subject_distance_sd", "5.1", None),
        ("sharp_shown_px", "1", 1.0),
        ("sharp_shown_px", "0.99", None),
        ("sharp_shown_px", "1000000", 1e6),
        ("sharp_shown_px", "1000001", None),
        ("sharp_shown_px", "50%", None),
        ("subject_distance", "2m; 3m;", (2.0, 3.0)),
        ("sharp", " Yes ", "yes"),
        ("sharp", "perhaps", None),
    ],
)
def test_cells_of_the_notes_at_their_limits(column, cell, read):
    assert taken(NOTE_READERS[column], cell) == read


def test_a_sample_weight_is_above_nought():
    read = SAMPLE_READERS["sample_weight"]
    assert (taken(read, "0"), taken(read, "0.5"), taken(read, "1e12")) == (None, 0.5, 1e12)
    assert taken(read, "50%") is None
