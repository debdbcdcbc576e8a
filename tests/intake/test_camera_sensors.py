"""Which sensor a camera has, from what its files record and people state."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.intake.camera_sensors import find_sensors
from auditor.intake.library.facts import fact_table
from auditor.optics.sensors import Sensor

NAN = float("nan")
CROP = Sensor(24.0, 16.0)


def sensors(n=None, stated=None, by=None, focal=50.0, **columns):
    """Sensors of frames of one camera ``A`` unless told otherwise."""
    n = n or max(len(values) for values in columns.values())
    facts = fact_table({"file": [f"P101{i:04d}" for i in range(n)], "body": ["A"] * n} | columns)
    said, source = np.full(n, stated, dtype=object), np.full(n, by, dtype=object)
    return find_sensors(facts, said, source, np.broadcast_to(np.asarray(focal, float), n))


def test_the_size_that_most_files_record_is_every_frames():
    """Equivalents are rounded: crops of 1.48 to 1.52 are one size, and more than the six of 2.0."""
    crops = [1.5] * 3 + [1.48] * 2 + [1.52] * 2 + [2.0] * 6 + [NAN]
    found = sensors(crop_factor=crops)
    assert found.width_mm.tolist() == [24.0] * 14
    assert found.height_mm.tolist() == [16.0] * 14
    assert set(found.source) == {"exif"}


def test_of_sizes_alike_in_number_the_smaller_sensor_is_taken():
    assert sensors(crop_factor=[1.5, 2.0, 2.0, 1.5]).width_mm.tolist() == [18.0] * 4


def test_of_sizes_within_rounding_the_most_frequent_is_taken():
    assert sensors(crop_factor=[1.5, 1.48, 1.5, 1.52]).width_mm.tolist() == [24.0] * 4


def test_without_a_record_36_by_24_is_assumed():
    found = sensors(2)
    assert (found.width_mm.tolist(), found.height_mm.tolist()) == ([36.0] * 2, [24.0] * 2)
    assert found.source.tolist() == ["assumed"] * 2
    assert not found.problems


@pytest.mark.parametrize(
    ("width", "focal", "is_refused"),
    [(36.0, 9.9, True), (36.0, 10.0, False), (36.0, NAN, False), (35.4, 8.0, True), (34.5, 8.0, False),
     (24.0, 8.0, False), (44.0, 8.0, True)],
)  # fmt: skip
def test_no_sensor_of_full_size_has_a_lens_below_10_mm(width, focal, is_refused):
    """Full size begins 3 % below that of 36 by 24 mm."""
    found = sensors(1, crop_factor=[36 / width], focal=focal)
    assert (found.source[0] == "unknown") == np.isnan(found.width_mm[0]) == is_refused
    stated = sensors(1, Sensor(width, width / 1.5), "session", focal=focal)
    assert stated.source[0] == "session"
    assert stated.width_mm[0] == width


def plane(width_mm, pixels, n=1):
    columns = {"plane_width_mm": width_mm, "plane_height_mm": width_mm / 1.5, "plane_pixels": pixels}
    return {name: [value] * n for name, value in columns.items()}


def joined(*parts):
    return {name: [value for part in parts for value in part[name]] for name in parts[0]}


@pytest.mark.parametrize(("pixels", "counts"), [(23.52e6, True), (23.51e6, False), (6e6, False)])
def test_only_pictures_of_the_cameras_full_size_tell_its_focal_plane(pixels, counts):
    """At least 98 % of the pixels of its largest picture; a resized one has kept the pixels' density."""
    found = sensors(**joined(plane(36.0, 24e6), plane(30.0, pixels, 3)))
    assert found.width_mm.tolist() == [30.0 if counts else 36.0] * 4


def test_the_largest_picture_may_be_one_without_a_focal_plane():
    columns = joined(plane(18.0, 6e6, 2), plane(NAN, NAN))
    found = sensors(**columns, pixel_width=[3000, 3000, 6000], pixel_height=[2000, 2000, 4000])
    assert found.source.tolist() == ["assumed"] * 3


def test_another_cameras_pictures_do_not_count():
    columns = joined(plane(18.0, 6e6), plane(36.0, 24e6))
    found = sensors(**columns, body=["A", "B"])
    assert found.width_mm.tolist() == [18.0, 36.0]


def test_a_file_without_a_cameras_name_speaks_for_itself_alone():
    found = sensors(**joined(plane(18.0, 6e6), plane(30.0, 24e6), plane(NAN, NAN)), body=[None] * 3)
    assert found.width_mm.tolist() == [18.0, 30.0, 36.0]
    assert found.source.tolist() == ["exif", "exif", "assumed"]


def test_what_people_state_wins_and_holds_for_the_whole_camera():
    stated, by = np.full(3, None, dtype=object), np.array(["session", None, None], dtype=object)
    stated[0] = CROP
    found = sensors(crop_factor=[1.0] * 3, stated=stated, by=by)
    assert found.width_mm.tolist() == [24.0] * 3
    assert found.source.tolist() == ["session"] * 3


def test_two_statements_of_one_camera_are_named_and_each_holds_where_it_stands():
    stated, by = np.array([CROP, Sensor(36.0, 24.0), CROP], dtype=object), np.full(3, "session", dtype=object)
    found = sensors(3, stated, by)
    assert found.width_mm.tolist() == [24.0, 36.0, 24.0]
    (problem,) = found.problems
    assert "different sensors of A: 24x16 and 36x24 mm" in problem.what
    assert problem.frames == 3
    assert not sensors(3, CROP, "session").problems


def test_a_frame_tables_word_is_its_own_rows_alone():
    stated, by = np.array([CROP, None], dtype=object), np.array(["exif", None], dtype=object)
    found = sensors(2, stated, by)
    assert found.width_mm.tolist() == [24.0, 36.0]
    assert found.source.tolist() == ["exif", "assumed"]


def test_files_that_differ_by_more_than_a_tenth_are_named():
    """A crop of 1.5 means 28.8 mm across; 1.4 is 7 % more, 1.2 25 %, and 1.7 12 % less."""
    assert not sensors(crop_factor=[1.5, 1.5, 1.4]).problems
    (problem,) = sensors(crop_factor=[1.5, 1.5, 1.5, 1.2, 1.7]).problems
    assert problem.what.startswith("The 35 mm-equivalent of 2 of 5 frames of A gives a sensor diagonal of ")
    assert problem.frames == 2
    assert problem.next
    (problem,) = sensors(**plane(36.0, 24e6, 2), stated=CROP, by="session").problems
    assert problem.what.startswith("The focal plane resolution of 2 of 2 frames of A ")
    assert problem.what.endswith("a sensor diagonal of 43.3 mm; 28.8 mm was used.")
    assert not problem.next
