"""Read one picture file into a :class:`~auditor.intake.photofile.records.FileRecord`.

The container is walked by our own code, the Exif block is reduced to the wanted tags, and exifread decodes
what is left. Nothing a file contains makes :func:`read_file` raise.
"""

import os
from io import BytesIO
from typing import Any

import exifread

from auditor.intake.photofile.containers import DAMAGED, UnreadableError, collect_contents
from auditor.intake.photofile.contents import Contents
from auditor.intake.photofile.exifvalues import Values, exif_fields
from auditor.intake.photofile.opening import UNFORESEEN, OpenError, opened
from auditor.intake.photofile.records import FileRecord
from auditor.intake.photofile.tiffblock import DamagedBlockError, Order, Value, build_block, take_tags
from auditor.intake.photofile.window import ReadLimitError, Window
from auditor.intake.photofile.xmp import XmpError, parse_packet

# Lower-case endings of the files that are looked at. Some raw types among them cannot be read: they are
# counted and listed, and their sidecars still count.
PICTURE_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".mpo", ".tif", ".tiff", ".png", ".webp", ".heic", ".heif", ".hif", ".avif"}
    | {".dng", ".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".erf", ".fff", ".gpr", ".iiq", ".kdc", ".mef"}
    | {".mos", ".mrw", ".nef", ".nrw", ".orf", ".ori", ".pef", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf"}
    | {".srw", ".x3f"}
)

MAX_REMEMBERED = 4_096
_DECODED: dict[tuple[Order, int, Value], Any] = {}  # byte order, tag and raw value: decoded value


def read_file(path: str | os.PathLike[str]) -> FileRecord:
    """Read what one candidate file says of its photograph."""
    try:
        with opened(path) as (fd, size):
            return _read(Window.of_file(fd, size))
    except (OpenError, UnreadableError) as error:
        return FileRecord(error=str(error))
    except Exception as error:
        return FileRecord(error=f"{UNFORESEEN} ({type(error).__name__})")


def _read(window: Window) -> FileRecord:
    found = collect_contents(window)
    values, notes = _exif_of(found), found.notes
    xmp = None
    if found.packet:
        try:
            xmp = parse_packet(found.packet)
        except XmpError as error:
            notes.append(f"embedded XMP: {error}")
    if values is None and xmp is None and not found.width:
        raise UnreadableError(DAMAGED)
    fields = {} if values is None else exif_fields(values, notes)
    return FileRecord(
        container=found.container,
        stored_width_px=found.width,
        stored_height_px=found.height,
        xmp=xmp,
        notes=tuple(dict.fromkeys(notes)),
        **fields,
    )


def _exif_of(found: Contents) -> Values | None:
    if found.tiff is None:
        return None
    try:
        order, tags = take_tags(found, found.tiff)
    except DamagedBlockError:
        if found.container == "tiff":
            raise UnreadableError("a damaged TIFF, or a raw type this reader does not know") from None
        found.notes.append("the Exif block is damaged and was not read")
    except ReadLimitError:
        found.notes.append("the file asks for too much reading: its Exif was not read")
    else:
        return _decode(order, tags)
    return None


def _decode(order: Order, tags: dict[int, Value]) -> Values:
    """Let exifread decode the reduced block, but what is remembered of other frames; tags by number."""
    if len(_DECODED) > MAX_REMEMBERED:
        _DECODED.clear()
    values: Values = {}
    fresh: dict[int, Value] = {}
    for tag, value in tags.items():
        known = _DECODED.get((order, tag, value))
        if known is None:
            fresh[tag] = value
        else:
            values[tag] = known
    if fresh:
        block = BytesIO(build_block(order, fresh))
        for decoded in exifread.process_file(block, details=False, extract_thumbnail=False).values():
            values[decoded.tag] = decoded.values
            _DECODED[order, decoded.tag, fresh[decoded.tag]] = decoded.values
    return values
