"""Sensor sizes and criteria, as typed."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from auditor.errors import FileFormatError, SettingError, SourceError, UnitError
from auditor.optics.sensors import FORMATS, measured, parse_criterion, parse_sensor

FULL_FRAME = math.hypot(36, 24)


@pytest.mark.parametrize(
    ("text", "width", "height"),
    [
        ("36x24", 36, 24), ("36 × 24 mm", 36, 24), ("23.5mm x 15.6mm", 23.5, 15.6), ("1.5x", 24, 16),
        ("1x", 36, 24), ("Full Frame", 36, 24), ("full-frame", 36, 24), ("4/3 inch", 17.3, 13.0),
        ("1 inch", 13.2, 8.8), ("1-inch", 13.2, 8.8), ('1"', 13.2, 8.8), ("1/2.3 inch", 6.17, 4.55),
        ("6x6", 56, 56), ("6x7", 70, 56), ("6x9", 84, 56), ("6x4.5", 56, 41.5), ("44x33", 43.8, 32.9),
    ],
)  # fmt: skip
def test_sensors_are_read(text, width, height):
    sensor = parse_sensor(text)
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((width, height), rel=1e-12)


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_is_read_by_its_name(name):
    assert (parse_sensor(name).width_mm, parse_sensor(name).height_mm) == FORMATS[name]


@pytest.mark.parametrize(
    "text", ["", "36", "36x", "x24", "0x", "-1.5x", "0.5x24", "360x2400", "big", "nanx24", "100x", "APS-C"]
)
def test_what_is_no_sensor_is_refused(text):
    with pytest.raises(UnitError) as caught:
        parse_sensor(text)
    assert caught.value.next_step


def test_the_sizes_of_all_formats():
    """Usual sizes in mm, typed in once more, from memory."""
    small = {
        "1 inch": (13.2, 8.8), "4/3 inch": (17.3, 13.0), "2/3 inch": (8.8, 6.6), "1/1.7 inch": (7.6, 5.7),
        "1/2.3 inch": (6.17, 4.55),
    }  # fmt: skip
    large = {
        "44x33": (43.8, 32.9),
        "6x4.5": (56.0, 41.5),
        "6x6": (56.0, 56.0),
        "6x7": (70.0, 56.0),
        "6x9": (84.0, 56.0),
    }
    assert {**small, **large, "full frame": (36.0, 24.0), "half frame": (24.0, 18.0)} == FORMATS


def test_no_format_is_named_after_a_consortium():
    """Names are sizes, or words of the trade: full and half frame."""
    words = set("".join(char if char.isalpha() else " " for char in " ".join(FORMATS)).split())
    assert words == {"full", "half", "frame", "inch", "x"}


def test_rollfilm_names_are_the_sizes_between_the_film_gates():
    """On film 61 mm wide: 56 mm across it, and 41.5, 56, 70 or 84 along it (from memory)."""
    along = {"6x4.5": 41.5, "6x6": 56.0, "6x7": 70.0, "6x9": 84.0}
    for name, length in along.items():
        assert sorted((parse_sensor(name).width_mm, parse_sensor(name).height_mm)) == sorted((56.0, length))
    assert parse_sensor("44x33").diagonal_mm == pytest.approx(54.8, abs=0.05)


def test_a_crop_factor_compares_diagonals():
    assert FULL_FRAME / parse_sensor("1.5x").diagonal_mm == pytest.approx(1.5, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "name", "coc_mm"),
    [
        ("handbook", "handbook", FULL_FRAME / 1442),
        (" Handbook ", "handbook", FULL_FRAME / 1442),
        ("diagonal/1500", "diagonal/1500", FULL_FRAME / 1500),
        ("0.025mm", "0.025mm", 0.025),
        ("25 µm", "0.025mm", 0.025),
        ("print", "print=25.4cm,25cm,5", 0.2 * 36 / 254),  # 0.2 mm on a print 10 inches wide
        ("print=36cm", "print=36cm,25cm,5", 0.2 * 36 / 360),
        ("print=36cm,50cm", "print=36cm,50cm,5", 0.4 * 36 / 360),
        ("print=36cm,50cm,10", "print=36cm,50cm,10", 0.2 * 36 / 360),
        ("print=60cm,1m", "print=60cm,100cm,5", 0.8 * 36 / 600),  # 0.2 mm at 25 cm is 0.8 mm at 1 m
        ("print=2ft, 4ft", "print=60.96cm,121.92cm,5", 0.2 * 1219.2 / 250 * 36 / 609.6),
        ("print=60cm,1m,crop=50%", "print=60cm,100cm,5,crop=50%", 0.8 * 18 / 600),
        ("web=2048", "web=2048", 36 / 1024),  # two of 2048 pixels
        ("web=2048, crop=50 %", "web=2048,crop=50%", 18 / 1024),
        ("pixel", "pixel", 0.004),
        ("pixel=2.5", "pixel=2.5", 0.010),
    ],
)
def test_criteria_are_read(text, name, coc_mm):
    criterion = parse_criterion(text)
    assert criterion.name == name
    assert criterion.source
    assert float(criterion.coc_mm(FULL_FRAME, 0.004)) == pytest.approx(coc_mm, rel=1e-9)
    assert float(criterion.coc_mm(FULL_FRAME, 0.004, width_mm=36.0)) == pytest.approx(coc_mm, rel=1e-9)
    assert parse_criterion(criterion.name).name == name, "a name can be typed again"


@pytest.mark.parametrize(
    "text",
    ["", "0.025", "-0.03mm", "diagonal/0", "diagonal/x", "diagonal/nan", "pixel=0", "print=30",
     "print=1cm,2cm,3,4",
     "print=30cm,50cm,0", "print=inf", "web", "web=0", "web=2048,30cm", "web=2048,crop=0%",
     "web=2048,crop=120%", "print=60cm,crop=50", "print=60cm,crop=50%,crop=60%", "crop=50%", "sharp",
     "handbook=2"],
)  # fmt: skip
def test_what_is_no_criterion_is_refused(text):
    with pytest.raises(UnitError) as caught:
        parse_criterion(text)
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("text", "long_side"), [("print", "25.4 cm"), ("print=36cm", "36 cm"), ("print=60cm,1m", "60 cm")]
)
def test_a_print_is_named_by_its_long_side_in_centimetres(text, long_side):
    criterion = parse_criterion(text)
    assert f"a print {long_side} long" in criterion.source
    assert criterion.name.startswith(f"print={long_side.replace(' ', '')},")


def test_a_print_is_as_long_as_the_sensor_is_wide():
    """A 6x6 frame printed 56 cm long is enlarged ten times: 0.2 mm on it are 0.02 mm on the film."""
    coc = parse_criterion("print=56cm").coc_mm(parse_sensor("6x6").diagonal_mm, width_mm=56.0)
    assert float(coc) == pytest.approx(0.02, rel=1e-9)


def test_the_interval_of_a_measured_tolerance_is_read(tmp_path):
    path = tmp_path / "audit.json"
    path.write_text(json.dumps({"tolerance": {"blur_mm": 0.048, "low": 0.04, "high": 0.07}}), "utf-8")
    assert parse_criterion(f"measured={path}").interval_mm == (0.04, 0.07)
    path.write_text(json.dumps({"tolerance": {"blur_mm": 0.048, "low": 0.04, "high": None}}), "utf-8")
    assert parse_criterion(f"measured={path}").interval_mm is None


def test_columns_of_sensors_with_unknown_ones():
    diagonals = np.array([FULL_FRAME, np.nan, 28.4])
    for text in ("handbook", "diagonal/1500", "0.025mm", "print", "pixel"):
        coc = parse_criterion(text).coc_mm(diagonals, np.array([0.004, 0.004, 0.003]))
        assert coc.shape == (3,)
        assert np.isnan(coc).tolist() == [False, True, False]
    assert np.isnan(parse_criterion("pixel").coc_mm(diagonals)).all()


def test_a_criterion_without_a_size_is_unknown():
    """No sensor and no pixel is so small that all blur is too much."""
    assert np.isnan(parse_criterion("handbook").coc_mm([0.0, np.nan, FULL_FRAME])).tolist() == [
        True,
        True,
        False,
    ]
    assert np.isnan(parse_criterion("pixel").coc_mm(FULL_FRAME, [0.0, np.nan, 0.004])).tolist() == [
        True, True, False,
    ]  # fmt: skip


def test_the_measured_tolerance_is_for_all_blur_together():
    criterion = measured(0.05)
    np.testing.assert_allclose(
        criterion.coc_mm(FULL_FRAME, other_blur_mm=[0.0, 0.03, 0.04]), [0.05, 0.04, 0.03], rtol=1e-9
    )
    assert np.isnan(criterion.coc_mm(FULL_FRAME, other_blur_mm=0.05))
    assert np.isnan(criterion.coc_mm([FULL_FRAME, np.nan])).tolist() == [False, True]
    with pytest.raises(SettingError):
        parse_criterion("measured").coc_mm(FULL_FRAME)


def test_the_tolerance_of_an_audit_is_read(tmp_path):
    path = tmp_path / "audit.json"
    path.write_text(json.dumps({"tolerance": {"blur_mm": 0.048, "low": 0.04}}), "utf-8")
    assert float(parse_criterion(f"measured={path}").coc_mm(FULL_FRAME)) == pytest.approx(0.048, rel=1e-12)


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"tolerance": null}', '{"tolerance": {"blur_mm": null}}',
                '{"tolerance": {"blur_mm": -1}}',
                '{"tolerance": {"blur_mm": NaN}}', '{"tolerance": {"blur_mm": true}}'],
)  # fmt: skip
def test_an_audit_without_a_tolerance_is_refused(tmp_path, content):
    path = tmp_path / "audit.json"
    path.write_text(content, "utf-8")
    with pytest.raises(FileFormatError) as caught:
        parse_criterion(f"measured={path}")
    assert str(path) in caught.value.what


def test_an_audit_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(SourceError):
        parse_criterion(f"measured={tmp_path / 'nothing.json'}")
