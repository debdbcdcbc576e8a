"""Walk the boxes of ISO base media files: HEIC, HEIF, AVIF, and raw files built the same way.

Box layout from ISO/IEC 14496-12, items from ISO/IEC 23008-12, the XMP box from the XMP specification part 3.
"""

from collections.abc import Iterator

from auditor.intake.photofile.contents import MAX_PACKET_BYTES, Contents, tiff_start
from auditor.intake.photofile.window import ByteRange, Window

MAX_BOXES = 10_000
MAX_EXTENTS = 20_000
_XMP_UUID = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
_XMP_TYPE = b"application/rdf+xml"
_PICTURE_BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"}
    | {b"mif1", b"mif2", b"msf1", b"avif", b"avis"}
)

_Box = tuple[bytes, int, int]  # kind, first byte of the body, end of the body


def walk_bmff(window: Window, found: Contents) -> bool:
    """Collect Exif, XMP and pixel size; return False where the file is no picture (a film, for example)."""
    is_picture = False
    seen: set[bytes] = set()
    for kind, start, end in _boxes(window):
        if kind == b"ftyp":
            brands = window.read(start, min(end - start, 512))
            is_picture = any(brands[i : i + 4] in _PICTURE_BRANDS for i in range(0, len(brands), 4) if i != 4)
        elif kind in (b"meta", b"moov") and kind not in seen:
            seen.add(kind)
            if end - start > MAX_PACKET_BYTES:
                found.notes.append("the index of the file is too large and was not read")
                continue
            data = window.read(start, end - start)
            if kind == b"meta":
                _take_meta(window, data, found)
            elif _take_raw_blocks(data, found):
                is_picture = True
        elif kind == b"uuid" and window.read(start, 16) == _XMP_UUID and end - start <= MAX_PACKET_BYTES:
            found.take_packet(window.read(start + 16, end - start - 16))
    return is_picture


def _boxes(data: Window | bytes, at: int = 0) -> Iterator[_Box]:
    """Yield the boxes of a file, or of a box that is in memory."""
    window = Window.of_bytes(data) if isinstance(data, bytes) else data
    for _ in range(MAX_BOXES):
        head = window.read(at, 16)
        if len(head) < 8:
            return
        size, body = int.from_bytes(head[:4], "big"), 8
        if size == 1:
            size, body = int.from_bytes(head[8:16], "big"), 16
        elif size == 0:
            size = window.size - at
        if size < body:
            return
        yield head[4:8], at + body, min(at + size, window.size)
        at += size


def _take_meta(window: Window, meta: bytes, found: Contents) -> None:
    parts = {kind: meta[start:end] for kind, start, end in _boxes(meta, 4)}
    for kind, start, end in _boxes(parts.get(b"iprp", b"")):
        if kind == b"ipco":
            _take_largest_size(parts[b"iprp"][start:end], found)
    wanted = _wanted_items(parts.get(b"iinf", b""))
    if not wanted:
        return
    places = _item_places(parts.get(b"iloc", b""), set(wanted))
    for item, kind in wanted.items():
        data = _item_data(window, parts.get(b"idat", b""), places.get(item, []))
        if kind == b"mime":
            found.take_packet(data)
        else:
            # Four bytes say how far on the TIFF header stands, and are not always right.
            declared = 4 + int.from_bytes(data[:4], "big")
            sound = tiff_start(data[declared : declared + 4]) == 0
            found.take_tiff(ByteRange.of_bytes(data[declared:] if sound else data))


def _take_largest_size(properties: bytes, found: Contents) -> None:
    """Take the largest image extent: tiles, thumbnails and depth maps are smaller than the picture."""
    for kind, start, end in _boxes(properties):
        if kind == b"ispe" and end - start >= 12:
            width = int.from_bytes(properties[start + 4 : start + 8], "big")
            height = int.from_bytes(properties[start + 8 : start + 12], "big")
            if width * height > found.width * found.height:
                found.width, found.height = width, height


def _wanted_items(iinf: bytes) -> dict[int, bytes]:
    """Return the ids of the first Exif and the first XMP item with their kind, from the information box."""
    wanted: dict[int, bytes] = {}
    for kind, start, end in _boxes(iinf, 6 if iinf[:1] == b"\x00" else 8):
        version = iinf[start] if start < end else 0
        if kind != b"infe" or version not in (2, 3):
            continue
        after_id = start + (6 if version == 2 else 8)
        item = int.from_bytes(iinf[start + 4 : after_id], "big")
        item_kind = iinf[after_id + 2 : after_id + 6]
        is_xmp = item_kind == b"mime" and _XMP_TYPE in iinf[after_id + 6 : end]
        if (item_kind == b"Exif" or is_xmp) and item_kind not in wanted.values():
            wanted[item] = item_kind
    return wanted


def _item_places(iloc: bytes, wanted: set[int]) -> dict[int, list[tuple[int, int, int]]]:
    """Return (construction method, offset, length) of every extent of the wanted items."""
    places: dict[int, list[tuple[int, int, int]]] = {}
    at = steps = 0

    def take(count: int) -> int:
        nonlocal at
        if at + count > len(iloc):
            raise EOFError
        at += count
        return int.from_bytes(iloc[at - count : at], "big")

    try:
        version = take(4) >> 24
        sizes = take(2)
        id_bytes = 2 if version < 2 else 4
        for _ in range(min(take(id_bytes), MAX_EXTENTS)):
            item = take(id_bytes)
            method = take(2) & 0xF if version in (1, 2) else 0
            take(2)  # data reference: this file
            base = take(sizes >> 4 & 0xF)
            for _ in range(take(2)):
                steps += 1  # an extent may take no bytes at all, so bytes alone set no end
                if steps > MAX_EXTENTS:
                    return places
                if version in (1, 2):
                    take(sizes & 0xF)
                offset, length = take(sizes >> 12), take(sizes >> 8 & 0xF)
                if item in wanted:
                    places.setdefault(item, []).append((method, base + offset, length))
    except EOFError:
        pass  # an index cut short still gives the items before the cut
    return places


def _item_data(window: Window, idat: bytes, extents: list[tuple[int, int, int]]) -> bytes:
    if sum(length for _, _, length in extents) > MAX_PACKET_BYTES:
        return b""
    pieces = [
        idat[offset : offset + length] if method == 1 else window.read(offset, length)
        for method, offset, length in extents
        if method in (0, 1)
    ]
    return b"".join(pieces)


def _take_raw_blocks(moov: bytes, found: Contents) -> bool:
    """Take the TIFF blocks that a raw file keeps in a uuid box: IFD0, then the Exif IFD."""
    for kind, start, end in _boxes(moov):
        if kind != b"uuid":
            continue
        inside = moov[start + 16 : end]
        blocks = {name: inside[first:last] for name, first, last in _boxes(inside) if name[:3] == b"CMT"}
        if tiff_start(blocks.get(b"CMT1", b"")) == 0:
            found.tiff, found.tiff_is_picture = ByteRange.of_bytes(blocks[b"CMT1"]), True
            if tiff_start(blocks.get(b"CMT2", b"")) == 0:
                found.exif_ifd = ByteRange.of_bytes(blocks[b"CMT2"])
            return True
    return False
