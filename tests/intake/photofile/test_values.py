"""Single values at either side of what is believed of them."""

from __future__ import annotations

import math
from datetime import datetime

import pytest

from auditor.intake.photofile.exifvalues import exif_fields
from auditor.intake.photofile.values import clean_text, distance_m, parse_time, positive

NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("pair", "metres"),
    [((10_000, 1), 10_000.0), ((10_001, 1), INF), ((65_534, 1000), 65.534), ((65_535, 1000), INF),
     ((-1, 1), INF),
     ((-2, 1), NAN), ((0, 1), NAN), ((1, 1), 1.0), ((1, 0), NAN), ((5, -1), NAN), ((9998, 100), 99.98),
     ((19_998, 200), INF), ((1, 1000), 0.001)],
)  # fmt: skip
def test_a_distance_is_believed_up_to_ten_kilometres(pair, metres):
    assert distance_m(*pair) == pytest.approx(metres, nan_ok=True)


def test_a_number_is_one_above_zero_and_up_to_its_largest():
    assert [positive(value, 9.0) for value in (1e-9, 9.0)] == [1e-9, 9.0]
    assert all(math.isnan(positive(value, 9.0)) for value in (0.0, -1.0, 9.1, INF, NAN))
    assert positive(1e300) == 1e300
    assert math.isnan(positive(INF))


@pytest.mark.parametrize(
    ("text", "subseconds", "at", "has"),
    [("1826:01:01 00:00:00", None, datetime(1826, 1, 1), False), ("1825:12:31 23:59:59", None, None, False),
     ("2100:12:31 23:59", None, datetime(2100, 12, 31, 23, 59), False),
     ("2101:01:01 00:00:00", None, None, False),
     ("2031:04:05 10:00:00.5", "25", datetime(2031, 4, 5, 10, 0, 0, 500_000), True),
     ("2031:04:05 10:00:00", " 25 ", datetime(2031, 4, 5, 10, 0, 0, 250_000), True),
     ("2031:04:05 10:00:00", "00", datetime(2031, 4, 5, 10), False),
     ("2031:04:05 10:00:00", "000001", datetime(2031, 4, 5, 10, 0, 0, 1), True),
     ("2031:04:05 10:00:00", "12345678", datetime(2031, 4, 5, 10, 0, 0, 123_456), True),
     ("2031:04:05 10:00:00", "x", datetime(2031, 4, 5, 10), False),
     ("2031:02:30 10:00:00", None, None, False),
     ("  2031:04:05 10:00:00", None, datetime(2031, 4, 5, 10), False), (None, "25", None, False)],
)  # fmt: skip
def test_times_are_believed_from_the_first_photograph_on(text, subseconds, at, has):
    assert parse_time(text, subseconds) == (at, has)


def test_a_text_of_dashes_alone_says_nothing():
    assert [clean_text(text) for text in ("-", " -- ", "a-b", "-a", "a\x00b\n", "", None)] == [
        None, None, "a-b", "-a", "a b", None, None,
    ]  # fmt: skip


def exif(**values):
    notes: list[str] = []
    return exif_fields({int(tag[1:], 16): value for tag, value in values.items()}, notes), notes


@pytest.mark.parametrize(
    ("apex", "n"), [(12.0, 64.0), (12.1, NAN), (0.0, NAN), (0.1, 1.0), (6.6, 9.8), (6.64, 10.0), (6.9, 11.0)]
)
def test_an_aperture_value_is_believed_up_to_f_64(apex, n):
    """N is 2 to the half of it (APEX), in two digits."""
    found, notes = exif(x9202=[apex])
    assert found["f_number"] == pytest.approx(n, nan_ok=True)
    assert len(notes) == (not math.isnan(n))


@pytest.mark.parametrize(
    ("value", "stars"), [(0, 0.0), (5, 5.0), (6, NAN), (-1, -1.0), (65_535, -1.0), (65_534, NAN), (99, NAN)]
)
def test_a_rating_has_at_most_five_stars(value, stars):
    found, notes = exif(x4746=[value])
    assert found["rating"] == pytest.approx(stars, nan_ok=True)
    assert bool(notes) == math.isnan(stars)


def test_sides_and_orientations_are_whole_numbers_within_reason():
    found, _ = exif(xA002=[(1 << 31) - 1], xA003=[1 << 31], x0112=[8])
    assert (found["exif_width_px"], found["exif_height_px"], found["orientation"]) == ((1 << 31) - 1, 0, 8)
    found, _ = exif(xA002=[0], xA003=[1], x0112=[9])
    assert (found["exif_width_px"], found["exif_height_px"], found["orientation"]) == (0, 1, 1)


@pytest.mark.parametrize(
    ("tags", "iso"),
    [({"x8827": [400]}, 400.0), ({"x8827": [65_535], "x8832": [102_400]}, 102_400.0),
     ({"x8827": [65_535]}, NAN),
     ({"x8827": [0], "x8831": [800]}, 800.0), ({"x8833": [65_534]}, 65_534.0), ({}, NAN)],
)  # fmt: skip
def test_a_sensitivity_that_is_too_large_for_its_field_is_in_another(tags, iso):
    assert exif(**tags)[0]["iso"] == pytest.approx(iso, nan_ok=True)


@pytest.mark.parametrize(
    ("tags", "fired"),
    [({"x9209": [0x18]}, False), ({"x9209": [0x19]}, True), ({"x9209": [0]}, False),
     ({"xA20B": [(5, 1)]}, True),
     ({"xA20B": [0, 1]}, None), ({}, None), ({"x9209": [0], "xA20B": [5, 1]}, False)],
)  # fmt: skip
def test_the_lowest_bit_says_whether_the_flash_fired(tags, fired):
    tags = {tag: [5, 1] if value == [(5, 1)] else value for tag, value in tags.items()}
    assert exif(**tags)[0]["flash"] is fired


def test_zeros_and_full_fields_are_no_numbers():
    found, _ = exif(x920A=[28, 0], x829A=[0xFFFFFFFF, 1], xA404=[0, 0], xA405=[42])
    assert math.isnan(found["focal_length_mm"])
    assert math.isnan(found["exposure_time_s"])
    assert found["digital_zoom"] == 1.0
    assert found["focal_length_35mm"] == 42.0
    found, _ = exif(x920A=[20_000, 1], xA404=[3, 2], x9206=[250])
    assert (found["focal_length_mm"], found["digital_zoom"], found["focus_distance_m"]) == (
        20_000.0,
        1.5,
        250.0,
    )
    assert math.isnan(exif(x920A=[20_001, 1])[0]["focal_length_mm"])
    assert math.isnan(exif(x9206=[2.5])[0]["focus_distance_m"])


@pytest.mark.parametrize("value", ["28", "ab", "", [], None])
def test_what_is_no_list_of_numbers_is_no_number(value):
    assert math.isnan(exif(x920A=value)[0]["focal_length_mm"])
