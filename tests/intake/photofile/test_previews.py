"""Small pictures of photographs: upright, bounded, without metadata, from raw files' previews too."""

import io

import pytest
from PIL import Image, ImageDraw

from auditor.intake.photofile import previews
from auditor.intake.photofile.previews import BOX_PX, frame_files, small_picture, thumbnail


def striped(size, top="red", bottom="blue"):
    """A picture whose upper half and lower half differ."""
    picture = Image.new("RGB", size, bottom)
    ImageDraw.Draw(picture).rectangle((0, 0, size[0], size[1] // 2 - 1), fill=top)
    return picture


def decoded(small):
    return Image.open(io.BytesIO(small.jpeg))


def is_red(pixel):
    return pixel[0] > 150 > 100 > pixel[2]


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".webp"])
def test_pictures_come_out_small_upright_and_without_metadata(tmp_path, suffix):
    path = tmp_path / f"P1010001{suffix}"
    exif = Image.Exif()
    exif[0x010E] = "a secret word"
    lying = striped((1800, 1200)).transpose(Image.Transpose.ROTATE_90)  # to be turned back by 270 degrees
    exif[0x0112] = 6
    lying.save(path, exif=exif, **({"comment": b"a secret word"} if suffix == ".jpg" else {}))
    before = path.read_bytes()
    small = small_picture(path)
    assert (small.width, small.height) == decoded(small).size == (BOX_PX, BOX_PX * 2 // 3)
    assert is_red(decoded(small).getpixel((10, 10)))
    assert not is_red(decoded(small).getpixel((10, small.height - 10)))
    assert b"secret" not in small.jpeg
    assert not decoded(small).getexif()
    assert len(small.jpeg) < 20_000
    assert path.read_bytes() == before


def test_a_raw_file_shows_the_preview_of_its_own_shape_turned_by_its_orientation(tmp_path):
    import struct

    def jpeg(picture):
        out = io.BytesIO()
        picture.save(out, "JPEG")
        return out.getvalue()

    # A TIFF whose IFD0 is 3000×2000 and stands on its side; after it a barred thumbnail and the real preview.
    entries = [(0x0100, 4, 3000), (0x0101, 4, 2000), (0x0112, 3, 6)]
    ifd = struct.pack("<2sHIH", b"II", 42, 8, len(entries))
    ifd += b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries) + bytes(4)
    lying = striped((400, 600)).transpose(Image.Transpose.ROTATE_90)
    path = tmp_path / "P1010001.dng"
    path.write_bytes(
        ifd + jpeg(striped((640, 480), "white", "black")) + b"\xff\xd8\xff raw data" + jpeg(lying)
    )
    small = small_picture(path)
    assert (small.width, small.height) == (BOX_PX * 2 // 3, BOX_PX)
    assert is_red(decoded(small).getpixel((5, 5)))


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0" + bytes(100)])
@pytest.mark.parametrize("suffix", [".jpg", ".dng", ".heic"])
def test_what_cannot_be_shown_is_none(tmp_path, content, suffix):
    path = tmp_path / f"a{suffix}"
    path.write_bytes(content)
    assert small_picture(path) is None
    assert small_picture(tmp_path / "gone.jpg") is None
    assert small_picture(tmp_path) is None


def test_a_picture_that_says_it_is_enormous_is_not_decoded(tmp_path):
    path = tmp_path / "bomb.png"
    Image.new("1", (11_000, 11_000)).save(path)
    assert path.stat().st_size < 100_000
    assert small_picture(path) is None


def test_a_picture_just_as_large_as_allowed_is_shown(tmp_path, monkeypatch):
    striped((300, 200)).save(tmp_path / "a.png")
    monkeypatch.setattr(previews, "MAX_PIXELS_WHOLE", 300 * 200)
    assert small_picture(tmp_path / "a.png") is not None
    monkeypatch.setattr(previews, "MAX_PIXELS_WHOLE", 300 * 200 - 1)
    assert small_picture(tmp_path / "a.png") is None


def test_sixteen_bits_and_few_colours_are_shown(tmp_path):
    Image.new("I;16", (30, 20), 128 * 256).save(tmp_path / "grey.tif")
    assert decoded(small_picture(tmp_path / "grey.tif")).getpixel((5, 5))[0] == pytest.approx(128, abs=2)
    striped((30, 20)).convert("P").save(tmp_path / "few.png")
    assert is_red(decoded(small_picture(tmp_path / "few.png")).getpixel((2, 2)))


def test_the_files_to_try_are_the_frames_own_with_the_easy_ones_first():
    files = "walk/P1.dng|walk/P1.jpg|walk/P1-web.jpg|best/P1.jpg|walk/P1.xmp"
    assert frame_files("/x/walk/P1.dng", "walk/P1.dng", files) == ["/x/walk/P1.jpg", "/x/walk/P1.dng"]
    assert frame_files("/x/P1.jpg", "P1.jpg", "P1.jpg") == ["/x/P1.jpg"]


def test_a_preview_for_judging_is_as_large_as_asked(tmp_path):
    striped((3000, 2000)).save(tmp_path / "a.tif")
    large = small_picture(tmp_path / "a.tif", 1920, 80)
    assert (large.width, large.height) == (1920, 1280)


def test_the_cameras_own_thumbnail_is_taken_where_it_shows_the_whole(tmp_path):
    own = io.BytesIO()
    striped((240, 160), "white", "black").save(own, "JPEG")
    barred = io.BytesIO()
    striped((160, 120), "blue", "blue").save(barred, "JPEG")
    for name, inside in (("whole", own), ("barred", barred)):
        exif = Image.Exif()
        exif[0x010E] = inside.getvalue()
        striped((1500, 1000)).save(tmp_path / f"{name}.jpg", exif=exif)
    assert decoded(thumbnail(tmp_path / "whole.jpg")).getpixel((80, 20))[2] > 200, (
        "white, as the thumbnail says"
    )
    assert is_red(decoded(thumbnail(tmp_path / "barred.jpg")).getpixel((80, 20)))
    assert max(decoded(thumbnail(tmp_path / "barred.jpg")).size) == 160
