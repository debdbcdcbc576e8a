"""Which picture is measured: upright, whole, and how large."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image

from auditor.intake.people import wholepicture
from auditor.intake.people.wholepicture import open_whole, was_resized
from auditor.intake.photofile.records import FileRecord


def jpeg(size, *, orientation=1, exif_size=None, mode="RGB", colour=(200, 30, 30)) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    if exif_size:
        ifd = exif.get_ifd(0x8769)
        ifd[0xA002], ifd[0xA003] = exif_size
    picture = Image.new(mode, size, colour if mode == "RGB" else 128)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def raw_with(previews: list[bytes]) -> bytes:
    """A TIFF of 4 x 3 pixels' width 600 and height 400 whose previews lie behind it."""
    entries = [(256, 4, 1, 600), (257, 4, 1, 400), (259, 3, 1, 1), (274, 3, 1, 1)]
    head = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries))
    body = b"".join(struct.pack("<HHII", *entry) for entry in entries) + struct.pack("<I", 0)
    return head + body + b"\0" * 64 + b"".join(preview + b"\0" * 16 for preview in previews)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_pictures_come_upright_and_in_colour(tmp_path, orientation, mode):
    (tmp_path / "a.jpg").write_bytes(jpeg((60, 40), orientation=orientation, mode=mode))
    whole = open_whole([str(tmp_path / "a.jpg")])
    assert whole.picture.size == ((60, 40) if orientation < 5 else (40, 60))
    assert whole.picture.mode == "RGB"
    assert not whole.preview


def test_the_largest_sound_preview_of_a_raw_file_is_taken(tmp_path):
    """Three previews: a small one, a large one, and one whose shape is not the sensor's."""
    data = raw_with([jpeg((90, 60)), jpeg((300, 200)), jpeg((400, 400))])
    (tmp_path / "a.dng").write_bytes(data)
    whole = open_whole([str(tmp_path / "a.dng")])
    assert whole.preview
    assert whole.picture.size == (300, 200)


def test_a_raw_file_without_a_preview_says_so(tmp_path):
    (tmp_path / "a.dng").write_bytes(raw_with([]))
    assert open_whole([str(tmp_path / "a.dng")]) == "no preview in the raw file"


def test_a_jpeg_without_its_last_bytes_is_decoded_one_without_its_half_is_not(tmp_path):
    rng = np.random.default_rng(0)
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (400, 600, 3), dtype=np.uint8)).save(out, "JPEG")
    path = tmp_path / "a.jpg"
    path.write_bytes(out.getvalue()[:-300])
    whole = open_whole([str(path)])
    assert whole.cut_short
    assert whole.picture.size == (600, 400)
    path.write_bytes(out.getvalue()[: len(out.getvalue()) // 2])
    assert open_whole([str(path)]) == "the file ends too early"


def test_no_reason_ends_in_none(tmp_path):
    (tmp_path / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 50)
    (tmp_path / "a.tif").write_bytes(b"II*\0" + b"\0" * 8)
    for name in ("a.png", "a.tif"):
        assert "None" not in open_whole([str(tmp_path / name)])


def test_the_next_file_of_a_frame_is_tried(tmp_path):
    (tmp_path / "a.jpg").write_bytes(jpeg((60, 40))[:200])
    (tmp_path / "a.dng").write_bytes(raw_with([jpeg((90, 60))]))
    whole = open_whole([str(tmp_path / "a.jpg"), str(tmp_path / "a.dng")])
    assert whole.preview
    assert isinstance(open_whole([str(tmp_path / "a.jpg")]), str)
    assert "not there" in open_whole([str(tmp_path / "gone.jpg")])


def test_resized_and_cut_files_are_known_by_their_exif(tmp_path):
    (tmp_path / "own.jpg").write_bytes(jpeg((60, 40), exif_size=(60, 40)))
    (tmp_path / "small.jpg").write_bytes(jpeg((60, 40), exif_size=(600, 400)))
    assert not open_whole([str(tmp_path / "own.jpg")]).resized
    assert open_whole([str(tmp_path / "small.jpg")]).resized
    assert was_resized(FileRecord(digital_zoom=2.0), 60, 40)
    assert not was_resized(FileRecord(), 60, 40)


def test_a_picture_beyond_the_bound_is_decoded_smaller_or_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(wholepicture, "MAX_PIXELS", 10_000)
    (tmp_path / "big.jpg").write_bytes(jpeg((300, 200)))
    assert open_whole([str(tmp_path / "big.jpg")]).picture.size == (75, 50)
    Image.fromarray(np.zeros((200, 300, 3), dtype=np.uint8)).save(tmp_path / "big.png")
    assert "memory" in open_whole([str(tmp_path / "big.png")])


@pytest.mark.parametrize(
    ("most", "size"),
    [(120_000, (400, 300)), (119_999, (200, 150)), (30_000, (200, 150)), (29_999, (100, 75))],
)
def test_a_jpeg_beyond_the_bound_is_decoded_at_a_half_or_less(tmp_path, monkeypatch, most, size):
    (tmp_path / "a.jpg").write_bytes(jpeg((400, 300)))
    monkeypatch.setattr(wholepicture, "MAX_PIXELS", most)
    assert open_whole([str(tmp_path / "a.jpg")]).picture.size == size


def test_another_kind_of_picture_beyond_the_bound_is_too_large(tmp_path, monkeypatch):
    Image.new("RGB", (40, 30)).save(tmp_path / "a.png")
    monkeypatch.setattr(wholepicture, "MAX_PIXELS", 1200)
    assert open_whole([str(tmp_path / "a.png")]).picture.size == (40, 30)
    monkeypatch.setattr(wholepicture, "MAX_PIXELS", 1199)
    assert "too large" in open_whole([str(tmp_path / "a.png")])


@pytest.mark.parametrize(("zoom", "is_resized"), [(1.0, False), (1.01, False), (1.02, True)])
def test_a_digital_zoom_is_a_crop(zoom, is_resized):
    assert was_resized(FileRecord(digital_zoom=zoom), 60, 40) == is_resized


@pytest.mark.parametrize(
    ("size", "is_resized"),
    [((6000, 4000), False), ((5890, 3930), False), ((5870, 4000), True), ((6000, 3910), True),
     ((6110, 4000), False), ((6130, 4000), True)],
)  # fmt: skip
def test_a_camera_may_trim_two_percent(size, is_resized):
    record = FileRecord(exif_width_px=6000, exif_height_px=4000)
    assert was_resized(record, *size) == is_resized
    assert not was_resized(FileRecord(exif_width_px=6000), *size)
