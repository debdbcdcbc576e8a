"""What Exif values mean: every special value that files are known to hold, and every way a file can be bad.

Meanings from Exif 2.32 as transcribed by the W3C Exif vocabulary and the AndroidX ExifInterface
documentation; findings in camera files are called so.
"""

from __future__ import annotations

import hashlib
import math
import os
import random
import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from auditor.intake import metadata, opening
from auditor.intake.metadata import PICTURE_SUFFIXES, read_file
from auditor.intake.records import FileRecord
from tests.intake import builders as b
from tests.intake.worst import MADE, WORST_PICTURES

NO = 0xFFFFFFFF


@pytest.fixture
def read(tmp_path: Path) -> Any:
    """Reads a JPEG with these tags, in both byte orders, which must agree."""

    def write_and_read(exif: Any = (), ifd0: Any = ()) -> FileRecord:
        records = []
        for order in "<>":
            path = tmp_path / f"{len(os.listdir(tmp_path))}.jpg"
            path.write_bytes(b.jpeg(b.tiff(ifd0, exif, order)))
            records.append(read_file(path))
        assert repr(records[0]) == repr(records[1])
        assert records[0].error is None
        return records[0]

    return write_and_read


@pytest.mark.parametrize(
    ("pair", "metres"),
    [
        ((NO, 1), math.inf),  # the standard's infinity
        ((NO, NO), math.inf),  # reduced to 1/1 by a fraction: one metre
        ((NO, 1000), math.inf),  # reduced to 858993459/200
        ((0, 1), math.nan),  # the standard's unknown
        ((0, 0), math.nan),
        ((5, 0), math.nan),
        ((65535, 1000), math.inf),  # a 16-bit value that is full; found in a camera file
        ((9999, 100), math.inf),  # the end of a camera's scale; found in a camera file
        ((9990, 100), 99.9),
        ((123, 1000), 0.123),
        ((335, 10), 33.5),
        ((2_000_000, 1), math.inf),  # no scale ends there
    ],
)
def test_subject_distance(pair: tuple[int, int], metres: float, read: Any) -> None:
    record = read({b.DISTANCE: (b.RATIONAL, pair)})
    assert record.focus_distance_m == pytest.approx(metres, rel=1e-12, nan_ok=True)


@pytest.mark.parametrize(
    ("pair", "metres"), [((-1, 1), math.inf), ((-1, -1), math.inf), ((-5, 1), math.nan), ((5, 2), 2.5)]
)
def test_subject_distance_in_signed_form(pair: tuple[int, int], metres: float, read: Any) -> None:
    """TIFF/EP lists the tag as signed, where infinity reads as -1."""
    record = read({b.DISTANCE: (b.SRATIONAL, pair)})
    assert record.focus_distance_m == pytest.approx(metres, nan_ok=True)


@pytest.mark.parametrize("tag", [b.FOCAL_LENGTH, b.F_NUMBER, b.EXPOSURE_TIME])
@pytest.mark.parametrize("pair", [(0, 10), (0, 0), (50, 0), (NO, 1), (NO, NO), (0, 16777216)])
def test_rationals_without_a_number_are_unknown(tag: int, pair: tuple[int, int], read: Any) -> None:
    record = read({tag: (b.RATIONAL, pair)})
    assert math.isnan(record.focal_length_mm)
    assert math.isnan(record.f_number)
    assert math.isnan(record.exposure_time_s)


def test_plain_numbers(read: Any) -> None:
    record = read(
        {
            b.FOCAL_LENGTH: (b.RATIONAL, (346, 32)),
            b.F_NUMBER: (b.RATIONAL, (71, 10)),
            b.EXPOSURE_TIME: (b.RATIONAL, (10, 64000)),
            b.FOCAL_35: (b.SHORT, 27),
            b.ZOOM: (b.RATIONAL, (15, 10)),
            b.WIDTH: (b.SHORT, 4288),
            b.HEIGHT: (b.LONG, 2848),
        },
        {b.ORIENTATION: (b.SHORT, 6)},
    )
    assert record.focal_length_mm == pytest.approx(10.8125, rel=1e-12)
    assert record.f_number == pytest.approx(7.1, rel=1e-12)
    assert record.exposure_time_s == pytest.approx(1 / 6400, rel=1e-12)
    assert (record.focal_length_35mm, record.digital_zoom) == (27, 1.5)
    assert (record.exif_width_px, record.exif_height_px, record.orientation) == (4288, 2848, 6)


@pytest.mark.parametrize(("kind", "value"), [(b.SHORT, 8), (b.LONG, 8), (11, b"\x00\x00\x00\x41"), (9, 8)])
def test_numbers_of_another_type_are_read(kind: int, value: Any, tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(
        b.jpeg(
            b.tiff({}, {b.F_NUMBER: (kind, value), b.ISO: (b.SHORT, 100)}).replace(
                b"\x0b\x00\x04\x00\x00\x00", b"\x0b\x00\x01\x00\x00\x00"
            )
        )
    )  # four bytes are one float
    assert read_file(path).f_number == 8.0


def test_a_number_stored_as_text_is_absent_and_noted(read: Any) -> None:
    record = read({b.F_NUMBER: (b.ASCII, "f/8"), b.ISO: (b.SHORT, 100)})
    assert math.isnan(record.f_number)
    assert "0x829D" in record.notes[0]


@pytest.mark.parametrize(
    ("apex", "n"),
    [
        ((4, 1), 4.0),
        ((6918863, 1000000), 11.0),  # 2 log2 11 = 6.9189
        ((252, 100), 2.4),  # cut short beside FNumber 240/100 (check-values: Exif example)
        ((1695994, 1000000), 1.8),  # 2 log2 1.8 = 1.6960
        ((0, 100), math.nan),
        ((5, 0), math.nan),
        ((40, 1), math.nan),
    ],
)
def test_aperture_value_stands_in_for_a_missing_f_number(apex: Any, n: float, read: Any) -> None:
    record = read({b.APERTURE_VALUE: (b.RATIONAL, apex), b.ISO: (b.SHORT, 100)})
    assert record.f_number == pytest.approx(n, rel=1e-12, nan_ok=True)
    assert bool(record.notes) == (not math.isnan(n))


@pytest.mark.parametrize(("recorded", "n"), [((0, 10), math.nan), ((56, 10), 5.6)])
def test_aperture_value_never_overrules_an_f_number(recorded: Any, n: float, read: Any) -> None:
    """An f-number of 0 is the word of a body that does not know its lens."""
    record = read({b.F_NUMBER: (b.RATIONAL, recorded), b.APERTURE_VALUE: (b.RATIONAL, (4, 1))})
    assert record.f_number == pytest.approx(n, nan_ok=True)


@pytest.mark.parametrize(
    ("tags", "iso"),
    [
        ({b.ISO: (b.SHORT, 400)}, 400),
        ({b.ISO: (b.SHORT, [200, 400])}, 200),  # two values, found in a camera file
        ({b.ISO: (b.SHORT, [200, 400, 800])}, 200),
        ({b.ISO: (b.SHORT, 0)}, math.nan),
        ({b.ISO: (b.SHORT, 65535)}, math.nan),
        ({b.ISO: (b.SHORT, 65535), 0x8831: (b.LONG, 102400)}, 102400),
        ({b.ISO: (b.SHORT, 65535), 0x8832: (b.LONG, 204800)}, 204800),
        ({b.ISO: (b.SHORT, 65535), 0x8833: (b.LONG, 409600)}, 409600),
        ({b.ISO: (b.SHORT, 400), 0x8832: (b.LONG, 800)}, 400),
        ({0x8832: (b.LONG, 800)}, 800),
    ],
)
def test_iso(tags: Any, iso: float, read: Any) -> None:
    assert read(tags).iso == pytest.approx(iso, nan_ok=True)


@pytest.mark.parametrize(
    ("unit", "px_per_mm"),
    [(2, 4000 / 25.4), (3, 400.0), (4, 4000.0), (5, 4_000_000.0), (1, math.nan), (None, 4000 / 25.4)],
)
@pytest.mark.parametrize("tags", [(b.PLANE_RESOLUTION, b.PLANE_UNIT), (0x920E, 0x9210)])
def test_focal_plane_resolution(unit: int | None, px_per_mm: float, tags: tuple[int, int], read: Any) -> None:
    """Units 2 inch and 3 cm are the standard's, 4 mm and 5 micrometre are met; without one it is inch."""
    exif = {tags[0]: (b.RATIONAL, (8000, 2))}
    if unit is not None:
        exif[tags[1]] = (b.SHORT, unit)
    assert read(exif).focal_plane_px_per_mm == pytest.approx(px_per_mm, rel=1e-12, nan_ok=True)


@pytest.mark.parametrize(
    ("pair", "zoom"), [((1, 1), 1), ((0, 1), 1), ((0, 0), 1), ((200, 100), 2), ((3, 0), math.nan)]
)
def test_digital_zoom(pair: tuple[int, int], zoom: float, read: Any) -> None:
    """Numerator 0 means that it was not used."""
    assert read({b.ZOOM: (b.RATIONAL, pair)}).digital_zoom == pytest.approx(zoom, nan_ok=True)


def test_35mm_focal_length_zero_is_unknown(read: Any) -> None:
    assert math.isnan(read({b.FOCAL_35: (b.SHORT, 0)}).focal_length_35mm)


@pytest.mark.parametrize(
    ("kind", "raw", "lens"),
    [
        (b.ASCII, b"28 mm f/2.8\0", "28 mm f/2.8"),
        (b.ASCII, b"28 mm f/2.8" + b" " * 36, "28 mm f/2.8"),
        (b.ASCII, b"28 mm\0garbage", "28 mm"),
        (b.ASCII, b"----\0", None),
        (b.ASCII, b"      \0", None),
        (b.ASCII, b"\0\0\0\0\0\0", None),
        (b.ASCII, b"a\0", "a"),  # within the entry itself
        (b.ASCII, "28\u202fmm \u0192/2".encode(), "28\u202fmm \u0192/2"),
        (b.ASCII, "Objektiv für 28 mm".encode("latin-1"), "Objektiv für 28 mm"),
        (b.UTF8, "広角 28 mm".encode() + b"\0", "広角 28 mm"),  # Exif 3.0
        (b.BYTE, b"28 mm\0", "28 mm"),
        (b.UNDEFINED, b"28 mm", "28 mm"),
        (b.ASCII, b"x" * 5000, "x" * 256),
    ],
)
def test_lens_texts(kind: int, raw: bytes, lens: str | None, read: Any) -> None:
    record = read({b.LENS: (kind, raw), b.ISO: (b.SHORT, 100)})
    assert record.lens == lens


def test_body_numbers_and_their_stand_ins(read: Any) -> None:
    assert read({b.SERIAL: (b.ASCII, "0012345")}, {0xC62F: (b.ASCII, "other")}).serial == "0012345"
    assert read((), {0xC62F: (b.ASCII, "DNG 7")}).serial == "DNG 7"
    assert read({0xFDE9: (b.ASCII, "77")}).serial == "77"
    assert read({0xFDEA: (b.ASCII, "28 mm")}).lens == "28 mm"


@pytest.mark.parametrize(
    ("text", "subseconds", "when", "has_subseconds"),
    [
        ("2031:04:05 14:06:07", None, datetime(2031, 4, 5, 14, 6, 7), False),
        ("2031:04:05 14:06:07", "06", datetime(2031, 4, 5, 14, 6, 7, 60_000), True),
        ("2031:04:05 14:06:07", "5", datetime(2031, 4, 5, 14, 6, 7, 500_000), True),
        ("2031:04:05 14:06:07", "123456789", datetime(2031, 4, 5, 14, 6, 7, 123_456), True),
        ("2031:04:05 14:06:07", "78  ", datetime(2031, 4, 5, 14, 6, 7, 780_000), True),
        ("2031:04:05 14:06:07", "   ", datetime(2031, 4, 5, 14, 6, 7), False),
        ("2031:04:05 14:06:07", "00", datetime(2031, 4, 5, 14, 6, 7), False),
        ("2031-04-05 14:06:07", None, datetime(2031, 4, 5, 14, 6, 7), False),
        ("2031-04-05T14:06:07.978", None, datetime(2031, 4, 5, 14, 6, 7, 978_000), True),
        ("2032:02:29 00:00:00", None, datetime(2032, 2, 29), False),
        ("2031:02:29 00:00:00", None, None, False),
        ("0000:00:00 00:00:00", None, None, False),
        ("    :  :     :  :  ", None, None, False),
        ("2031:13:05 14:06:07", None, None, False),
        ("2031:04:05 24:06:07", None, None, False),
        ("2216:04:05 14:06:07", None, None, False),
        ("yesterday", None, None, False),
    ],
)
def test_capture_time(text: str, subseconds: str | None, when: Any, has_subseconds: bool, read: Any) -> None:
    exif = {b.TIME: (b.ASCII, text)}
    if subseconds is not None:
        exif[b.SUBSECONDS] = (b.ASCII, subseconds)
    record = read(exif)
    assert (record.captured_at, record.has_subseconds) == (when, has_subseconds)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("+09:00", 540),
        ("-03:30", -210),
        ("+00:00", 0),
        ("Z", 0),
        ("   :  ", None),
        ("+99:00", None),
        ("9", None),
    ],
)
def test_offset_from_utc(text: str, minutes: int | None, read: Any) -> None:
    assert read({b.OFFSET: (b.ASCII, text)}).utc_offset_min == minutes


@pytest.mark.parametrize(
    ("kind", "value", "rating"),
    [(b.SHORT, 0, 0), (b.SHORT, 4, 4), (b.SHORT, 65535, -1), (b.SLONG, -1, -1), (b.SHORT, 99, math.nan)],
)
def test_exif_rating(kind: int, value: int, rating: float, read: Any) -> None:
    record = read((), {b.RATING: (kind, value)})
    assert record.exif_rating == pytest.approx(rating, nan_ok=True)


@pytest.mark.parametrize(("stored", "meant"), [(1, 1), (8, 8), (0, 1), (9, 1), (65535, 1)])
def test_orientation(stored: int, meant: int, read: Any) -> None:
    assert read((), {b.ORIENTATION: (b.SHORT, stored)}).orientation == meant


def test_a_repeated_tag_is_noted_and_the_first_counts(read: Any) -> None:
    record = read([(b.ISO, (b.SHORT, 100)), (b.ISO, (b.SHORT, 200))])
    assert record.iso == 100
    assert any("0x8827 is repeated" in note for note in record.notes)


def test_exif_tags_in_ifd0_count_where_the_exif_ifd_has_none(read: Any) -> None:
    """TIFF/EP keeps them in IFD0."""
    assert read((), {b.F_NUMBER: (b.RATIONAL, (8, 1))}).f_number == 8
    assert read({b.F_NUMBER: (b.RATIONAL, (4, 1))}, {b.F_NUMBER: (b.RATIONAL, (8, 1))}).f_number == 4


def test_a_value_past_its_block_is_absent_and_noted(tmp_path: Path) -> None:
    """Plain exifread reads on into the picture data here, which the standard forbids."""
    block = b.tiff({}, {b.FOCAL_LENGTH: (b.RATIONAL, (28, 1))})
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(block[:-4], after=b.segment(0xEE, b"\x01\x02\x03\x04" * 9)))
    record = read_file(path)
    assert math.isnan(record.focal_length_mm)
    assert any("0x920A points past" in note for note in record.notes)


def test_gps_and_makers_notes_are_never_looked_at(tmp_path: Path) -> None:
    exif = {0x927C: (b.UNDEFINED, b"secret note" * 9), b.ISO: (b.SHORT, 100)}
    gps = {0x8825: (b.LONG, 26), b.MODEL: (b.ASCII, "body A")}
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff(gps, exif)))
    seen: list[bytes] = []
    real = metadata.exifread.process_file

    def spy(block: Any, **options: Any) -> Any:
        seen.append(block.getvalue())
        assert options == {"details": False, "extract_thumbnail": False}
        return real(block, **options)

    metadata._DECODED.clear()
    metadata.exifread.process_file = spy
    try:
        assert read_file(path).iso == 100
    finally:
        metadata.exifread.process_file = real
    assert len(seen) == 1
    assert b"secret" not in seen[0]
    assert b"\x25\x88" not in seen[0]


def test_what_is_remembered_between_files_changes_nothing(tmp_path: Path) -> None:
    """Many files of many values, each read fresh and read with what was remembered."""
    generator = random.Random(7)
    paths = []
    for i in range(300):
        exif = {
            b.F_NUMBER: (b.RATIONAL, (generator.randrange(6), generator.randrange(3))),
            b.ISO: (generator.choice([b.SHORT, b.LONG]), generator.choice([0, 1, 256])),
            b.FOCAL_35: (b.SHORT, generator.choice([0, 1, 256])),
            b.DISTANCE: (generator.choice([b.RATIONAL, b.SRATIONAL]), (generator.randrange(3), 1)),
        }
        path = tmp_path / f"{i}.jpg"
        path.write_bytes(b.jpeg(b.tiff({}, exif, generator.choice("<>"))))
        paths.append(path)
    remembered = [repr(read_file(path)) for path in paths]
    fresh = []
    for path in paths:
        metadata._DECODED.clear()
        fresh.append(repr(read_file(path)))
    assert remembered == fresh


def test_suffixes_are_lower_case_with_a_dot() -> None:
    assert {".jpg", ".mpo", ".heic", ".dng", ".tif"} <= PICTURE_SUFFIXES
    assert all(suffix == suffix.lower() and suffix.startswith(".") for suffix in PICTURE_SUFFIXES)


# Worst cases, made by hand, each with a bound on time.


@pytest.mark.parametrize("name", list(WORST_PICTURES))
def test_worst_cases_take_no_time(name: str, tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(WORST_PICTURES[name])
    metadata._DECODED.clear()
    begin = time.process_time()
    record = read_file(path)
    assert time.process_time() - begin < 1.0
    assert isinstance(record, FileRecord)
    assert record.error is None or len(record.error) > 10


# What the file system offers under a picture's name.


def test_a_pipe_is_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> int:
        raise AssertionError("it was opened")

    os.mkfifo(tmp_path / "x.jpg")
    monkeypatch.setattr(opening.os, "open", refuse)
    records: list[FileRecord] = []
    reader = threading.Thread(target=lambda: records.append(read_file(tmp_path / "x.jpg")), daemon=True)
    reader.start()
    reader.join(5)
    assert records
    assert records[0].error == "not an ordinary file (a pipe or a device)"


def test_other_things_that_are_no_files(tmp_path: Path) -> None:
    (tmp_path / "folder.jpg").mkdir()
    (tmp_path / "dangling.jpg").symlink_to(tmp_path / "nothing")
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    assert read_file(tmp_path / "folder.jpg").error == "a folder, not a file"
    assert "not there" in str(read_file(tmp_path / "dangling.jpg").error)
    assert "circle" in str(read_file(tmp_path / "loop.jpg").error)
    assert "not there" in str(read_file(tmp_path / "gone.jpg").error)
    assert "too long" in str(read_file(tmp_path / ("n" * 300)).error)
    assert "name" in str(read_file("nul\0byte.jpg").error)
    assert "ordinary" in str(read_file("/dev/zero").error)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_no_permission(tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    path.chmod(0)
    assert read_file(path).error == "no permission to read it"


def test_a_name_that_is_not_utf8(tmp_path: Path) -> None:
    path = os.path.join(os.fsencode(tmp_path), b"\xff\xfe.jpg")
    with open(path, "wb") as file:
        file.write(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    assert read_file(os.fsdecode(path)).iso == 100


def test_reading_leaves_no_trace(tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    os.utime(path, (1_000_000_000, 1_000_000_000))
    path.chmod(0o444)
    before, content = path.stat(), hashlib.sha256(path.read_bytes()).hexdigest()
    os.utime(path, (1_000_000_000, 1_000_000_000))
    assert read_file(path).iso == 100
    after = path.stat()
    assert (after.st_atime, after.st_mtime, after.st_size) == (1_000_000_000, before.st_mtime, before.st_size)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == content
    assert os.listdir(tmp_path) == ["x.jpg"]


# Damage at random: whatever the bytes are, a record comes back.


@settings(max_examples=150, derandomize=True, deadline=1000, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_change_of_a_file_gives_a_record(data: st.DataObject, tmp_path: Path) -> None:
    whole = MADE[data.draw(st.sampled_from([name for name in MADE if name != "made.xmp"]))]
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(changed) - 1))
        size = data.draw(st.sampled_from([1, 1, 2, 4]))
        changed[at : at + size] = data.draw(st.binary(min_size=size, max_size=size))
    path = tmp_path / "x"
    path.write_bytes(bytes(changed[: data.draw(st.integers(1, len(changed)))]))
    record = read_file(path)
    assert isinstance(record, FileRecord)
    assert "could not be read" not in (record.error or ""), record.error
    for name in ("focal_length_mm", "f_number", "exposure_time_s", "iso"):
        value = getattr(record, name)
        assert math.isnan(value) or 0 < value < math.inf
    assert record.focus_distance_m > 0 or math.isnan(record.focus_distance_m)
