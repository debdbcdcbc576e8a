"""Read the wanted properties of an XMP packet or sidecar (ISO 16684-1).

Properties are matched by namespace, never by prefix, as attribute or as element of the top descriptions.
Packets come from strangers: sizes are bounded before parsing and document types are refused.
"""

from __future__ import annotations

import math
import os
import re

from auditor.intake.photofile.opening import OpenError, opened
from auditor.intake.photofile.records import XmpValues
from auditor.intake.photofile.values import (
    MAX_F_NUMBER,
    MAX_FOCAL_LENGTH_MM,
    NAN,
    clean_text,
    distance_m,
    parse_time,
    positive,
)
from auditor.intake.photofile.xmpparse import RDF, XmpError, collect
from auditor.intake.photofile.xmpscan import Scanner

__all__ = ["XmpError", "parse_packet", "read_sidecar"]

MAX_BYTES = 4 << 20
MAX_PARTS = 100_000

_XMP = "http://ns.adobe.com/xap/1.0/"
_EXIF = "http://ns.adobe.com/exif/1.0/"
_EXIF_EX = "http://cipa.jp/exif/1.0/"
_AUX = "http://ns.adobe.com/exif/1.0/aux/"
_TIFF = "http://ns.adobe.com/tiff/1.0/"
_PHOTOSHOP = "http://ns.adobe.com/photoshop/1.0/"


# For each value the properties that may hold it; the first one that says something counts.
_SOURCES = {
    "rating": (f"{_XMP}}}Rating",),
    "label": (f"{_XMP}}}Label",),
    "distance": (f"{_EXIF}}}SubjectDistance",),
    "lens_position": (f"{_AUX}}}ApproximateFocusDistance",),
    "camera": (f"{_TIFF}}}Model",),
    "serial": (f"{_EXIF_EX}}}BodySerialNumber", f"{_AUX}}}SerialNumber"),
    "lens": (f"{_EXIF_EX}}}LensModel", f"{_AUX}}}Lens"),
    "focal_length": (f"{_EXIF}}}FocalLength",),
    "f_number": (f"{_EXIF}}}FNumber",),
    "exposure_time": (f"{_EXIF}}}ExposureTime",),
    "iso": (f"{_EXIF_EX}}}PhotographicSensitivity", f"{_EXIF}}}ISOSpeedRatings"),
    "other_iso": (
        f"{_EXIF_EX}}}StandardOutputSensitivity",
        f"{_EXIF_EX}}}RecommendedExposureIndex",
        f"{_EXIF}}}RecommendedExposureIndex",
        f"{_EXIF_EX}}}ISOSpeed",
    ),
    "focal_length_35mm": (f"{_EXIF}}}FocalLengthIn35mmFilm",),
    "captured_at": (f"{_EXIF}}}DateTimeOriginal", f"{_PHOTOSHOP}}}DateCreated"),
}
_WANTED = frozenset(name for names in _SOURCES.values() for name in names)
_SCANNER = Scanner(_WANTED, RDF)
FARTHEST_M = 1e9  # beyond it, all is infinity
_RATIONAL = re.compile(r"(-?\d{1,20})/(-?\d{1,20})", re.ASCII)
_TOO_LARGE = f"the XMP is larger than {MAX_BYTES >> 20} MB"


def parse_packet(data: bytes) -> XmpValues:
    """Read an XMP packet.

    Raises XmpError if it is too large, not UTF-8, not well-formed, or declares a document type or
    entities.
    """
    xml = _trim(data)
    plain = _SCANNER.scan(xml)
    return _to_values(collect(xml, _WANTED) if plain is None else plain)


def read_sidecar(path: str | os.PathLike[str]) -> XmpValues:
    """Read an XMP sidecar file.

    Raises XmpError as :func:`parse_packet`, and where the file cannot be read.
    """
    try:
        with opened(path) as (fd, size):
            if size > MAX_BYTES:
                raise XmpError(_TOO_LARGE)
            data = os.read(fd, MAX_BYTES + 1)
    except OpenError as error:
        raise XmpError(str(error)) from error
    return parse_packet(data)


def _trim(data: bytes) -> bytes:
    """Return the XML alone, or refuse what should not reach the parser."""
    if len(data) > MAX_BYTES:
        raise XmpError(_TOO_LARGE)
    end = data.rfind(b"<?xpacket end")
    start = data.find(b"<")
    xml = data[max(start, 0) : end if end > 0 else None].rstrip(b"\x00 \t\r\n")
    if b"\x00" in xml:
        raise XmpError("the XMP is not in UTF-8")
    if start < 0 or not xml:
        raise XmpError("there is no XMP in it")
    if xml.count(b"<") + xml.count(b"=") > MAX_PARTS:
        raise XmpError("the XMP has too many elements and attributes")
    return xml


def _to_values(found: dict[str, str]) -> XmpValues:
    def text(source: str) -> str | None:
        cleaned = (clean_text(found[name]) for name in _SOURCES[source] if name in found)
        return next((value for value in cleaned if value), None)

    def number(source: str) -> float:
        return _number(text(source))

    iso = number("iso")
    captured_at, has_subseconds = parse_time(text("captured_at"))
    distance = _distance_m(text("distance"))
    return XmpValues(
        rating=_number(text("rating")),
        label=text("label"),
        focus_distance_m=_distance_m(text("lens_position")) if math.isnan(distance) else distance,
        camera=text("camera"),
        serial=text("serial"),
        lens=text("lens"),
        focal_length_mm=positive(number("focal_length"), MAX_FOCAL_LENGTH_MM),
        f_number=positive(number("f_number"), MAX_F_NUMBER),
        exposure_time_s=positive(number("exposure_time")),
        iso=positive(number("other_iso") if not 0 < iso < 65535 else iso),
        focal_length_35mm=positive(number("focal_length_35mm")),
        captured_at=captured_at,
        has_subseconds=has_subseconds,
    )


def _number(text: str | None) -> float:
    """Read a real or a rational such as ``16/1``; NaN where it is neither."""
    if not text:
        return NAN
    numerator, _, denominator = text.partition("/")
    try:
        value = float(numerator) / float(denominator or "1")
    except (ValueError, ZeroDivisionError, OverflowError):
        return NAN
    return value if math.isfinite(value) else NAN


def _distance_m(text: str | None) -> float:
    """Read a distance; a rational by its raw pair, since infinity and unknown are in the numerator."""
    match = _RATIONAL.fullmatch(text) if text else None
    if match:
        return distance_m(int(match[1]), int(match[2]))
    metres = _number(text)
    return NAN if math.isnan(metres) else distance_m(round(min(metres, FARTHEST_M) * 1000), 1000)
