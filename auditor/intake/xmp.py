"""Read the wanted properties of an XMP packet or sidecar (ISO 16684-1).

Properties are matched by namespace, never by prefix, as attribute or as element of the top descriptions.
Packets come from strangers: sizes are bounded before parsing and document types are refused.
"""

from __future__ import annotations

import math
import os
import re
from xml.parsers.expat import ExpatError, XMLParserType

from defusedxml.common import DefusedXmlException
from defusedxml.expatbuilder import DefusedExpatBuilder

from auditor.intake.opening import OpenError, opened
from auditor.intake.records import XmpValues
from auditor.intake.values import (
    MAX_F_NUMBER,
    MAX_FOCAL_LENGTH_MM,
    NAN,
    clean_text,
    distance_m,
    parse_time,
    positive,
)
from auditor.intake.xmpscan import Scanner

MAX_BYTES = 4 << 20
MAX_TAGS = 100_000
MAX_DEPTH = 100

_XMP = "http://ns.adobe.com/xap/1.0/"
_EXIF = "http://ns.adobe.com/exif/1.0/"
_EXIF_EX = "http://cipa.jp/exif/1.0/"
_AUX = "http://ns.adobe.com/exif/1.0/aux/"
_TIFF = "http://ns.adobe.com/tiff/1.0/"
_PHOTOSHOP = "http://ns.adobe.com/photoshop/1.0/"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"

_RDF_ROOT, _ITEM, _VALUE = f"{_RDF}}}RDF", f"{_RDF}}}li", f"{_RDF}}}value"


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
_SCANNER = Scanner(_WANTED, _RDF)
_WANTED_LOCAL = frozenset(name.partition("}")[2] for name in _WANTED)
_WANTED_BY_NAMESPACE = {
    uri: [name.partition("}")[2] for name in _WANTED if name.partition("}")[0] == uri]
    for uri in {name.partition("}")[0] for name in _WANTED}
}
_RATIONAL = re.compile(r"(-?\d{1,20})/(-?\d{1,20})", re.ASCII)
_NOT_YET = 1 << 30  # deeper than any packet
_TOO_LARGE = f"the XMP is larger than {MAX_BYTES >> 20} MB"


class XmpError(ValueError):
    """The packet cannot be read; the message says why, to a person."""


def parse_packet(data: bytes) -> XmpValues:
    """Read an XMP packet.

    Parameters
    ----------
    data : bytes
        The packet, with or without its ``<?xpacket`` wrapper and padding.

    Raises
    ------
    XmpError
        If it is too large, not UTF-8, not well-formed, or declares a document type or entities.
    """
    return _to_values(_properties(_trim(data)))


def read_sidecar(path: str | os.PathLike[str]) -> XmpValues:
    """Read an XMP sidecar file.

    Raises
    ------
    XmpError
        As :func:`parse_packet`, and where the file cannot be read.
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
    if xml.count(b"<") > MAX_TAGS:
        raise XmpError("the XMP has too many elements")
    return xml


def _properties(xml: bytes) -> dict[str, str]:
    plain = _SCANNER.scan(xml)
    if plain is not None:
        return plain
    parser, found = _collector()
    try:
        parser.Parse(xml, True)
    except ExpatError as error:
        raise XmpError(f"the XMP is not well-formed: {error}") from error
    except DefusedXmlException as error:
        raise XmpError("the XMP declares a document type or entities, which is refused") from error
    except (ValueError, LookupError) as error:
        if isinstance(error, XmpError):
            raise
        raise XmpError("the XMP has an encoding that is not read") from error
    return found


def _collector() -> tuple[XMLParserType, dict[str, str]]:
    """Return a parser and the properties it will have collected; it builds no tree.

    Properties are attributes and children of the descriptions right below ``rdf:RDF``. Descriptions further
    down belong to other pictures (ingredients, history) and are passed over. Prefixes are resolved here,
    since the parser would resolve those of all the properties that nobody wants, which takes half as long
    again.
    """
    found: dict[str, str] = {}
    parser: XMLParserType = DefusedExpatBuilder(forbid_dtd=True).getParser()
    depth = 0
    deepest = MAX_DEPTH  # below this depth nothing is of interest
    rdf_depth = 0
    scopes: list[dict[str, str]] = [{}]  # namespaces by prefix, for each open element down to `deepest`
    wanted = ""  # the wanted property that is open
    texts: list[str] = []  # its own text, then that of each item
    default = 0  # which of the texts is in the default language

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth, deepest, rdf_depth, wanted, texts, default
        depth += 1
        if depth > deepest:
            if depth > MAX_DEPTH:
                raise XmpError("the XMP is nested too deeply")
            return
        scope = scopes[-1]
        declared = {key[6:]: attributes[key] for key in attributes if key.startswith("xmlns")}
        if declared:
            scope = scope | declared
        scopes.append(scope)
        if wanted:
            if _expanded(name, scope) in (_ITEM, _VALUE):
                texts.append("")
                if attributes.get("xml:lang") == "x-default":
                    default = len(texts) - 1
        elif not rdf_depth:
            if _expanded(name, scope) == _RDF_ROOT:
                rdf_depth, deepest = depth, depth + 1
        elif depth == rdf_depth + 1:
            deepest = depth + 1
            for key, expanded in _wanted_names(scope):
                if key in attributes:
                    found.setdefault(expanded, attributes[key])
        elif name.rpartition(":")[2] in _WANTED_LOCAL:
            expanded = _expanded(name, scope)
            if expanded in _WANTED and expanded not in found:
                wanted, texts, default, deepest = expanded, [""], 0, MAX_DEPTH
                parser.CharacterDataHandler = text

    def text(piece: str) -> None:
        texts[-1] += piece

    def end(_name: str) -> None:
        nonlocal depth, deepest, wanted
        if depth < len(scopes):
            scopes.pop()
        depth -= 1
        if wanted and depth == rdf_depth + 1:
            found[wanted] = texts[default or min(1, len(texts) - 1)]
            wanted, deepest = "", depth + 1
            parser.CharacterDataHandler = None

    parser.ordered_attributes = False
    parser.CommentHandler = None
    parser.ProcessingInstructionHandler = None
    parser.XmlDeclHandler = None
    parser.CharacterDataHandler = None
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    return parser, found


def _expanded(name: str, scope: dict[str, str]) -> str:
    """Return the name with its namespace in place of the prefix, ``uri}local``."""
    prefix, _, local = name.rpartition(":")
    return f"{scope.get(prefix, '')}}}{local}"


def _wanted_names(scope: dict[str, str]) -> list[tuple[str, str]]:
    """Return the wanted attributes as they are written under these prefixes, with their expanded names."""
    return [
        (f"{prefix}:{local}", f"{uri}}}{local}")
        for prefix, uri in scope.items()
        if prefix  # a default namespace does not reach attributes
        for local in _WANTED_BY_NAMESPACE.get(uri, ())
    ]


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
    return NAN if math.isnan(metres) else distance_m(round(metres * 1000), 1000)
