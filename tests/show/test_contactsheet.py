"""The contact sheet as a file: self-contained, hostile names as text, small pictures upright."""

import base64
import io
import re
from html.parser import HTMLParser

import pytest
from PIL import Image, ImageDraw

from auditor.intake.photofile.previews import BOX_PX, SmallPicture, frame_files, small_picture
from auditor.show.contactsheet import Picture, build_contact_sheet


class Page(HTMLParser):
    """What a browser would see: tags with their attributes, and the texts."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.texts = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.texts.append(data.strip())

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def striped(size, top="red", bottom="blue"):
    """A picture whose upper half and lower half differ."""
    picture = Image.new("RGB", size, bottom)
    ImageDraw.Draw(picture).rectangle((0, 0, size[0], size[1] // 2 - 1), fill=top)
    return picture


def decoded(small):
    return Image.open(io.BytesIO(small.jpeg))


def is_red(pixel):
    return pixel[0] > 150 > 100 > pixel[2]


# --- small pictures ----------------------------------------------------------------------------------


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


def test_sixteen_bits_and_few_colours_are_shown(tmp_path):
    Image.new("I;16", (30, 20), 128 * 256).save(tmp_path / "grey.tif")
    assert decoded(small_picture(tmp_path / "grey.tif")).getpixel((5, 5))[0] == pytest.approx(128, abs=2)
    striped((30, 20)).convert("P").save(tmp_path / "few.png")
    assert is_red(decoded(small_picture(tmp_path / "few.png")).getpixel((2, 2)))


def test_the_files_to_try_are_the_frames_own_with_the_easy_ones_first():
    files = "walk/P1.dng|walk/P1.jpg|walk/P1-web.jpg|best/P1.jpg|walk/P1.xmp"
    assert frame_files("/x/walk/P1.dng", "walk/P1.dng", files) == ["/x/walk/P1.jpg", "/x/walk/P1.dng"]
    assert frame_files("/x/P1.jpg", "P1.jpg", "P1.jpg") == ["/x/P1.jpg"]


# --- the sheet ---------------------------------------------------------------------------------------

HOSTILE = [
    "<script>alert(1)</script>.jpg",
    '"><img src=x onerror=alert(1)>.jpg',
    "=HYPERLINK(1).jpg",
    "a\u202egpj.exe",
    "{{ 7*7 }}.jpg",
]


def small():
    out = io.BytesIO()
    Image.new("RGB", (60, 40)).save(out, "JPEG")
    return SmallPicture(out.getvalue(), 60, 40)


def test_the_sheet_asks_for_nothing_outside_and_holds_every_picture():
    pictures = [Picture(f"P101000{i}.jpg", small()) for i in range(3)]
    page = Page(text := build_contact_sheet(pictures))
    assert not re.search(r"(?:src|href)=[\"'](?!data:|#)", text)
    assert "url(" not in text
    assert "http" not in text.replace("http-equiv", "")
    images = page.all("img")
    assert [image["alt"] for image in images] == [picture.file for picture in pictures]
    for image, picture in zip(images, pictures, strict=True):
        head, data = image["src"].split(",")
        assert head == "data:image/jpeg;base64"
        assert base64.b64decode(data) == picture.small.jpeg


def test_each_picture_has_a_scale_from_0_to_100_and_the_shape_of_its_own():
    text = build_contact_sheet([Picture("P1010001.jpg", small())])
    for mark in range(0, 101, 10):
        assert f'style="bottom: {mark}%">{mark}<' in text
    assert len(re.findall(r'<line [^>]*y1="\d+"', text)) == 101
    assert "--shape: 1.5000" in text


def test_hostile_names_are_text():
    page = Page(build_contact_sheet([Picture(name, None) for name in HOSTILE]))
    assert len(page.all("script")) == 1
    assert not page.all("img")
    for _, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on")]
    for name in (HOSTILE[0], HOSTILE[1], HOSTILE[2], "a\\u202egpj.exe", HOSTILE[4]):
        assert name in page.texts
    cells = [attrs["data-cell"] for attrs in page.all("figure")]
    assert cells[2] == "'=HYPERLINK(1).jpg"  # a spreadsheet must not run what the page saves


def test_a_picture_without_preview_is_a_box_with_its_name():
    page = Page(build_contact_sheet([Picture("P1010001.x3f", None)]))
    assert "no preview" in page.texts
    assert "P1010001.x3f" in page.texts


def test_the_script_that_runs_is_the_one_that_the_page_allows():
    import hashlib

    text = build_contact_sheet([Picture("P1010001.jpg", small())])
    script = re.search(r"<script>(.*)</script>", text, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in text
