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
    """The wanted properties of one XMP packet (embedded or sidecar).

    Attributes
    ----------
    rating : float
        ``xmp:Rating`` as a real number; NaN when absent. 0 means unrated, -1 not kept (ISO 16684-1).
    label : str or None
        ``xmp:Label``, free text.
    focus_distance_m : float
        ``aux:ApproximateFocusDistance`` or ``exif:SubjectDistance``; inf at infinity, NaN unknown.
    camera, serial, lens : str or None
        Of the serial number only :func:`with_serial_marks` gets past the reading.
    focal_length_mm, f_number, exposure_time_s, iso, focal_length_35mm : float
        From ``exif:``, ``exifEX:`` and ``tiff:`` properties; NaN unknown.
    captured_at : datetime or None
        Camera-local, naive.
    has_subseconds : bool
    """

    rating: float = NAN
    label: str | None = None
    focus_distance_m: float = NAN
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None
    focal_length_mm: float = NAN
    f_number: float = NAN
    exposure_time_s: float = NAN
    iso: float = NAN
    focal_length_35mm: float = NAN
    captured_at: datetime | None = None
    has_subseconds: bool = False


class FileRecord(NamedTuple):
    """One candidate file as read. A named tuple: an archive has hundreds of thousands, each made fast.

    Attributes
    ----------
    container : str
        ``jpeg``, ``tiff``, ``png``, ``webp``, ``bmff``, ``raw-jpeg`` or ``unknown``.
    error : str or None
        Why nothing could be read; None where the file was read (a file without Exif was read).
    captured_at : datetime or None
        Camera-local, naive, with its sub-seconds; None when absent or impossible.
    has_subseconds : bool
    flash : bool or None
        Whether a flash fired; None unknown.
    utc_offset_min : int or None
        OffsetTimeOriginal in minutes.
    stored_width_px, stored_height_px : int
        Pixel size of the picture as stored (frame header); 0 unknown.
    exif_width_px, exif_height_px : int
        ExifImageWidth and Length as first recorded; 0 unknown.
    orientation : int
        Exif Orientation, 1 when absent.
    focal_plane_px_per_mm : float
        FocalPlaneXResolution in pixels per millimetre.
    focus_distance_m : float
        EXIF SubjectDistance (see the design: most cameras write the lens's position there).
    exif_rating : float
        Rating 0x4746.
    xmp : XmpValues or None
        The embedded packet.
    notes : tuple of str
        Oddities worth listing (a repeated tag, a value past the block).
    """

    container: str = "unknown"
    error: str | None = None
    camera: str | None = None
    serial: str | None = None
    lens: str | None = None
    focal_length_mm: float = NAN
    f_number: float = NAN
    exposure_time_s: float = NAN
    iso: float = NAN
    captured_at: datetime | None = None
    has_subseconds: bool = False
    utc_offset_min: int | None = None
    stored_width_px: int = 0
    stored_height_px: int = 0
    exif_width_px: int = 0
    exif_height_px: int = 0
    orientation: int = 1
    focal_length_35mm: float = NAN
    focal_plane_px_per_mm: float = NAN
    digital_zoom: float = NAN
    focus_distance_m: float = NAN
    exif_rating: float = NAN
    flash: bool | None = None
    xmp: XmpValues | None = None
    notes: tuple[str, ...] = ()


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
