"""What one file says of its photograph, before anything is joined or assumed.

A :class:`FileRecord` is the only thing that leaves the readers. Unknown numbers are NaN, unknown texts are
None, infinity is ``math.inf``: the three are never mixed up further on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

NAN = math.nan


@dataclass(frozen=True, slots=True)
class XmpValues:
    """The wanted properties of one XMP packet (embedded or sidecar)."""

    # `xmp:Rating` as a real number; NaN when absent. 0 means unrated, -1 not kept (ISO 16684-1).
    rating: float = NAN
    label: str | None = None  # `xmp:Label`, free text
    # `aux:ApproximateFocusDistance` or `exif:SubjectDistance`; inf at infinity, NaN unknown
    focus_distance_m: float = NAN
    # camera, serial, lens: of the serial number only with_serial_marks gets past the reading
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None
    # focal_length_mm, f_number, exposure_time_s, iso, focal_length_35mm: from `exif:`, `exifEX:` and
    # `tiff:` properties; NaN unknown
    focal_length_mm: float = NAN
    f_number: float = NAN
    exposure_time_s: float = NAN
    iso: float = NAN
    focal_length_35mm: float = NAN
    captured_at: datetime | None = None  # camera-local, naive
    has_subseconds: bool = False


class FileRecord(NamedTuple):
    """One candidate file as read. A named tuple: an archive has hundreds of thousands, each made fast."""

    container: str = "unknown"  # `jpeg`, `tiff`, `png`, `webp`, `bmff`, `raw-jpeg` or `unknown`
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
    # EXIF SubjectDistance (see the design: most cameras write the lens's position there)
    focus_distance_m: float = NAN
    exif_rating: float = NAN  # rating 0x4746
    flash: bool | None = None  # whether a flash fired; None unknown
    xmp: XmpValues | None = None  # the embedded packet
    notes: tuple[str, ...] = ()  # oddities worth listing (a repeated tag, a value past the block)


def with_serial_marks(record: FileRecord) -> FileRecord:
    """Return a record that tells two cameras of one model apart, and their serial numbers no more."""
    if record.serial is not None:
        record = record._replace(serial=_mark(record.camera, record.serial))
    if record.xmp is not None and record.xmp.serial is not None:
        xmp = record.xmp
        marked = replace(xmp, serial=_mark(xmp.camera or record.camera, xmp.serial))
        record = record._replace(xmp=marked)
    return record


def _mark(model: str | None, serial: object) -> str:
    return sha256(f"{model or ''}\n{serial}".encode(errors="replace")).hexdigest()[:3]
