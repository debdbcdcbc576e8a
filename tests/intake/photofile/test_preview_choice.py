"""Which picture within a file is shown, and what is refused because it would take too long."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from auditor.intake.photofile import previews
from auditor.intake.photofile.opening import OpenError
from auditor.intake.photofile.previews import (
    as_jpeg,
    embedded_jpegs,
    open_picture,
    previews_within,
    shows_whole,
    small_picture,
    thumbnail,
)
from auditor.intake.photofile.records import FileRecord


def jpeg(size, colour="red", **options) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **options)
    return out.getvalue()


def main_colour(small) -> int:
    """Which of red, green and blue a small picture is."""
    pixel = Image.open(io.BytesIO(small.jpeg)).getpixel((5, 5))
    return pixel.index(max(pixel))


@pytest.mark.parametrize(
    ("width", "shows"), [(300, True), (308, True), (310, False), (292, True), (290, False), (200, False)]
)
def test_a_preview_shows_the_whole_where_its_shape_is_within_3_percent(width, shows):
    record = FileRecord(stored_width_px=3000, stored_height_px=2000)
    assert shows_whole(Image.new("L", (width, 200)), record) == shows


def test_where_the_photographs_shape_is_unknown_any_preview_may_show_it():
    for record in (FileRecord(), FileRecord(stored_width_px=30), FileRecord(stored_height_px=20)):
        assert shows_whole(Image.new("L", (50, 50)), record)


def test_pictures_are_found_from_the_first_byte_to_the_last():
    data = jpeg((30, 20)) + b"\xff\xd8\xff no picture" + jpeg((60, 40)) + b"x" + jpeg((90, 60))
    assert [picture.size for picture in embedded_jpegs(data)] == [(30, 20), (60, 40), (90, 60)]
    assert list(embedded_jpegs(b"no picture at all")) == []


def test_so_many_pictures_of_such_a_size_are_looked_at(monkeypatch):
    data = jpeg((30, 20)) + jpeg((60, 40)) + jpeg((90, 60))
    monkeypatch.setattr(previews, "MAX_PREVIEWS", 2)
    assert [picture.size for picture in embedded_jpegs(data)] == [(30, 20), (60, 40)]
    monkeypatch.setattr(previews, "MAX_PIXELS", 60 * 40)
    assert [picture.size for picture in embedded_jpegs(data)] == [(30, 20), (60, 40)]
    monkeypatch.setattr(previews, "MAX_PIXELS", 60 * 40 - 1)
    assert [picture.size for picture in embedded_jpegs(data)] == [(30, 20)]


@pytest.fixture
def raw(tmp_path):
    """Three previews of a raw file, the largest first: red, green and blue, 600, 400 and 300 px high."""
    path = tmp_path / "a.nef"
    path.write_bytes(b"raw" + jpeg((900, 600)) + jpeg((600, 400), "lime") + jpeg((450, 300), "blue"))
    return path


@pytest.mark.parametrize(
    ("box_px", "colour"), [(100, 2), (420, 2), (500, 2), (501, 1), (666, 1), (667, 0), (1000, 0), (1920, 0)]
)
def test_the_smallest_preview_that_is_large_enough_is_taken(raw, box_px, colour):
    """It is at least 300 px high, and six tenths of what is asked for; else the largest is taken."""
    small = small_picture(raw, box_px)
    assert main_colour(small) == colour
    assert max(small.width, small.height) == min(box_px, (900, 600, 450)[colour])


def test_a_preview_lower_than_300_pixels_gives_way(tmp_path):
    path = tmp_path / "a.nef"
    path.write_bytes(jpeg((450, 300)) + jpeg((447, 298), "blue"))
    assert main_colour(small_picture(path, 100)) == 0


def test_previews_come_by_their_pixels_from_files_up_to_the_bound(raw, monkeypatch):
    sizes = [picture.size for picture in previews_within(raw, FileRecord())]
    assert sizes == [(450, 300), (600, 400), (900, 600)]
    shapes = raw.with_name("b.nef")
    shapes.write_bytes(jpeg((10, 90)) + jpeg((40, 40)) + jpeg((90, 5)))
    assert [picture.size for picture in previews_within(shapes, FileRecord())] == [
        (90, 5),
        (10, 90),
        (40, 40),
    ]
    monkeypatch.setattr(previews, "MAX_RAW_BYTES", raw.stat().st_size)
    assert len(previews_within(raw, FileRecord())) == 3
    monkeypatch.setattr(previews, "MAX_RAW_BYTES", raw.stat().st_size - 1)
    with pytest.raises(OpenError, match="too large"):
        previews_within(raw, FileRecord())


def test_a_jpeg_may_be_larger_than_what_is_decoded_whole(tmp_path, monkeypatch):
    (tmp_path / "a.jpg").write_bytes(jpeg((60, 40)))
    monkeypatch.setattr(previews, "MAX_PIXELS_WHOLE", 100)
    monkeypatch.setattr(previews, "MAX_PIXELS", 60 * 40)
    assert small_picture(tmp_path / "a.jpg") is not None
    monkeypatch.setattr(previews, "MAX_PIXELS", 60 * 40 - 1)
    assert small_picture(tmp_path / "a.jpg") is None


def test_a_progressive_jpeg_is_opened_up_to_its_bounds(monkeypatch):
    data = jpeg((60, 40), progressive=True)
    scans = data.count(b"\xff\xda") - 1  # beyond the first, which is part of the head
    assert scans > 2
    for bound, most in (("MAX_PIXELS_WHOLE", 60 * 40), ("MAX_SCANNED_PIXELS", scans * 60 * 40)):
        with monkeypatch.context() as patch:
            patch.setattr(previews, bound, most)
            picture = open_picture(io.BytesIO(data))
            picture.load()
            assert picture.size == (60, 40)
            patch.setattr(previews, bound, most - 1)
            with pytest.raises(OSError, match="too long"):
                open_picture(io.BytesIO(data))
            if bound == "MAX_PIXELS_WHOLE":
                patch.setattr(previews, bound, most)
                patch.setattr(previews, "MAX_SCANNED_PIXELS", 60 * 40)  # of just the largest size, too
                with pytest.raises(OSError, match="too long"):
                    open_picture(io.BytesIO(data))
                assert open_picture(io.BytesIO(jpeg((60, 40)))).size == (60, 40)


def test_only_so_many_reads_are_answered(monkeypatch):
    from auditor.intake.photofile.previews import _Bounded

    monkeypatch.setattr(previews, "MAX_READS", 3)
    bounded = _Bounded(io.BytesIO(b"abcdef"))
    assert [bounded.read(1) for _ in range(3)] == [b"a", b"b", b"c"]
    with pytest.raises(OSError, match="too much reading"):
        bounded.read(1)


def test_a_file_is_read_whole_only_up_to_the_bound(monkeypatch):
    from auditor.intake.photofile.previews import _Bounded

    monkeypatch.setattr(previews, "MAX_FILE_BYTES", 6)
    for count in (-1, 6, 7, 100):
        assert _Bounded(io.BytesIO(b"abcdef")).read(count) == b"abcdef"
    assert _Bounded(io.BytesIO(b"abcdefg")).read(6) == b"abcdef"
    assert _Bounded(io.BytesIO(b"abcdefg")).read(0) == b""
    for count in (-1, 7):
        with pytest.raises(OSError, match="too large"):
            _Bounded(io.BytesIO(b"abcdefg")).read(count)


@pytest.mark.parametrize(
    ("own", "is_taken"),
    [((160, 107), True), ((159, 106), False), ((240, 160), True), ((299, 199), True), ((300, 200), False),
     ((160, 112), False), ((160, 102), False), ((107, 160), False)],
)  # fmt: skip
def test_a_thumbnail_is_the_cameras_own_where_it_is_large_enough_and_whole(tmp_path, own, is_taken):
    """At least 160 pixels, fewer than the picture itself, and of its shape."""
    exif = Image.Exif()
    exif[0x010E] = jpeg(own, "blue")
    Image.new("RGB", (300, 200), "red").save(tmp_path / "a.jpg", exif=exif)
    small = thumbnail(tmp_path / "a.jpg")
    assert main_colour(small) == (2 if is_taken else 0)
    assert max(small.width, small.height) == 160


def test_sixteen_bit_tones_become_eight():
    tones = Image.new("I;16", (20, 10), 200 * 256)
    pixel = Image.open(io.BytesIO(as_jpeg(tones, 90).jpeg)).getpixel((5, 5))
    assert pixel == pytest.approx((200, 200, 200), abs=2)
