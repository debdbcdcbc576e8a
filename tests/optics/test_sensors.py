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
        ("1x", 36, 24), ("Full Frame", 36, 24), ("full-frame", 36, 24), ("APS-C", 23.6, 15.7),
        ("1 inch", 13.2, 8.8), ("1-inch", 13.2, 8.8), ('1"', 13.2, 8.8), ("1/2.3 inch", 6.17, 4.55),
        ("6x6", 56, 56), ("6x7", 70, 56), ("four thirds", 17.3, 13.0),
    ],
)  # fmt: skip
def test_sensors_are_read(text, width, height):
    sensor = parse_sensor(text)
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((width, height), rel=1e-12)


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_is_read_by_its_name(name):
    assert (parse_sensor(name).width_mm, parse_sensor(name).height_mm) == FORMATS[name]


@pytest.mark.parametrize(
    "text", ["", "36", "36x", "x24", "0x", "-1.5x", "0.5x24", "360x2400", "big", "nanx24", "100x"]
)
def test_what_is_no_sensor_is_refused(text):
    with pytest.raises(UnitError) as caught:
        parse_sensor(text)
    assert caught.value.next_step


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
     "print=30cm,50cm,0", "sharp", "handbook=2"],
)  # fmt: skip
def test_what_is_no_criterion_is_refused(text):
    with pytest.raises(UnitError) as caught:
        parse_criterion(text)
    assert caught.value.next_step


def test_columns_of_sensors_with_unknown_ones():
    diagonals = np.array([FULL_FRAME, np.nan, 28.4])
    for text in ("handbook", "diagonal/1500", "0.025mm", "print", "pixel"):
        coc = parse_criterion(text).coc_mm(diagonals, np.array([0.004, 0.004, 0.003]))
        assert coc.shape == (3,)
        assert np.isnan(coc).tolist() == [False, True, False]
    assert np.isnan(parse_criterion("pixel").coc_mm(diagonals)).all()


def test_the_measured_tolerance_is_for_all_blur_together():
    criterion = measured(0.05)
    np.testing.assert_allclose(
        criterion.coc_mm(FULL_FRAME, other_blur_mm=[0.0, 0.03, 0.04]), [0.05, 0.04, 0.03], rtol=1e-9
    )
    assert np.isnan(criterion.coc_mm(FULL_FRAME, other_blur_mm=0.05))
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
