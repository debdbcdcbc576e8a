"""The container walks: against Pillow for every format it writes, and byte by byte where no writer exists."""

from __future__ import annotations

import io
import math
import random
import time
import zlib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, TiffImagePlugin, features

from auditor.intake.photofile import chunks, window
from auditor.intake.photofile.containers import collect_contents
from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.records import FileRecord
from auditor.intake.photofile.window import Window
from tests.intake.photofile import builders as b

EXIF = {b.F_NUMBER: (b.RATIONAL, (8, 1)), b.FOCAL_LENGTH: (b.RATIONAL, (28, 1)), b.LENS: (b.ASCII, "28 mm")}
IFD0 = {b.MODEL: (b.ASCII, "body A")}
BLOCK = b.tiff(IFD0, EXIF)
PACKET = b.packet('xmp:Rating="4"')


@pytest.fixture
def read(tmp_path: Path) -> Any:
    def write_and_read(data: bytes, name: str = "picture") -> FileRecord:
        path = tmp_path / name
        path.write_bytes(data)
        return read_file(path)

    return write_and_read


def facts(record: FileRecord) -> tuple[Any, ...]:
    rating = record.xmp.rating if record.xmp else None
    return record.container, record.error, record.camera, record.f_number, record.lens, rating


PILLOW_FORMATS = {
    "JPEG": ("jpeg", {}),
    "MPO": ("jpeg", {"append_images": [Image.new("RGB", (30, 20))], "save_all": True}),
    "PNG": ("png", {}),
    "WEBP": ("webp", {}),
    "TIFF": ("tiff", {}),
    "AVIF": ("bmff", {}),
}


@pytest.mark.parametrize("size", [(64, 48), (33, 7)])
@pytest.mark.parametrize("kind", list(PILLOW_FORMATS))
def test_reads_what_pillow_writes(kind: str, size: tuple[int, int], read: Any) -> None:
    """Written by Pillow, read by us; and Pillow itself reads the same back, so the file is sound."""
    if kind in ("WEBP", "AVIF") and not features.check(kind.lower()):
        pytest.skip(f"this Pillow writes no {kind}")
    container, options = PILLOW_FORMATS[kind]
    exif = Image.Exif()
    exif[0x0110] = "body A"
    exif[0x0112] = 1
    ifd = {0x829D: 5.6, 0x9003: "2031:04:05 14:00:00", 0xA434: "28 mm", 0x8827: 400}
    exif.get_ifd(0x8769).update(ifd)
    if kind == "TIFF":  # its writer takes the inner IFD only this way
        options = options | {"tiffinfo": TiffImagePlugin.ImageFileDirectory_v2()}
        options["tiffinfo"].update({0x0110: "body A", 0x8769: ifd, 0x02BC: PACKET})
    else:
        options = options | {"exif": exif}
    if kind not in ("MPO", "PNG"):
        options = options | {"xmp": PACKET}
    out = io.BytesIO()
    Image.new("RGB", size, (9, 9, 9)).save(out, kind, **options)
    with Image.open(io.BytesIO(out.getvalue())) as picture:
        assert picture.size == size
        assert picture.getexif()[0x0110] == "body A"

    record = read(out.getvalue())

    assert (record.container, record.error, record.notes) == (container, None, ())
    assert (record.stored_width_px, record.stored_height_px) == size
    assert (record.camera, record.lens, record.iso) == ("body A", "28 mm", 400)
    assert record.f_number == pytest.approx(5.6, rel=1e-6)
    assert record.captured_at is not None
    assert record.captured_at.isoformat() == "2031-04-05T14:00:00"
    if "xmp" in options:
        assert record.xmp is not None
        assert record.xmp.rating == 4


@pytest.mark.parametrize("kind", [*PILLOW_FORMATS, "lossless WEBP", "grey TIFF"])
def test_a_sound_picture_without_exif_is_read(kind: str, read: Any) -> None:
    name = kind.split()[-1]
    if name in ("WEBP", "AVIF") and not features.check(name.lower()):
        pytest.skip(f"this Pillow writes no {name}")
    out = io.BytesIO()
    options = {"lossless": True} if kind == "lossless WEBP" else {}
    Image.new("L" if kind == "grey TIFF" else "RGB", (40, 30)).save(out, name, **options)
    record = read(out.getvalue())
    assert record.error is None
    assert (record.stored_width_px, record.stored_height_px) == (40, 30)
    assert record.camera is None
    assert math.isnan(record.f_number)


@pytest.mark.parametrize("head", [b"RIFF\x24\0\0\0WAVEfmt ", b"FORM\x24\0\0\0WEBPVP8 "])
def test_only_a_webp_is_read_as_one(head: bytes, read: Any) -> None:
    assert read(head + bytes(40), "x.webp").error == "not a picture this reader knows"


@pytest.mark.parametrize("kind", ["GIF", "BMP", "PPM", "ICO"])
def test_other_pictures_are_named_as_unknown(kind: str, read: Any) -> None:
    out = io.BytesIO()
    Image.new("RGB", (16, 16)).save(out, kind)
    assert read(out.getvalue(), "x.jpg").error == "not a picture this reader knows"


def test_exif_behind_much_else(read: Any) -> None:
    """Plain exifread loses Exif that stands behind about 4 KB of other segments."""
    before = b"".join(b.segment(0xE2, b"ICC_PROFILE\0" + bytes(30_000)) for _ in range(6))
    record = read(b.jpeg(BLOCK, PACKET, before=before))
    assert facts(record) == ("jpeg", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (640, 480)


def test_no_other_segment_is_taken_for_a_frame_header(read: Any) -> None:
    """A JPEG whose frame header is missing has no known size, whatever its tables hold."""
    record = read(b.jpeg(BLOCK, PACKET, before=b.segment(0xDB, bytes(range(65))), size=None))
    assert (record.stored_width_px, record.stored_height_px) == (0, 0)


def test_the_packet_ends_with_its_segment() -> None:
    """ITU-T T.81, B.1.1.4: a segment's length counts its own two bytes and all its parameters."""
    data = b.jpeg(BLOCK, PACKET, after=b.segment(0xE2, bytes(500)))
    assert collect_contents(Window.of_bytes(data)).packet == PACKET


def test_exif_after_quantisation_tables_and_fill_bytes(read: Any) -> None:
    before = b.segment(0xDB, bytes(65)) + b"\xff\xff\xff"
    assert facts(read(b.jpeg(BLOCK, before=before)))[2] == "body A"


def test_garbage_between_segments_is_passed_over(read: Any) -> None:
    assert facts(read(b.jpeg(BLOCK, before=b.segment(0xE2, b"") + b"\x00\x12garbage")))[2] == "body A"


def test_xmp_far_beyond_the_first_read(read: Any) -> None:
    after = b"".join(b.segment(0xED, bytes(65_000)) for _ in range(5))
    data = b.jpeg(BLOCK, after=after + b.segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + PACKET))
    assert facts(read(data))[-1] == 4.0


def test_extended_xmp_is_left_alone(read: Any) -> None:
    part = b.segment(0xE1, b"http://ns.adobe.com/xmp/extension/\0" + b"F" * 32 + bytes(8) + PACKET)
    record = read(b.jpeg(BLOCK, b.packet('xmp:Label="Red"'), after=part))
    assert record.xmp is not None
    assert math.isnan(record.xmp.rating)


def test_two_exif_segments_are_noted_and_the_first_counts(read: Any) -> None:
    second = b.segment(0xE1, b"Exif\0\0" + b.tiff({b.MODEL: (b.ASCII, "body B")}))
    record = read(b.jpeg(BLOCK, after=second))
    assert record.camera == "body A"
    assert any("twice" in note for note in record.notes)


@pytest.mark.parametrize("prefix", [b"", b"Exif\0\0"])
def test_webp_with_and_without_the_prefix(prefix: bytes, read: Any) -> None:
    record = read(b.webp((b"EXIF", prefix + BLOCK), (b"XMP ", PACKET), size=(5000, 3000)))
    assert facts(record) == ("webp", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (5000, 3000)


def itxt(text: bytes, compressed: bool) -> bytes:
    data = zlib.compress(text) if compressed else text
    return b.chunk(b"iTXt", b"XML:com.adobe.xmp\0" + bytes([compressed, 0]) + b"en\0title\0" + data)


@pytest.mark.parametrize("compressed", [False, True])
def test_png_exif_and_xmp(compressed: bool, read: Any) -> None:
    record = read(b.png(b.chunk(b"eXIf", BLOCK), itxt(PACKET, compressed), size=(321, 123)))
    assert facts(record) == ("png", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (321, 123)


def test_png_exif_after_the_picture_data(read: Any) -> None:
    idat = b.chunk(b"IDAT", bytes(100_000)) * 3
    assert facts(read(b.png(idat, b.chunk(b"eXIf", BLOCK))))[2] == "body A"


def test_an_inflating_text_chunk_is_bounded(read: Any) -> None:
    bomb = itxt(b"<" + bytes(200_000_000), compressed=True)
    begin = time.process_time()
    record = read(b.png(b.chunk(b"eXIf", BLOCK), bomb))
    assert time.process_time() - begin < 1
    assert record.camera == "body A"


ITEM_FORMS = {
    "offset 6 and Exif": (6).to_bytes(4, "big") + b"Exif\0\0" + BLOCK,
    "offset 0": bytes(4) + BLOCK,
    "offset 0 before Exif": bytes(4) + b"Exif\0\0" + BLOCK,
    "no offset field": b"Exif\0\0" + BLOCK,
    "APP1 marker kept": (10).to_bytes(4, "big") + b"\xff\xe1\x00\xff" + b"Exif\0\0" + BLOCK,
}


@pytest.mark.parametrize("form", list(ITEM_FORMS))
def test_exif_items_as_they_are_found(form: str, read: Any) -> None:
    assert facts(read(b.heif(ITEM_FORMS[form])))[2:4] == ("body A", 8.0)


@pytest.mark.parametrize("brand", [b"heic", b"heix", b"mif1", b"msf1", b"avif", b"hevc"])
@pytest.mark.parametrize(("version", "inside"), [(0, False), (1, False), (1, True)])
def test_brands_and_item_places(brand: bytes, version: int, inside: bool, read: Any) -> None:
    data = b.heif(ITEM_FORMS["offset 6 and Exif"], PACKET, brand, (6000, 4000), version, inside)
    record = read(data)
    assert facts(record) == ("bmff", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (6000, 4000)


def test_the_index_counts_by_its_own_size_wherever_it_lies(
    read: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from auditor.intake.photofile import bmff

    data = b.heif(ITEM_FORMS["offset 6 and Exif"], inside_idat=True)
    at = data.index(b"meta") - 4
    moved = data[:at] + b.box(b"free", bytes(5000)) + data[at:]
    body = int.from_bytes(data[at : at + 4], "big") - 8
    monkeypatch.setattr(bmff, "MAX_PACKET_BYTES", body)
    assert facts(read(moved))[2:4] == ("body A", 8.0)
    monkeypatch.setattr(bmff, "MAX_PACKET_BYTES", body - 1)
    assert facts(read(moved))[2] is None


def test_a_film_is_not_a_picture(read: Any) -> None:
    film = b.box(b"ftyp", b"isom", bytes(4), b"mp42") + b.box(b"moov", b.box(b"trak", bytes(20)))
    assert read(film, "x.heic").error == "not a picture this reader knows"


def test_raw_of_the_box_kind(read: Any) -> None:
    ifd0 = b.tiff(IFD0 | {0x0100: (b.SHORT, 6000), 0x0101: (b.SHORT, 4000)})
    record = read(b.raw_bmff(ifd0, b.tiff(EXIF), PACKET))
    assert facts(record) == ("bmff", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (6000, 4000)


def test_raw_that_carries_a_jpeg(read: Any) -> None:
    """Its frame header is that of a preview: the raw picture's size stays unknown."""
    record = read(b.raw_with_jpeg(b.jpeg(BLOCK, PACKET)))
    assert facts(record) == ("raw-jpeg", None, "body A", 8.0, "28 mm", 4.0)
    assert (record.stored_width_px, record.stored_height_px) == (0, 0)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("magic", [42, 0x0055, 0x4F52, 0x5352])
def test_tiff_family_with_other_magic_numbers(order: str, magic: int, read: Any) -> None:
    record = read(b.tiff(IFD0, EXIF, order, magic))
    assert facts(record)[:4] == ("tiff", None, "body A", 8.0)


def test_tiff_family_is_read_by_offset(read: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A raw file of 60 MB, whose directories stand at its end, costs a few kilobytes."""
    counts: list[int] = []
    real_read = window.os.read
    monkeypatch.setattr(window.os, "read", lambda fd, n: counts.append(n) or real_read(fd, n))
    far = 60_000_000
    record = read(b.tiff(IFD0, EXIF, gap=far))
    assert facts(record)[:5] == ("tiff", None, "body A", 8.0, "28 mm")
    assert sum(counts) < 200_000


def test_size_of_a_raw_comes_from_its_full_picture(read: Any) -> None:
    """IFD0 often holds a thumbnail (NewSubfileType 1), the picture stands in a sub-IFD (TIFF/EP)."""
    thumbnail = {0x00FE: (b.LONG, 1), 0x0100: (b.LONG, 160), 0x0101: (b.LONG, 120)}
    full = {0x00FE: (b.LONG, 0), 0x0100: (b.LONG, 6000), 0x0101: (b.LONG, 4000)}
    preview = {0x00FE: (b.LONG, 1), 0x0100: (b.LONG, 9000), 0x0101: (b.LONG, 9000)}
    record = read(b.tiff(IFD0 | thumbnail, EXIF, sub_ifds=[preview, full]))
    assert (record.stored_width_px, record.stored_height_px) == (6000, 4000)


def test_xmp_of_a_tiff_by_offset(read: Any) -> None:
    """Tag 0x02BC, type BYTE; exifread returns no values for 1,000 bytes or more."""
    long_packet = b.packet('xmp:Rating="3"', elements=f"<xmp:Nickname>{'n' * 3000}</xmp:Nickname>")
    record = read(b.tiff(IFD0 | {0x02BC: (b.BYTE, long_packet)}, EXIF))
    assert record.xmp is not None
    assert record.xmp.rating == 3


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"II\x2b\x00\x08\x00\x00\x00" + bytes(20), "64-bit"),
        (b"MM\x00\x2b\x00\x08\x00\x00" + bytes(20), "64-bit"),
        (b"II*\0" + bytes(40), "TIFF"),
        (b"II\x1a\0\0\0" + bytes.fromhex("4845415043434452") + bytes(60), "TIFF"),
        (b"\xff\xd8\xff", "damaged"),
        (b"\x89PNG\r\n\x1a\n", "damaged"),
        (b"RIFF\0\0\0\0WEBP", "damaged"),
        (b"%PDF-1.7", "not a picture"),
        (bytes(1000), "not a picture"),
        (b"<x:xmpmeta/>", "not a picture"),
    ],
)
def test_hopeless_files_say_why(data: bytes, words: str, read: Any) -> None:
    record = read(data, "x.jpg")
    assert record.error is not None
    assert words in record.error


def test_a_jpeg_of_endless_segments_ends(read: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    begin = time.process_time()
    record = read(b.jpeg(BLOCK, after=b.segment(0xE5, b"") * 2_000_000))
    assert time.process_time() - begin < 1
    assert record.camera == "body A"
    assert any("too many segments" in note for note in record.notes)
    monkeypatch.setattr(chunks, "MAX_SEGMENTS", 3)
    assert read(b.jpeg(BLOCK, after=b.segment(0xE5, b"") * 3)).notes


def test_a_file_cut_short_gives_what_came_before(read: Any) -> None:
    data = b.jpeg(BLOCK, PACKET)
    record = read(data[: data.index(b"http") + 60])
    assert record.error is None
    assert record.camera == "body A"


@pytest.fixture(scope="module")
def grainy() -> bytes:
    """A real picture with grain, a thumbnail's end marker in its Exif, as Pillow writes it."""
    chance = random.Random(4)
    grain = bytes(min(max(round(chance.gauss(128, 40)), 0), 255) for _ in range(300 * 200 * 3))
    out = io.BytesIO()
    exif = b"Exif\0\0" + b.tiff(IFD0, EXIF) + b"\xff\xd9"
    Image.frombytes("RGB", (300, 200), grain).save(out, "JPEG", quality=90, exif=exif, restart_marker_rows=2)
    return out.getvalue()


@pytest.mark.parametrize("share", [0.2, 0.3, 0.5, 0.9, 0.999])
def test_a_jpeg_that_is_cut_short_says_so_and_keeps_its_facts(share: float, grainy: bytes, read: Any) -> None:
    whole, cut = read(grainy), read(grainy[: int(share * len(grainy))])
    assert whole.notes == ()
    assert cut.notes == (chunks.CUT_SHORT,)
    assert cut[: cut._fields.index("notes")] == whole[: cut._fields.index("notes")]


def test_a_jpeg_cut_within_its_header_says_so(grainy: bytes, read: Any) -> None:
    at = grainy.index(b"\xff\xda") - 20
    assert chunks.CUT_SHORT in read(grainy[:at]).notes


def test_a_small_jpeg_is_named_wherever_it_is_cut_in_its_picture(read: Any) -> None:
    """Pillow calls each of them truncated."""
    rng, out = random.Random(3), io.BytesIO()
    noise = Image.frombytes("L", (48, 32), rng.randbytes(48 * 32)).convert("RGB")
    noise.save(out, "JPEG", quality=40)
    whole = out.getvalue()
    assert read(whole).notes == ()
    for end in range(whole.index(b"\xff\xda") + 2, len(whole) - 2, 37):
        assert read(whole[:end]).notes == (chunks.CUT_SHORT,), end
        with pytest.raises(OSError, match=r"truncated|Truncated|identify"):
            Image.open(io.BytesIO(whole[:end])).load()


def test_what_cameras_write_behind_a_picture_is_no_cut(grainy: bytes, read: Any) -> None:
    """A film, a preview, a text, a table of numbers, zeros: nobody says that the picture is cut short."""
    behind = [
        random.Random(5).randbytes(40_000), grainy, b"SEFT" + b"\0\1" * 30, bytes(9_000), b"\xff" * 5_000,
        b"".join(i.to_bytes(4, "little") for i in range(70_000, 75_000)), b"<xml/>" * 900,
    ]  # fmt: skip
    assert [read(grainy + trailer).notes for trailer in behind] == [()] * len(behind)


def test_an_exif_directory_without_entries_tells_nothing_and_is_not_damaged(read: Any) -> None:
    for model in ({}, {0x0110: "body A"}):
        exif, out = Image.Exif(), io.BytesIO()
        exif.update(model)
        if model:
            exif.get_ifd(0x8769)
        Image.new("RGB", (24, 16)).save(out, "JPEG", exif=exif)
        record = read(out.getvalue())
        assert (record.notes, record.camera) == ((), model.get(0x0110))
        assert math.isnan(record.f_number)
