"""The sensor's size as an archive tells it; every distance from a share hangs on its height.

A lens of focal length f frames like one of F on 36x24 mm where the sensor is smaller by the crop factor F/f
(Exif 2.32, FocalLengthIn35mmFilm); the sizes below are hand arithmetic from that.
"""

from __future__ import annotations

from datetime import datetime

import pytest

from auditor.journey import run_scan
from auditor.settings import Request

NOON = datetime(2031, 4, 5, 12)


@pytest.mark.parametrize(
    ("focal_length_mm", "equivalent_mm", "width_mm", "height_mm"),
    [(28.0, 42, 24.0, 16.0), (20.0, 40, 18.0, 12.0), (50.0, 50, 36.0, 24.0), (70.0, 56, 45.0, 30.0)],
)
def test_width_and_height_follow_from_the_35_mm_equivalent(
    photo, tmp_path, focal_length_mm, equivalent_mm, width_mm, height_mm
):
    for minute in range(3):
        photo(
            tmp_path / "walk" / f"WALK{minute:04d}.jpg",
            NOON.replace(minute=minute),
            focal_length_mm=focal_length_mm,
            focal_length_35mm=equivalent_mm,
        )
    table = run_scan(Request(sources=(tmp_path / "walk",))).archive.table
    assert table["sensor_width_mm"].tolist() == pytest.approx([width_mm] * 3, rel=1e-6)
    assert table["sensor_height_mm"].tolist() == pytest.approx([height_mm] * 3, rel=1e-6)
    assert table["sensor_source"].tolist() == ["exif"] * 3


def test_a_distance_from_a_share_counts_by_the_sensors_height(photo, tmp_path):
    """A person of 1,755 mm on half of a 16 mm high picture through 28 mm stands 6.17 m away.

    Image of 8 mm: magnification 8/1755, distance from the lens f (1 + 1/m) = 28 x (1 + 219.4) mm = 6.170 m.
    The mean stature of men in ANSUR II is 1,756 mm and of women 1,629 mm; either sex lies between.
    """
    photo(tmp_path / "w" / "WALK0001.jpg", NOON, focal_length_mm=28.0, focal_length_35mm=42, f_number=8.0)
    (tmp_path / "w" / "notes.csv").write_text("file,standing_share\nWALK0001,0.5\n", "utf-8")
    table = run_scan(Request(sources=(tmp_path / "w",))).archive.table
    assert 28e-3 * (1 + 1629 / 8) < table["subject_distance_m"].iloc[0] < 28e-3 * (1 + 1756 / 8) + 0.06
