"""What the files of one frame say together, from records as the readers give them."""

from __future__ import annotations

from datetime import datetime

import pytest

from auditor.intake.library.facts import gather_facts
from auditor.intake.library.folders import Folder, Found
from auditor.intake.library.grouping import Group
from auditor.intake.photofile.records import FileRecord

NOON = datetime(2031, 4, 5, 12)
NAN = float("nan")


def gathered(*records, sidecars=(), groups=None):
    """Facts of records; unless told otherwise each is a frame of its own."""
    found = Found([Folder("/walk", "walk", None, ())])
    found.pictures.extend((0, f"P101{i:04d}.jpg") for i in range(len(records)))
    found.sidecars.extend((0, f"P101{i:04d}.xmp") for i in range(len(sidecars)))
    groups = [Group([i]) for i in range(len(records))] if groups is None else groups
    return gather_facts(found, records, list(sidecars), groups)


def column(name, *records, **more):
    return gathered(*records, **more).table[name].tolist()


def test_the_crop_factor_is_the_equivalent_over_the_focal_length():
    """Where it means a sensor between a telephone's and medium format."""
    pairs = [(28.0, 42.0), (28.0, NAN), (NAN, 42.0), (4.0, 28.0), (50.0, 1.0), (1.0, 50.0)]
    factors = column("crop_factor", *(FileRecord(focal_length_mm=f, focal_length_35mm=e) for f, e in pairs))
    assert factors == pytest.approx([1.5, NAN, NAN, 7.0, NAN, NAN], nan_ok=True)


def by_plane(width, height, per_mm, stored=None):
    """Sides and pixels by the focal plane."""
    stored_width, stored_height = stored or (width, height)
    record = FileRecord(
        exif_width_px=width, exif_height_px=height, focal_plane_px_per_mm=per_mm,
        stored_width_px=stored_width, stored_height_px=stored_height,
    )  # fmt: skip
    row = gathered(record).table.iloc[0]
    return [row["plane_width_mm"], row["plane_height_mm"], row["plane_pixels"]]


def test_the_sensor_by_the_focal_plane_is_its_pixels_over_their_density():
    assert by_plane(6000, 4000, 250.0) == [24.0, 16.0, 24e6]
    assert by_plane(4000, 6000, 250.0) == [24.0, 16.0, 24e6]  # the longer side is the width
    assert by_plane(6000, 4000, 250.0, stored=(4000, 6000)) == [24.0, 16.0, 24e6]
    assert by_plane(6000, 4000, 250.0, stored=(0, 0)) == [24.0, 16.0, 24e6]


@pytest.mark.parametrize(
    ("width", "height", "per_mm", "stored"),
    [(6000, 4000, NAN, None), (0, 4000, 250.0, (0, 0)), (6000, 0, 250.0, (0, 0)), (0, 0, 250.0, (0, 0)),
     (6000, 4000, 250.0, (3000, 2000)), (6000, 4000, 250.0, (6000, 3375))],
)  # fmt: skip
def test_without_all_of_it_or_of_a_resized_file_the_focal_plane_tells_nothing(width, height, per_mm, stored):
    assert by_plane(width, height, per_mm, stored) == pytest.approx([NAN] * 3, nan_ok=True)


def test_sensors_from_4_to_80_mm_across_are_believed():
    assert by_plane(3200, 2400, 1000.0)[:2] == [3.2, 2.4]  # 4 mm from corner to corner
    assert by_plane(6400, 4800, 100.0)[:2] == [64.0, 48.0]  # 80 mm
    for width, height, per_mm in ((3100, 2400, 1000.0), (6500, 4800, 100.0)):
        assert by_plane(width, height, per_mm) == pytest.approx([NAN] * 3, nan_ok=True)


def test_cameras_of_one_model_are_told_apart_by_their_serial_numbers():
    records = [FileRecord(camera="A", serial=s) for s in ("1f0", "2e0", None)]
    assert column("body", *records) == ["A 1f0", "A 2e0", "A"]
    assert column("model", *records) == ["A", "A", "A"]


def test_one_camera_keeps_its_plain_name():
    """Also where some of its files lack the number, or the model."""
    records = [FileRecord(camera=c, serial=s) for c, s in (("A", "1f0"), ("A", None), ("B", "2e0"))]
    assert column("body", *records) == ["A", "A", "B"]
    assert gathered(FileRecord(serial="1f0"), FileRecord(serial="2e0")).table["body"].isna().all()


@pytest.mark.parametrize(("orientation", "size"), [(1, (9, 4)), (4, (9, 4)), (5, (4, 9)), (8, (4, 9))])
def test_the_size_is_that_of_the_picture_as_seen(orientation, size):
    """Exif 2.32: orientations 5 to 8 lie on their side."""
    record = FileRecord(stored_width_px=9, stored_height_px=4, orientation=orientation)
    row = gathered(record).table.iloc[0]
    assert (row["pixel_width"], row["pixel_height"]) == size


def test_the_size_is_that_of_the_first_file_that_knows_both_sides():
    records = [FileRecord(stored_width_px=60), FileRecord(stored_width_px=30, stored_height_px=20)]
    assert column("pixel_width", *records, groups=[Group([0, 1])]) == [30]
    assert gathered(records[0]).table["pixel_width"].isna().all()


def test_the_distance_is_that_of_exif_before_that_of_xmp():
    """From the file's own tags, else from a sidecar, else from the packet in the file."""
    packet = FileRecord(focus_distance_m=5.0)
    records = [FileRecord(focus_distance_m=2.0, xmp=packet), FileRecord(xmp=packet), FileRecord()]
    groups = [Group([0], [0]), Group([1], [0]), Group([2])]
    facts = gathered(*records, sidecars=[FileRecord(focus_distance_m=3.0)], groups=groups)
    assert facts.table["recorded_distance_m"].tolist() == pytest.approx([2.0, 3.0, NAN], nan_ok=True)
    by = facts.table["recorded_distance_by"]
    assert by.fillna("nobody").tolist() == ["exif", "xmp", "nobody"]


def test_time_and_its_sub_seconds_come_from_the_first_file_with_a_time():
    records = [FileRecord(has_subseconds=True), FileRecord(captured_at=NOON)]
    table = gathered(*records, groups=[Group([0, 1])]).table
    assert table["clock_time"].tolist() == [NOON]
    assert table["has_subseconds"].tolist() == [False]
    assert gathered(records[0]).table["has_subseconds"].isna().all()


def test_marks_are_kept_apart_by_where_they_stand():
    picture = FileRecord(rating=1.0, xmp=FileRecord(rating=2.0, label="Red"))
    row = gathered(picture, sidecars=[FileRecord(rating=3.0)], groups=[Group([0], [0])]).table.iloc[0]
    assert [row[f"{kind}_rating"] for kind in ("exif", "embedded", "sidecar")] == [1.0, 2.0, 3.0]
    assert row["embedded_label"] == "Red"
    assert row["sidecar_label"] is None or row["sidecar_label"] != row["sidecar_label"]


def test_what_cannot_be_read_is_named_and_costs_no_other_file():
    """A frame whose picture is damaged still counts by its sidecar; without one it is no frame."""
    records = [FileRecord(error="damaged"), FileRecord(error="empty"), FileRecord(camera="A")]
    sidecars = [FileRecord(camera="B"), FileRecord(error="not well-formed")]
    facts = gathered(*records, sidecars=sidecars, groups=[Group([0], [0]), Group([1], [1]), Group([2])])
    assert facts.table["file"].tolist() == ["walk/P1010000.jpg", "walk/P1010002.jpg"]
    assert facts.table["model"].tolist() == ["B", "A"]
    assert (facts.unreadable, facts.merged) == (2, 0)
    assert [(problem.file, problem.what) for problem in facts.problems] == [
        ("walk/P1010000.jpg", "damaged"),
        ("walk/P1010001.jpg", "empty"),
        ("walk/P1010001.xmp", "The sidecar cannot be read: not well-formed."),
    ]


def test_files_that_joined_a_frame_are_counted():
    records = [FileRecord(camera="A"), FileRecord(), FileRecord(error="empty"), FileRecord()]
    facts = gathered(*records, groups=[Group([0, 1, 2]), Group([3])])
    assert facts.merged == 1
    assert facts.table["files"].tolist() == [
        "walk/P1010000.jpg|walk/P1010001.jpg|walk/P1010002.jpg",
        "walk/P1010003.jpg",
    ]


def test_of_a_frames_files_the_first_that_knows_a_thing_tells_it():
    records = [
        FileRecord(f_number=8.0),
        FileRecord(lens="28 mm", f_number=4.0),
        FileRecord(lens="x", iso=100.0),
    ]
    row = gathered(*records, groups=[Group([0, 1, 2])]).table.iloc[0]
    assert (row["recorded_f_number"], row["recorded_lens"], row["iso"]) == (8.0, "28 mm", 100.0)
