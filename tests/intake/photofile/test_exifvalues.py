"""What Exif values mean: every special value that camera files are known to hold.

Meanings from Exif 2.32 as transcribed by the W3C Exif vocabulary and the AndroidX ExifInterface
documentation; findings in camera files are called so.
"""

from __future__ import annotations

import math
import os
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.records import FileRecord
from tests.intake.photofile import builders as b

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


# Exif 2.32, tag 9209.H, the values it lists (from memory): bit 0 tells whether the flash fired; 0020.H, no
# flash function; 0010.H and 0018.H, suppressed.
@pytest.mark.parametrize(
    "value", [0x01, 0x05, 0x07, 0x09, 0x0D, 0x0F, 0x19, 0x1D, 0x1F, 0x41, 0x49, 0x59, 0x5F]
)
def test_a_flash_that_fired(value: int, read: Any) -> None:
    assert read({0x9209: (b.SHORT, value)}).flash is True


@pytest.mark.parametrize("value", [0x00, 0x10, 0x18, 0x20, 0x50, 0x58])
def test_a_flash_that_did_not_fire(value: int, read: Any) -> None:
    assert read({0x9209: (b.SHORT, value)}).flash is False


def test_without_the_flag_a_flash_is_known_by_its_energy(read: Any) -> None:
    """Exif 2.32, tag A20B.H: the strobe energy in BCPS (from memory)."""
    assert read({0xA20B: (b.RATIONAL, (1200, 1))}).flash is True
    assert read({0xA20B: (b.RATIONAL, (0, 1))}).flash is None
    assert read({0xA20B: (b.RATIONAL, (1200, 1)), 0x9209: (b.SHORT, 0)}).flash is False


def test_a_flash_of_which_nothing_is_said(read: Any) -> None:
    assert read({b.ISO: (b.SHORT, 400)}).flash is None


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
    ("kind", "value", "rating"),
    [(b.SHORT, 0, 0), (b.SHORT, 4, 4), (b.SHORT, 65535, -1), (b.SLONG, -1, -1), (b.SHORT, 99, math.nan)],
)
def test_exif_rating(kind: int, value: int, rating: float, read: Any) -> None:
    record = read((), {b.RATING: (kind, value)})
    assert record.rating == pytest.approx(rating, nan_ok=True)


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
