"""What one file says of its photograph, before anything is joined or assumed.

A :class:`FileRecord` is the only thing that leaves the readers. Unknown numbers are NaN, unknown texts are
None, infinity is ``math.inf``: the three are never mixed up further on.
"""

from __future__ import annotations

import math
from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

NAN = math.nan


class FileRecord(NamedTuple):
    """One file, or one packet of XMP, as read: a named tuple, fast to make, for an archive has many."""

    container: str = "unknown"  # `jpeg`, `tiff`, `png`, `webp`, `bmff`, `raw-jpeg`, `xmp` or `unknown`
    # why nothing could be read; None where the file was read (a file without Exif was read)
    error: str | None = None
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None
    focal_length_mm: float = NAN
    f_number: float = NAN
    exposure_time_s: float = NAN
    iso: float = NAN
    # camera-local, naive, with its sub-seconds; None when absent or impossible
    captured_at: datetime | None = None
    has_subseconds: bool = False
    # stored_width_px, stored_height_px: pixel size of the picture as stored (frame header); 0 unknown
    stored_width_px: int = 0
    stored_height_px: int = 0
    # exif_width_px, exif_height_px: ExifImageWidth and Length as first recorded; 0 unknown
    exif_width_px: int = 0
    exif_height_px: int = 0
    orientation: int = 1  # Exif Orientation, 1 when absent
    focal_length_35mm: float = NAN
    focal_plane_px_per_mm: float = NAN  # FocalPlaneXResolution in pixels per millimetre
    digital_zoom: float = NAN
    # Exif SubjectDistance (most cameras write the lens's position there), or what XMP has of the kind
    focus_distance_m: float = NAN
    rating: float = NAN  # stars; 0 unrated, -1 not kept (Exif 0x4746; `xmp:Rating`, ISO 16684-1)
    label: str | None = None  # `xmp:Label`
    flash: bool | None = None  # whether a flash fired; None unknown
    xmp: FileRecord | None = None  # the embedded packet
    notes: tuple[str, ...] = ()  # oddities worth listing (a repeated tag, a value past the block)


def with_serial_marks(record: FileRecord, model: str | None = None) -> FileRecord:
    """Return a record that tells two cameras of one model apart, and their serial numbers no more."""
    if record.serial is not None:
        text = f"{record.camera or model or ''}\n{record.serial}"
        record = record._replace(serial=sha256(text.encode(errors="replace")).hexdigest()[:3])
    if record.xmp is not None:
        record = record._replace(xmp=with_serial_marks(record.xmp, record.camera))
    return record
