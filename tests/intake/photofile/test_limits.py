"""How far the readers go: the bounds on segments, chunks, directories and reads, at either side of each."""

from __future__ import annotations

import math
import os
import struct

import pytest

from auditor.intake.photofile import chunks, tiffblock, window
from auditor.intake.photofile.containers import UnreadableError, collect_contents
from auditor.intake.photofile.contents import Contents
from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.tiffblock import DamagedBlockError, take_tags
from auditor.intake.photofile.window import ByteRange, ReadLimitError, Window
from tests.intake.photofile import builders as b

BLOCK = b.tiff({b.MODEL: (b.ASCII, "body A")})
PACKET = b.packet('xmp:Rating="4"')


def collected(data: bytes) -> Contents:
    return collect_contents(Window.of_bytes(data))


# --- a window on a file ------------------------------------------------------------------------------------


@pytest.fixture
def long_file(tmp_path):
    """A file of 100,000 bytes, each of which tells its place."""
    data = b"".join(i.to_bytes(4, "big") for i in range(25_000))
    (tmp_path / "long").write_bytes(data)
    fd = os.open(tmp_path / "long", os.O_RDONLY)
    yield fd, data
    os.close(fd)


STRETCHES = [
    (0, 9), (65_530, 6), (65_530, 20), (70_000, 100), (70_050, 50), (70_090, 5_000), (69_990, 30),
    (99_990, 10), (99_990, 50), (100_000, 5), (200_000, 5), (0, 65_536), (66_000, 30_000),
]  # fmt: skip


def test_any_stretch_of_a_file_reads_as_it_is(long_file):
    fd, data = long_file
    view = Window.of_file(fd, len(data))
    for start, count in STRETCHES:
        assert view.read(start, count) == data[start : start + count]


def test_what_has_been_read_is_not_read_again(long_file, monkeypatch):
    """The first 64 KB are there; a further read fetches 4 KB, whose last byte counts as its first does."""
    fd, data = long_file
    monkeypatch.setattr(window, "MAX_READS", 1)
    view = Window.of_file(fd, len(data))
    assert view.read(65_000, 536) == data[65_000:65_536]
    assert view.read(70_000, 10) == data[70_000:70_010]
    assert view.read(70_000, 4_096) == data[70_000:74_096]
    assert view.read(74_086, 10) == data[74_086:74_096]
    assert view.read(100_000, 10) == b""
    for start in (69_999, 74_087):
        with pytest.raises(ReadLimitError):
            Window.read(view, start, 10)


def test_patience_ends_after_so_many_bytes_and_not_before(long_file, monkeypatch):
    """At the end of a file there is less to read than is asked for, and less counts."""
    fd, data = long_file
    monkeypatch.setattr(window, "MAX_BYTES", 100)
    view = Window.of_file(fd, len(data))
    assert view.read(99_900, 4_000) == data[99_900:]
    with pytest.raises(ReadLimitError):
        view.read(99_000, 1)


def test_a_stretch_of_a_window_ends_where_it_ends():
    part = ByteRange(Window.of_bytes(bytes(range(100))), 10, 20)
    assert part.read(0, 3) == bytes([10, 11, 12])
    assert part.read(17, 3) == part.read(17, 9) == bytes([27, 28, 29])
    assert part.read(20, 1) == part.read(25, 9) == b""


# --- JPEG --------------------------------------------------------------------------------------------------


def scan(*pieces: bytes) -> bytes:
    """A JPEG whose picture data are these, and that ends with them."""
    return b.jpeg(BLOCK)[:-3] + b"".join(pieces)


@pytest.mark.parametrize(
    ("picture", "is_cut"),
    [(b"\x12\xff\x00\x34" * 3, True), (b"\x12\xff\x00\x34", True), (bytes(40), False),
     (b"\x12\xff\xd3\x34" * 3, True),
     (bytes(40_000) + b"\x12\xff\x00\x34" * 2, False), (bytes(40_000) + b"\x12\xff\x00\x34" * 3, True),
     (b"\x12\xff\x00\x34" * 3 + b"\xff\xd9", False), (b"\x12\xff\x00\x34" * 3 + b"\xff\xe1\x34", False),
     (b"\x12\xff\x00\x34" * 3 + bytes(3_000), True), (b"\x12\xff\x00\x34" * 3 + bytes(40_000), False),
     (b"\xff\xe1" + bytes(3_000) + b"\x12\xff\x00" * 3, True)],
)  # fmt: skip
def test_a_picture_is_cut_short_where_its_last_bytes_are_picture_data(picture, is_cut):
    """T.81, B.1.1.5: there 0xFF is followed by zero or a restart marker; three such bytes tell, or all."""
    assert (chunks.CUT_SHORT in collected(scan(picture)).notes) == is_cut


def test_the_jpeg_within_a_raw_file_may_end_where_it_likes():
    assert collected(b.raw_with_jpeg(scan(b"\x12\xff\x00\x34" * 3))[:-1_000]).notes == []


def test_markers_without_a_length_and_fill_bytes_are_passed_over():
    """T.81, table B.1: TEM and the restart markers stand alone."""
    found = collected(
        b.jpeg(BLOCK, PACKET, before=b"\xff\x01\xff\xd0\xff\xd7\xff\xff" + b.segment(0xE2, b""))
    )
    assert (found.packet, found.width, found.height, found.notes) == (PACKET, 640, 480, [])


def test_a_length_smaller_than_itself_is_taken_for_two():
    assert collected(b.jpeg(BLOCK, PACKET, before=b"\xff\xe2\x00\x00")).packet == PACKET


def test_the_first_frame_header_counts_and_tables_are_none():
    second = b.segment(0xC2, struct.pack(">BHHB", 8, 9, 9, 1) + b"\x01\x11\x00")
    tables = b"".join(b.segment(kind, bytes(range(1, 20))) for kind in (0xC4, 0xC8, 0xCC))
    found = collected(b.jpeg(BLOCK, before=tables)[:-10] + second)
    assert (found.width, found.height) == (640, 480)


def test_garbage_is_searched_so_far_and_no_farther(monkeypatch):
    monkeypatch.setattr(chunks, "MAX_GARBAGE_BYTES", 50)
    near, far = (b.jpeg(None, PACKET, before=b.segment(0xE2, b"") + b"\x12" * n) for n in (49, 50))
    assert collected(near).packet == PACKET
    with pytest.raises(UnreadableError, match="damaged"):
        collected(far)
    assert "the JPEG header is damaged" in collected(b.jpeg(BLOCK, after=b"\x12" * 50)).notes


def test_a_header_that_ends_after_a_segments_length_is_cut_short():
    assert collected(b"\xff\xd8" + b.segment(0xE1, b"Exif\0\0" + BLOCK) + b"\xff\xe2\x00\x02").notes == [
        chunks.CUT_SHORT
    ]
    assert collected(b"\xff\xd8" + b.segment(0xE1, b"Exif\0\0" + BLOCK) + b"\xff\xe2\x00").notes == [
        chunks.CUT_SHORT
    ]


# --- PNG and WebP ------------------------------------------------------------------------------------------


def text_chunk(text: bytes) -> bytes:
    return b.chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + text)


def test_a_png_chunk_is_read_up_to_the_bound_and_ten_of_them_are():
    other = b.chunk(b"iTXt", b"Comment\0\0\0\0\0words")
    assert collected(b.png(other * 9, text_chunk(PACKET))).packet == PACKET
    late = collected(b.png(other * 10, text_chunk(PACKET)))
    assert late.packet == b""
    assert len(late.notes) == 1


@pytest.mark.parametrize("over", [0, 1])
def test_chunks_of_just_the_largest_size_are_read(over, monkeypatch):
    png, webp = b.png(text_chunk(PACKET)), b.webp((b"XMP ", PACKET))
    monkeypatch.setattr(chunks, "MAX_PACKET_BYTES", len(text_chunk(PACKET)) - 12 - over)
    assert collected(png).packet == (b"" if over else PACKET)
    monkeypatch.setattr(chunks, "MAX_PACKET_BYTES", len(PACKET) - over)
    assert collected(webp).packet == (b"" if over else PACKET)


def test_too_many_chunks_end_the_walk(monkeypatch):
    monkeypatch.setattr(chunks, "MAX_CHUNKS", 3)
    assert collected(b.png(text_chunk(PACKET))).notes == ["the PNG has too many chunks: reading stopped"]
    assert collected(b.webp((b"XMP ", PACKET), (b"ANIM", b""))).notes == [
        "the WebP has too many chunks: reading stopped"
    ]


@pytest.mark.parametrize("length", [6, 7])
def test_a_webp_chunk_of_odd_length_is_followed_by_a_byte(length):
    """RFC 9649, 2.3."""
    found = collected(b.webp((b"ICCP", bytes(length)), (b"XMP ", PACKET)))
    assert (found.packet, found.notes) == (PACKET, [])


def test_a_webp_whose_canvas_is_cut_short_has_no_size():
    whole = b.webp()
    assert (collected(whole).width, collected(whole).height) == (640, 480)
    with pytest.raises(UnreadableError, match="damaged"):
        collected(whole[:-1])


def test_a_jpeg_without_picture_data_may_end_with_its_end_marker():
    found = collected(b"\xff\xd8" + b.segment(0xE1, b"Exif\0\0" + BLOCK) + b"\xff\xd9")
    assert found.notes == []


def test_a_webps_canvas_counts_before_its_frames():
    """RFC 9649: 14 bits each, less one, in a lossless frame; 14 bits in a lossy one, its scale above them."""
    lossy = bytes(6) + struct.pack("<HH", 300 | 1 << 14, 200 | 2 << 14)
    lossless = b"\x2f" + (299 | 199 << 14).to_bytes(4, "little") + bytes(5)
    for kind, data in ((b"VP8 ", lossy), (b"VP8L", lossless)):
        found = collected(b"RIFF" + bytes(4) + b"WEBP" + kind + struct.pack("<I", len(data)) + data)
        assert (found.width, found.height) == (300, 200)
        assert (collected(b.webp((kind, data))).width, collected(b.webp((kind, data))).height) == (640, 480)


# --- TIFF directories --------------------------------------------------------------------------------------


def directory(
    *entries: tuple[int, int, int, bytes], at: int = 8, before: bytes = b"", after: bytes = b""
) -> bytes:
    """A little-endian block of one directory at an offset, with what stands before and behind it."""
    head = struct.pack("<2sHI", b"II", 42, at) + before.ljust(at - 8, b"\0")
    packed = b"".join(struct.pack("<HHI4s", *entry) for entry in entries)
    return head + struct.pack("<H", len(entries)) + packed + bytes(4) + after


def tags_of(block: bytes, **found) -> tuple[dict, Contents]:
    contents = Contents("jpeg", **found)
    return take_tags(contents, ByteRange.of_bytes(block))[1], contents


MODEL = (b.MODEL, b.ASCII, 2, b"A\0\0\0")
ODD = (0x9999, 77, 1, bytes(4))


def test_a_directory_most_of_whose_entries_are_of_no_known_type_is_damaged():
    assert b.MODEL in tags_of(directory(MODEL, MODEL, ODD))[0]
    for entries in ((MODEL, ODD), (MODEL, ODD, ODD)):
        with pytest.raises(DamagedBlockError):
            tags_of(directory(*entries))


def test_an_empty_directory_is_damage_only_where_it_should_hold_a_picture():
    assert tags_of(directory())[0] == {}
    with pytest.raises(DamagedBlockError):
        tags_of(directory(), tiff_is_picture=True)


def test_values_may_stand_right_behind_the_header_and_up_to_the_end():
    f_number = struct.pack("<II", 28, 10)
    first = directory((b.F_NUMBER, b.RATIONAL, 1, struct.pack("<I", 8)), at=16, before=f_number)
    assert tags_of(first)[0][b.F_NUMBER] == (b.LONG, 2, f_number)
    end = len(directory(MODEL))
    last = directory((b.F_NUMBER, b.RATIONAL, 1, struct.pack("<I", end)), after=f_number)
    assert tags_of(last)[0][b.F_NUMBER] == (b.LONG, 2, f_number)
    for block in (
        last[:-1],
        directory((b.F_NUMBER, b.RATIONAL, 1, struct.pack("<I", 7)), at=16, before=f_number),
    ):
        values, found = tags_of(block)
        assert b.F_NUMBER not in values
        assert "points past the end" in found.notes[0]


def test_a_text_of_four_bytes_stands_in_its_entry_and_one_of_five_does_not():
    end = len(directory(MODEL))
    assert tags_of(directory((b.MODEL, b.ASCII, 4, b"abc\0")))[0][b.MODEL][2] == b"abc"
    far = directory((b.MODEL, b.ASCII, 5, struct.pack("<I", end)), after=b"abcd\0")
    assert tags_of(far)[0][b.MODEL][2] == b"abcd"


def test_a_long_text_is_cut_at_256_bytes():
    end = len(directory(MODEL))
    far = directory((b.MODEL, b.ASCII, 300, struct.pack("<I", end)), after=b"x" * 300)
    assert tags_of(far)[0][b.MODEL] == (b.ASCII, 256, b"x" * 256)
    values, found = tags_of(far[:-1])
    assert values == {}, "its last byte lies past the end"
    assert "points past the end" in found.notes[0]


def test_a_directory_of_the_largest_size_is_read(monkeypatch):
    monkeypatch.setattr(tiffblock, "MAX_ENTRIES", 2)
    assert b.MODEL in tags_of(directory(MODEL, MODEL))[0]
    with pytest.raises(DamagedBlockError):
        tags_of(directory(MODEL, MODEL, MODEL))


@pytest.mark.parametrize(
    "block",
    [
        directory(MODEL)[:9],
        directory(MODEL)[:7],
        b"XX" + directory(MODEL)[2:],
        b"XX" + b.tiff({b.MODEL: (b.ASCII, "body A")}, order=">")[2:],
        struct.pack("<2sHI", b"II", 42, 7) + b"\1\0" + bytes(30),
    ],
)
def test_without_a_directory_the_block_is_damaged(block):
    with pytest.raises(DamagedBlockError):
        tags_of(block)


def test_a_directory_cut_short_gives_its_whole_entries():
    block = directory(MODEL, (b.ISO, b.SHORT, 1, b"\x64\0\0\0"))
    assert list(tags_of(block[: 8 + 2 + 12 + 11])[0]) == [b.MODEL]


def test_a_packet_is_read_up_to_the_bound(monkeypatch):
    end = len(directory(MODEL))
    block = directory((0x02BC, b.BYTE, 9, struct.pack("<I", end)), after=b"<packet/>")
    for most, packet in ((9, b"<packet/>"), (8, b"")):
        monkeypatch.setattr(tiffblock, "MAX_PACKET_BYTES", most)
        assert tags_of(block)[1].packet == packet
    five = directory((0x02BC, b.BYTE, 5, struct.pack("<I", end)), after=b"<p />")
    assert tags_of(five)[1].packet == b"<p />"
    four = directory((0x02BC, b.BYTE, 4, struct.pack("<I", end)), after=b"<p/>")  # its value, not a place
    assert tags_of(four)[1].packet == b""


def test_the_picture_is_the_largest_of_those_that_are_no_previews():
    """NewSubfileType 1 is a reduced picture (TIFF 6.0); without it, some raw types' old JPEG (6) is."""

    def size(*pictures):
        subs = [{0x0100: (b.LONG, w), 0x0101: (b.LONG, h), **more} for w, h, more in pictures]
        found = tags_of(b.tiff({b.MODEL: (b.ASCII, "A")}, sub_ifds=subs), tiff_is_picture=True)[1]
        return found.width, found.height

    old_jpeg, reduced, full = {0x0103: (b.SHORT, 6)}, {0x00FE: (b.LONG, 1)}, {0x00FE: (b.LONG, 0)}
    assert size((900, 10, {}), (60, 400, {}), (8000, 1, {})) == (60, 400)
    assert size((60, 40, {}), (90, 90, old_jpeg)) == (60, 40)
    assert size((60, 40, {}), (90, 90, old_jpeg | full)) == (90, 90)
    assert size((60, 40, {}), (90, 90, {0x0103: (b.SHORT, 7)})) == (90, 90)
    assert size((60, 40, {}), (90, 90, reduced), (99, 99, {0x00FE: (b.LONG, 3)})) == (60, 40)
    assert size((60, 40, {}), (90, 90, {0x00FE: (b.LONG, 4)})) == (90, 90)


@pytest.mark.parametrize(("n", "width"), [(8, 8), (9, 0)])
def test_so_many_pictures_within_are_looked_at(n, width):
    subs = [{0x0100: (b.LONG, i + 1), 0x0101: (b.LONG, 1)} for i in range(n)]
    assert tags_of(b.tiff({b.MODEL: (b.ASCII, "A")}, sub_ifds=subs), tiff_is_picture=True)[1].width == width


def test_sides_in_sixteen_bits_and_of_the_other_byte_order(tmp_path):
    for order in "<>":
        path = tmp_path / "a.tif"
        path.write_bytes(b.tiff({0x0100: (b.SHORT, 600), 0x0101: (b.SHORT, 400)}, order=order))
        record = read_file(path)
        assert (record.stored_width_px, record.stored_height_px) == (600, 400)
        assert math.isnan(record.f_number)


def test_exif_of_a_webp_is_its_chunk_and_nothing_else():
    found = collected(b.webp((b"EXIF", BLOCK), (b"XMP ", PACKET)))
    assert found.tiff.read(0, 1000) == BLOCK


def test_a_png_that_ends_early_gives_what_came_before():
    found = collected(b.png(text_chunk(PACKET))[:-12])
    assert (found.packet, found.width, found.height, found.notes) == (PACKET, 640, 480, [])
