"""Writes an invented photograph as a camera and a photographer would: JPEG with Exif, ratings in XMP."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from auditor.simulate.truth import Lens, Outing

_QUALITY = 50
_EXIF_IFD = 0x8769
_HEAD = b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'  # fixed by ISO 16684-1
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_XMP = "http://ns.adobe.com/xap/1.0/"


def exif_block(press: Any, outing: Outing, lens: Lens | None) -> Image.Exif:
    """Build the Exif block of a frame (tag numbers: Exif 2.32); the lens's tags only where it reports."""
    exif = Image.Exif()
    exif[0x0110] = outing.camera
    tags = exif.get_ifd(_EXIF_IFD)
    tags[0x829A] = IFDRational(1, round(1 / press.exposure_time_s))
    tags[0x8827] = round(press.iso)
    tags[0x9000] = b"0232"
    tags[0x9003] = f"{press.captured_at:%Y:%m:%d %H:%M:%S}"
    if outing.subseconds:
        tags[0x9291] = f"{press.captured_at.microsecond // 10_000:02d}"
    if lens is not None and lens.reports:
        tags[0x829D] = IFDRational(round(press.f_number * 10), 10)
        tags[0x9206] = IFDRational(round(press.focus_m * 100), 100)
        tags[0x920A] = IFDRational(round(lens.focal_length_mm), 1)
        tags[0xA405] = round(lens.focal_length_mm)
        tags[0xA434] = lens.name
    return exif


def jpeg_bytes(picture: Image.Image, exif: Image.Exif, rating: int | None = None) -> bytes:
    """Encode a picture; the rating, if any, in an embedded XMP packet."""
    buffer = BytesIO()
    packet = {} if rating is None else {"xmp": _HEAD + rating_xmp(rating) + b'<?xpacket end="w"?>'}
    picture.save(
        buffer, "JPEG", quality=_QUALITY, subsampling=2, optimize=True, exif=exif.tobytes(), **packet
    )
    return buffer.getvalue()


def rating_xmp(rating: int, *, as_element: bool = False) -> bytes:
    """Return an XMP document that holds a rating, as attribute or as element (ISO 16684-1, 7.4 and 7.9)."""
    attribute = "" if as_element else f' xmp:Rating="{rating}"'
    element = f">\n  <xmp:Rating>{rating}</xmp:Rating>\n </rdf:Description>" if as_element else "/>"
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        f'<rdf:RDF xmlns:rdf="{_RDF}">\n'
        f' <rdf:Description rdf:about="" xmlns:xmp="{_XMP}"{attribute}{element}\n'
        "</rdf:RDF>\n</x:xmpmeta>\n"
    ).encode()
