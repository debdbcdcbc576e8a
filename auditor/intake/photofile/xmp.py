"""Read the wanted properties of an XMP packet or sidecar (ISO 16684-1).

Properties are matched by namespace, never by prefix, as attribute or as element of the top descriptions.
Packets come from strangers: sizes are bounded before parsing, depth is too, document types and entities are
refused, and no tree is built.
"""

import math
import os
import re
from xml.parsers.expat import ExpatError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from auditor.intake.photofile.opening import OpenError, opened
from auditor.intake.photofile.records import FileRecord
from auditor.intake.photofile.values import (
    MAX_F_NUMBER,
    MAX_FOCAL_LENGTH_MM,
    NAN,
    clean_text,
    distance_m,
    parse_time,
    positive,
)

MAX_BYTES = 4 << 20
MAX_PARTS = 100_000
MAX_DEPTH = 100

_XMP = "http://ns.adobe.com/xap/1.0/"
_EXIF = "http://ns.adobe.com/exif/1.0/"
_EXIF_EX = "http://cipa.jp/exif/1.0/"
_AUX = "http://ns.adobe.com/exif/1.0/aux/"
_TIFF = "http://ns.adobe.com/tiff/1.0/"
_PHOTOSHOP = "http://ns.adobe.com/photoshop/1.0/"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_RDF_ROOT = f"{_RDF}}}RDF"
_ITEMS = (f"{_RDF}}}li", f"{_RDF}}}value")
_LANGUAGE = "http://www.w3.org/XML/1998/namespace}lang"

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
_NOT_YET = 1 << 30  # deeper than any packet
FARTHEST_M = 1e9  # beyond it, all is infinity
_RATIONAL = re.compile(r"(-?\d{1,20})/(-?\d{1,20})", re.ASCII)
_TOO_LARGE = f"the XMP is larger than {MAX_BYTES >> 20} MB"


class XmpError(ValueError):
    """The packet cannot be read; the message says why, to a person."""


def parse_packet(data: bytes) -> FileRecord:
    """Read an XMP packet; XmpError if it is too large, not UTF-8, not well-formed, or not plain XML."""
    return _as_record(_collect(_trim(data)))


def read_sidecar(path: str | os.PathLike[str]) -> FileRecord:
    """Read an XMP sidecar file; XmpError as :func:`parse_packet`, and where the file cannot be read."""
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


def _collect(xml: bytes) -> dict[str, str]:
    """Return the wanted properties of a packet by name.

    Properties are attributes and children of the nodes right below ``rdf:RDF``; the first of each counts.
    Nodes further down belong to other pictures (ingredients, history) and are passed over. Of an array the
    first item counts, of language alternatives the default one.
    """
    collector = _Collector()
    try:
        collector.parser.Parse(xml, True)
    except ExpatError as error:
        raise XmpError(f"the XMP is not well-formed: {error}") from error
    except DefusedXmlException as error:
        raise XmpError("the XMP declares a document type or entities, which is refused") from error
    except XmpError:
        raise
    except (ValueError, LookupError) as error:
        raise XmpError("the XMP has an encoding that is not read") from error
    return collector.found


class _Collector:
    """Listens to the parser; names come as ``namespace}local``."""

    def __init__(self) -> None:
        self.found: dict[str, str] = {}
        self.parser = DefusedXMLParser(forbid_dtd=True).parser
        self.parser.ordered_attributes = False
        self.parser.DefaultHandlerExpand = None
        self.parser.CommentHandler = None
        self.parser.ProcessingInstructionHandler = None
        self.parser.CharacterDataHandler = None
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self._depth = 0
        self._root_depth = _NOT_YET
        self._open = ""  # the wanted property whose element is open
        self._texts: list[list[str]] = []  # pieces of its own text, of its first item's, of what follows, ...
        self._default = 0  # which of the texts is in the default language

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > MAX_DEPTH:
            raise XmpError("the XMP is nested too deeply")
        level = self._depth - self._root_depth
        if self._open:
            if name in _ITEMS:
                self._texts.append([])
                if attributes.get(_LANGUAGE) == "x-default":
                    self._default = len(self._texts) - 1
        elif level == 1:
            for key in _WANTED & attributes.keys():
                self.found.setdefault(key, attributes[key])
        elif level == 2 and name in _WANTED and name not in self.found:
            self._open, self._texts, self._default = name, [[]], 0
            self.parser.CharacterDataHandler = self._text
        elif name == _RDF_ROOT and self._root_depth == _NOT_YET:
            self._root_depth = self._depth

    def _text(self, text: str) -> None:
        self._texts[-1].append(text)

    def _end(self, name: str) -> None:
        self._depth -= 1
        if not self._open:
            return
        if name in _ITEMS:
            self._texts.append([])
        if self._depth - self._root_depth == 1:
            self.found[self._open] = "".join(self._texts[self._default or min(1, len(self._texts) - 1)])
            self._open = ""
            self.parser.CharacterDataHandler = None


def _as_record(found: dict[str, str]) -> FileRecord:
    def text(source: str) -> str | None:
        cleaned = (clean_text(found[name]) for name in _SOURCES[source] if name in found)
        return next((value for value in cleaned if value), None)

    def number(source: str) -> float:
        return _number(text(source))

    iso = number("iso")
    captured_at, has_subseconds = parse_time(text("captured_at"))
    distance = _distance_m(text("distance"))
    return FileRecord(
        container="xmp",
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
