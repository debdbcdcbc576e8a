"""The boxes of HEIF files and raw files of that kind, in the forms that the standards allow.

Box layout: ISO/IEC 14496-12, 4.2; items and their places: 8.11.3 (iloc) and 8.11.6 (iinf).
"""

from __future__ import annotations

import struct

import pytest

from auditor.intake.photofile import bmff
from auditor.intake.photofile.bmff import _boxes
from auditor.intake.photofile.containers import UnreadableError, collect_contents
from auditor.intake.photofile.window import Window
from tests.intake.photofile import builders as b

BLOCK = b.tiff({b.MODEL: (b.ASCII, "body A")})
ITEM = bytes(4) + BLOCK
PACKET = b.packet('xmp:Rating="4"')
XMP_UUID = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
FTYP = b.box(b"ftyp", b"heic", bytes(4), b"mif1")


def collected(data: bytes):
    return collect_contents(Window.of_bytes(data))


def tiff_of(found) -> bytes:
    return found.tiff.read(0, found.tiff.length) if found.tiff else b""


def infe(number: int, kind: bytes, content_type: bytes = b"", version: int = 2) -> bytes:
    fields = struct.pack(">HH" if version == 2 else ">IH", number, 0)
    return b.box(b"infe", bytes([version, 0, 0, 0]), fields, kind, b"\0", content_type, b"\0")


def iinf(*entries: bytes, version: int = 0) -> bytes:
    return b.box(
        b"iinf", bytes([version, 0, 0, 0]), struct.pack(">I" if version else ">H", len(entries)), *entries
    )


def iloc(items, version: int = 1, sizes: int = 0x4400, count: int | None = None) -> bytes:
    """Item places: (id, method, base, [(offset, length)]), fields of as many bytes as ``sizes`` says."""

    def number(value: int, size: int) -> bytes:
        return value.to_bytes(size, "big")

    of_offset, of_length, of_base, of_index = (sizes >> shift & 0xF for shift in (12, 8, 4, 0))
    id_size = 2 if version < 2 else 4
    out = bytes([version, 0, 0, 0]) + number(sizes, 2) + number(count or len(items), id_size)
    for item, method, base, extents in items:
        out += number(item, id_size) + (number(method, 2) if version else b"") + bytes(2)
        out += number(base, of_base) + number(len(extents), 2)
        for offset, length in extents:
            out += (
                (bytes(of_index) if version else b"") + number(offset, of_offset) + number(length, of_length)
            )
    return b.box(b"iloc", out)


def picture(*parts: bytes, after: bytes = b"") -> bytes:
    return FTYP + b.box(b"meta", bytes(4), *parts) + after


# --- boxes -------------------------------------------------------------------------------------------------


def test_a_box_tells_its_own_size_in_three_ways():
    """In 32 bits; 1, then in 64 bits; or 0, up to the end."""
    large = struct.pack(">I4sQ", 1, b"free", 16 + 5) + b"large"
    data = b.box(b"free", b"abc") + large + b.box(b"skip") + struct.pack(">I4s", 0, b"mdat") + b"the rest"
    expected = [(b"free", b"abc"), (b"free", b"large"), (b"skip", b""), (b"mdat", b"the rest")]
    assert [(kind, data[start:end]) for kind, start, end in _boxes(data)] == expected
    shifted = b"1234" + data
    assert [(kind, shifted[start:end]) for kind, start, end in _boxes(shifted, 4)] == expected


def test_a_box_of_nothing_but_its_head_is_one_also_at_the_end():
    assert [kind for kind, _, _ in _boxes(b.box(b"free") + b.box(b"skip"))] == [b"free", b"skip"]
    assert list(_boxes(struct.pack(">I4sQ", 1, b"free", 16))) == [(b"free", 16, 16)]


@pytest.mark.parametrize("head", [struct.pack(">I4s", 7, b"free"), struct.pack(">I4sQ", 1, b"free", 15)])
def test_a_box_smaller_than_its_head_ends_the_walk(head):
    assert list(_boxes(head + b.box(b"skip"))) == []


def test_a_box_cut_short_ends_with_the_file():
    assert list(_boxes(b.box(b"free", bytes(100))[:50])) == [(b"free", 8, 50)]


def test_no_more_boxes_are_walked_than_allowed(monkeypatch):
    monkeypatch.setattr(bmff, "MAX_BOXES", 3)
    assert len(list(_boxes(b.box(b"free") * 5))) == 3


# --- which files are pictures ------------------------------------------------------------------------------


def test_the_brand_of_a_picture_counts_only_where_brands_stand():
    """Not in the version number after the first brand, nor behind the box."""
    content = b.box(
        b"meta", bytes(4), iinf(infe(1, b"Exif")), iloc([(1, 1, 0, [(0, len(ITEM))])]), b.box(b"idat", ITEM)
    )
    for brands in (b"isom" + bytes(4) + b"avif", b"avis" + bytes(4)):
        assert tiff_of(collected(b.box(b"ftyp", brands) + content)) == BLOCK
    for film in (
        b.box(b"ftyp", b"isom", b"heic"),
        b.box(b"ftyp", b"isom", bytes(4)) + b.box(b"free", b"heic" * 9),
    ):
        with pytest.raises(UnreadableError, match="not a picture"):
            collected(film + content)


def test_of_two_indexes_the_first_counts():
    first = b.heif(ITEM, inside_idat=True)
    other = b.heif(bytes(4) + b.tiff({b.MODEL: (b.ASCII, "body B")}), size=(9000, 9000), inside_idat=True)
    first += b.box(b"idat", bytes(90))  # outside of an index it is none of its
    found = collected(first + other[len(FTYP) + 4 :])
    assert tiff_of(found) == BLOCK
    assert (found.width, found.height, found.notes) == (640, 480, [])


def test_a_packet_in_a_box_of_its_own_is_taken_whole_and_up_to_its_bound(monkeypatch):
    data = b.raw_bmff(BLOCK, BLOCK, PACKET)
    assert collected(data).packet == PACKET
    monkeypatch.setattr(bmff, "MAX_PACKET_BYTES", len(PACKET) + 16)
    assert collected(data).packet == PACKET
    monkeypatch.setattr(bmff, "MAX_PACKET_BYTES", len(PACKET) + 15)
    assert collected(data).packet == b""
    monkeypatch.undo()
    other = b.raw_bmff(BLOCK, BLOCK) + b.box(b"uuid", bytes(range(16)), PACKET)
    assert collected(other).packet == b""


def test_a_raw_file_needs_a_block_that_is_one():
    inside = b.box(b"uuid", bytes(16), b.box(b"CMT1", BLOCK), b.box(b"CMT2", b"spoilt"))
    film = b.box(b"ftyp", b"crx ", bytes(4))
    found = collected(film + b.box(b"moov", b.box(b"trak", bytes(40)), inside))
    assert tiff_of(found) == BLOCK
    assert found.tiff_is_picture
    assert found.exif_ifd is None
    both = b.box(b"moov", b.box(b"uuid", bytes(16), b.box(b"CMT1", BLOCK), b.box(b"CMT2", ITEM[4:])))
    found = collected(film + both)
    assert found.exif_ifd.read(0, found.exif_ifd.length) == BLOCK
    for wrong in (
        b.box(b"uuid", bytes(16), b.box(b"CMT1", b"spoilt")),
        b.box(b"trak", bytes(16), b.box(b"CMT1", BLOCK)),
    ):
        with pytest.raises(UnreadableError):
            collected(film + b.box(b"moov", wrong))


# --- sizes -------------------------------------------------------------------------------------------------


def ispe(width: int, height: int) -> bytes:
    return b.box(b"ispe", bytes(4), struct.pack(">II", width, height))


@pytest.mark.parametrize(
    "sizes", [[(40, 30), (100, 10)], [(100, 10), (40, 30)], [(40, 30), (30, 40)], [(8, 6), (40, 30)]]
)
def test_the_picture_is_what_has_most_pixels_and_of_two_alike_the_first(sizes):
    found = collected(
        picture(b.box(b"iprp", b.box(b"ipma", bytes(8)), b.box(b"ipco", *(ispe(*s) for s in sizes))))
    )
    assert (found.width, found.height) == (40, 30)


def test_a_size_cut_short_is_none_and_no_other_property_is_one():
    other = b.box(b"pasp", bytes(4), struct.pack(">II", 9000, 9000))
    short = b.box(b"ispe", bytes(4), b"\0\0\0\x09\0\0\x05")
    found = collected(picture(b.box(b"iprp", b.box(b"ipco", other, short, ispe(40, 30)))))
    assert (found.width, found.height) == (40, 30)


# --- items -------------------------------------------------------------------------------------------------


def test_an_exif_item_may_say_that_its_header_stands_far_on():
    far = (100).to_bytes(4, "big") + bytes(100) + BLOCK
    assert tiff_of(collected(b.heif(far))) == BLOCK
    assert collected(b.heif((99).to_bytes(4, "big") + bytes(100) + BLOCK)).tiff is None


@pytest.mark.parametrize("version", [2, 3])
@pytest.mark.parametrize("index", [0, 1])
def test_item_numbers_of_two_and_of_four_bytes(version, index):
    number = 70_000 if version == 3 else 700
    items = iinf(infe(1, b"hvc1", version=version), infe(number, b"Exif", version=version), version=index)
    places = iloc([(1, 0, 0, [(0, 9)]), (number, 1, 0, [(3, len(ITEM))])], version=2)
    assert tiff_of(collected(picture(items, places, b.box(b"idat", b"abc", ITEM)))) == BLOCK


def test_only_a_mime_item_of_that_type_is_a_packet_and_the_first_counts():
    """Nor is an entry one that is empty, of another version, or of another kind of box."""
    kind = b"application/rdf+xml"
    entries = [
        b.box(b"free", b"\2\0\0\0\0\1\0\0Exif\0"),
        b.box(b"infe", b"\1\0\0\0\0\2\0\0Exif\0"),
        infe(3, b"mime", b"text/plain"),
        infe(4, b"hvc1", kind),
        infe(5, b"mime", kind),
        infe(6, b"mime", kind),
        infe(7, b"Exif"),
        infe(8, b"Exif"),
        b.box(b"infe"),
    ]
    data = [b"one", b"two", b"three", b"four", PACKET, b"six", ITEM, b"eight"]
    starts = [sum(map(len, data[:i])) for i in range(len(data))]
    places = iloc([(i + 1, 1, 0, [(starts[i], len(data[i]))]) for i in range(len(data))])
    found = collected(picture(iinf(*entries), places, b.box(b"idat", *data)))
    assert found.packet == PACKET
    assert tiff_of(found) == BLOCK
    assert found.notes == []


@pytest.mark.parametrize(
    ("version", "sizes"), [(0, 0x4440), (1, 0x4440), (1, 0x4444), (2, 0x8844), (1, 0x2480), (2, 0x4808)]
)
def test_places_of_several_pieces_with_fields_of_every_size(version, sizes):
    """Offsets count from the item's base; an index before each piece is passed over."""
    half = len(ITEM) // 2
    data = b"pad" + ITEM[half:] + b"gap" + ITEM[:half]
    base = 2 if sizes >> 4 & 0xF else 0
    in_idat, method = version > 0, 1 if version else 0
    head = len(FTYP) + 8 if not in_idat else 0
    extents = [(3 + len(ITEM) - half + 3 - base + head, half), (3 - base + head, len(ITEM) - half)]
    places = iloc([(9, method, 0, [(0, 1)]), (1, method | 0x30, base, extents)], version, sizes)
    meta = [iinf(infe(1, b"Exif")), places]
    if in_idat:
        file = picture(*meta, b.box(b"idat", data))
    else:  # in the file itself, before the index
        file = FTYP + b.box(b"mdat", data) + b.box(b"meta", bytes(4), *meta)
    assert tiff_of(collected(file)) == BLOCK


def test_items_made_of_other_items_are_left_alone():
    places = iloc([(1, 2, 0, [(0, len(ITEM))])])
    assert (
        collected(
            picture(
                iinf(infe(1, b"Exif")),
                places,
                b.box(b"idat", ITEM),
                b.box(b"iprp", b.box(b"ipco", ispe(4, 3))),
            )
        ).tiff
        is None
    )


def test_an_index_cut_short_still_gives_the_items_before_the_cut():
    places = iloc([(1, 1, 0, [(0, len(ITEM))])], count=5)
    assert tiff_of(collected(picture(iinf(infe(1, b"Exif")), places, b.box(b"idat", ITEM)))) == BLOCK


def test_a_place_cut_within_a_number_is_none():
    """What is left of a length of 25,600 bytes would be one of 100."""
    places = iloc([(1, 1, 0, [(0, 25_600)])])
    cut = struct.pack(">I", len(places) - 1) + places[4:-1]
    size = b.box(b"iprp", b.box(b"ipco", ispe(4, 3)))
    inside = b.box(b"idat", ITEM.ljust(25_600, b"\0"))
    assert collected(picture(iinf(infe(1, b"Exif")), cut, inside, size)).tiff is None
    assert collected(picture(iinf(infe(1, b"Exif")), places, inside, size)).tiff is not None


def test_as_many_pieces_are_read_as_allowed(monkeypatch):
    pieces = [(i, 1) for i in range(len(ITEM))]
    data = picture(iinf(infe(1, b"Exif")), iloc([(1, 1, 0, pieces)]), b.box(b"idat", ITEM))
    monkeypatch.setattr(bmff, "MAX_EXTENTS", len(ITEM))
    assert tiff_of(collected(data)) == BLOCK
    monkeypatch.setattr(bmff, "MAX_EXTENTS", len(ITEM) - 1)
    assert len(tiff_of(collected(data))) == len(BLOCK) - 1


def test_an_item_larger_than_any_packet_is_not_read(monkeypatch):
    data = picture(
        iinf(infe(1, b"Exif")), iloc([(1, 1, 0, [(0, 9), (9, len(ITEM) - 9)])]), b.box(b"idat", ITEM),
        b.box(b"iprp", b.box(b"ipco", ispe(4, 3))),
    )  # fmt: skip
    body = len(data) - len(FTYP) - 8
    monkeypatch.setattr(bmff, "MAX_PACKET_BYTES", body)
    assert tiff_of(collected(data)) == BLOCK
    wide = data.replace(struct.pack(">II", 9, len(ITEM) - 9), struct.pack(">II", 9, body - 8))
    assert collected(wide).tiff is None
    just = data.replace(struct.pack(">II", 9, len(ITEM) - 9), struct.pack(">II", 9, body - 9))
    assert tiff_of(collected(just)) == BLOCK
