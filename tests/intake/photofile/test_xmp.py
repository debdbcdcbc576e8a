"""XMP packets and sidecars: forms, meanings, and hostile ones (ISO 16684-1; ratings from its Table 5)."""

from __future__ import annotations

import contextlib
import math
import os
import time
from datetime import datetime
from pathlib import Path

import pyexiv2
import pytest

from auditor.intake.photofile import xmp
from auditor.intake.photofile.xmp import XmpError, parse_packet, read_sidecar
from tests.intake.photofile import builders as b
from tests.intake.photofile.worst import HOSTILE_PACKETS

NOT_A_NUMBER = math.nan


@pytest.mark.parametrize(
    ("text", "rating"),
    [
        ("0", 0), ("1", 1), ("5", 5), ("1.0", 1), ("5.0", 5), ("-1", -1), ("-1.0", -1), ("3.5", 3.5),
        ("", NOT_A_NUMBER), (" ", NOT_A_NUMBER), ("good", NOT_A_NUMBER), ("nan", NOT_A_NUMBER),
        ("inf", NOT_A_NUMBER), ("1e999", NOT_A_NUMBER), (" 4 ", 4),
    ],
)  # fmt: skip
@pytest.mark.parametrize("form", ["attribute", "element"])
def test_rating_is_a_real_number_in_both_forms(text: str, rating: float, form: str) -> None:
    data = (
        b.packet(f'xmp:Rating="{text}"')
        if form == "attribute"
        else b.packet("", f"<xmp:Rating>{text}</xmp:Rating>")
    )
    assert parse_packet(data).rating == pytest.approx(rating, nan_ok=True)


def test_absent_properties_are_unknown() -> None:
    values = parse_packet(b.packet())
    assert math.isnan(values.rating)
    assert values.label is None
    assert math.isnan(values.focus_distance_m)


def test_the_namespace_counts_not_the_prefix() -> None:
    old = b.packet('xap:Rating="4"', namespaces=f'xmlns:xap="{b.XMP}"')
    stranger = b.packet('other:Rating="4"', namespaces='xmlns:other="http://example.org/"')
    assert parse_packet(old).rating == 4
    assert math.isnan(parse_packet(stranger).rating)


def test_a_default_namespace_and_one_declared_on_the_property() -> None:
    assert parse_packet(b.packet("", f'<Rating xmlns="{b.XMP}">2</Rating>')).rating == 2
    assert parse_packet(b.packet("", f'<q:Rating xmlns:q="{b.XMP}">2</q:Rating>')).rating == 2


def test_a_prefix_that_changes_its_meaning() -> None:
    inner = '<q:Rating xmlns:q="http://example.org/">5</q:Rating>'
    data = b.packet("", inner + "<q:Rating>3</q:Rating>", namespaces=f'xmlns:q="{b.XMP}"')
    assert parse_packet(data).rating == 3


def test_several_descriptions() -> None:
    data = b.packet().replace(
        b"</rdf:RDF>",
        f'<rdf:Description rdf:about="" xmlns:z="{b.XMP}" z:Label="Grün"/>'
        f'<rdf:Description rdf:about="" xmlns:z="{b.XMP}"><z:Rating>3</z:Rating>'
        "</rdf:Description></rdf:RDF>".encode(),
    )
    values = parse_packet(data)
    assert (values.rating, values.label) == (3, "Grün")


@pytest.mark.parametrize(
    "nested",
    [
        '<xmp:Other><rdf:Description xmp:Rating="5"/></xmp:Other>',
        "<xmp:Other><rdf:Description><xmp:Rating>5</xmp:Rating></rdf:Description></xmp:Other>",
        '<xmp:Other rdf:parseType="Resource"><xmp:Rating>5</xmp:Rating></xmp:Other>',
        '<xmp:Other xmp:Rating="5"/>',
        '<xmp:Other><rdf:Bag><rdf:li xmp:Rating="5"/></rdf:Bag></xmp:Other>',
        "<!-- <xmp:Rating>5</xmp:Rating> -->",
        "<xmp:Other>xmp:Rating=&quot;5&quot;</xmp:Other>",
        "<xmp:Other><![CDATA[<xmp:Rating>5</xmp:Rating>]]></xmp:Other>",
    ],
)
def test_ratings_of_ingredients_are_not_the_pictures_own(nested: str) -> None:
    assert math.isnan(parse_packet(b.packet("", nested)).rating)
    assert parse_packet(b.packet("", nested + "<xmp:Rating>2</xmp:Rating>")).rating == 2
    assert parse_packet(b.packet('xmp:Rating="1"', nested)).rating == 1


@pytest.mark.parametrize(
    ("elements", "label"),
    [
        ("<xmp:Label>Zweite Wahl</xmp:Label>", "Zweite Wahl"),
        ("<xmp:Label>R&amp;D</xmp:Label>", "R&D"),
        ("<xmp:Label><![CDATA[a < b]]></xmp:Label>", "a < b"),
        ("<xmp:Label>  </xmp:Label>", None),
        ("<xmp:Label/>", None),
        ('<xmp:Label xml:lang="de">Rot</xmp:Label>', "Rot"),
        ("<xmp:Label><rdf:Alt><rdf:li xml:lang='de'>Rot</rdf:li>"
         "<rdf:li xml:lang='x-default'>Red</rdf:li></rdf:Alt></xmp:Label>", "Red"),
        ("<xmp:Label><rdf:Seq><rdf:li>one</rdf:li><rdf:li>two</rdf:li></rdf:Seq></xmp:Label>", "one"),
        ("<xmp:Label><rdf:Description><rdf:value>Red</rdf:value></rdf:Description></xmp:Label>", "Red"),
        ("<xmp:Label rdf:parseType='Resource'><rdf:value>Red</rdf:value><xmp:q>x</xmp:q></xmp:Label>", "Red"),
    ],
)  # fmt: skip
def test_label_in_every_form(elements: str, label: str | None) -> None:
    assert parse_packet(b.packet("", elements)).label == label


@pytest.mark.parametrize(
    ("attributes", "metres"),
    [
        ('aux:ApproximateFocusDistance="422/100"', 4.22),
        ('aux:ApproximateFocusDistance="4294967295/1"', math.inf),
        ('aux:ApproximateFocusDistance="4294967295/4294967295"', math.inf),
        ('aux:ApproximateFocusDistance="0/100"', NOT_A_NUMBER),
        ('aux:ApproximateFocusDistance="5/0"', NOT_A_NUMBER),
        ('aux:ApproximateFocusDistance="2.5"', 2.5),
        ('aux:ApproximateFocusDistance="near"', NOT_A_NUMBER),
        ('exif:SubjectDistance="3114/1000"', 3.114),
        ('exif:SubjectDistance="0/1" aux:ApproximateFocusDistance="2/1"', 2.0),
        ('exif:SubjectDistance="3/1" aux:ApproximateFocusDistance="2/1"', 3.0),
    ],
)
def test_distance(attributes: str, metres: float) -> None:
    assert parse_packet(b.packet(attributes)).focus_distance_m == pytest.approx(metres, nan_ok=True)


def test_camera_properties() -> None:
    values = parse_packet(
        b.packet(
            'tiff:Model="body A" aux:SerialNumber="0042" aux:Lens="28mm" exifEX:LensModel="28 mm f/2.8"'
            ' exif:FocalLength="28/1" exif:FNumber="56/10" exif:ExposureTime="1/500"'
            ' exif:FocalLengthIn35mmFilm="42" exif:DateTimeOriginal="2031-04-05T14:06:07.06+09:00"',
            "<exif:ISOSpeedRatings><rdf:Seq><rdf:li>400</rdf:li><rdf:li>800</rdf:li></rdf:Seq></exif:ISOSpeedRatings>",
        )
    )
    assert (values.camera, values.serial, values.lens) == ("body A", "0042", "28 mm f/2.8")
    assert (values.focal_length_mm, values.iso, values.focal_length_35mm) == (28, 400, 42)
    assert values.f_number == pytest.approx(5.6, rel=1e-12)
    assert values.exposure_time_s == pytest.approx(0.002, rel=1e-12)
    assert (values.captured_at, values.has_subseconds) == (datetime(2031, 4, 5, 14, 6, 7, 60_000), True)


@pytest.mark.parametrize(
    ("attributes", "iso"),
    [
        ('exifEX:PhotographicSensitivity="320"', 320),
        ('exifEX:PhotographicSensitivity="65535" exifEX:RecommendedExposureIndex="102400"', 102400),
        ('exif:RecommendedExposureIndex="100"', 100),
        ('exif:ISOSpeedRatings="0"', NOT_A_NUMBER),
    ],
)
def test_iso(attributes: str, iso: float) -> None:
    assert parse_packet(b.packet(attributes)).iso == pytest.approx(iso, nan_ok=True)


@pytest.mark.parametrize(
    "attributes", ['exif:FNumber="0/10"', 'exif:FNumber="8/0"', 'exif:FNumber="f/8"', ""]
)
def test_f_numbers_that_are_none(attributes: str) -> None:
    assert math.isnan(parse_packet(b.packet(attributes)).f_number)


@pytest.mark.parametrize("wrap", [True, False])
def test_wrapper_bom_and_padding_do_not_matter(wrap: bool) -> None:
    data = b.packet('xmp:Rating="3"', wrap=wrap)
    for variant in (data, b"\xef\xbb\xbf" + data, b"\n\n" + data + b"\0\0\0", data + b"  \n"):
        assert parse_packet(variant).rating == 3


@pytest.mark.parametrize("name", list(HOSTILE_PACKETS))
def test_hostile_packets_are_refused_in_no_time(name: str, tmp_path: Path) -> None:
    path = tmp_path / "x.xmp"
    path.write_bytes(HOSTILE_PACKETS[name])
    begin = time.process_time()
    for attempt in (lambda: parse_packet(HOSTILE_PACKETS[name]), lambda: read_sidecar(path)):
        with pytest.raises(XmpError) as caught:
            attempt()
        assert len(str(caught.value)) > 15
    assert time.process_time() - begin < 1


@pytest.mark.parametrize(
    "data",
    [
        b.packet(' xmp:Rating="1"' * 200_000),
        b.packet("", "<xmp:Rating>1</xmp:Rating>" * 40_000),
        b.packet("", "<xmp:Label>" + ":Rating " * 400_000 + "</xmp:Label>"),
        b.packet("", "<xmp:Label>" + "word " * 700_000 + "</xmp:Label>"),
        b.packet('xmp:Label="' + "/>" * 1_000_000 + '"'),
        b.packet(" ".join(f'xmp:a{i}="1"' for i in range(200_000))),
    ],
    ids=[
        "repeated attribute",
        "repeated element",
        "names in a text",
        "long text",
        "false ends",
        "many attributes",
    ],
)
def test_packets_made_to_be_slow_are_not(data: bytes) -> None:
    begin = time.process_time()
    with contextlib.suppress(XmpError):
        parse_packet(data)
    assert time.process_time() - begin < 1


def test_sidecars_that_are_no_files(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.xmp")
    (tmp_path / "folder.xmp").mkdir()
    for name, words in (("pipe.xmp", "ordinary"), ("folder.xmp", "folder"), ("gone.xmp", "not there")):
        with pytest.raises(XmpError, match=words):
            read_sidecar(tmp_path / name)


def test_a_sidecar_above_the_limit_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "x.xmp"
    path.write_bytes(b.packet('xmp:Rating="3"', "<!--" + " " * xmp.MAX_BYTES + "-->"))
    with pytest.raises(XmpError, match="larger than 4 MB"):
        read_sidecar(path)


@pytest.mark.parametrize(
    "data",
    [
        b.packet('xmp:Rating="4" xmp:Label="Rot"'),
        b.packet("", "<xmp:Rating>4</xmp:Rating><xmp:Label>Rot</xmp:Label>"),
        b.packet('xmp:Rating="4.0"', '<xmp:Label xml:lang="de">Rot</xmp:Label>'),
    ],
)
def test_same_as_exiv2(data: bytes, tmp_path: Path) -> None:
    """The Exiv2 library, which reads the same packet inside a JPEG."""
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(xmp=data))
    picture = pyexiv2.Image(str(path))
    theirs = picture.read_xmp()
    picture.close()
    ours = parse_packet(data)
    assert ours.rating == float(theirs["Xmp.xmp.Rating"])
    assert ours.label == theirs["Xmp.xmp.Label"]


@pytest.mark.parametrize(("depth", "is_read"), [(100, True), (101, False)])
def test_a_hundred_elements_may_lie_within_each_other(depth: int, is_read: bool) -> None:
    """The packet's own three among them: xmpmeta, RDF and the description."""
    inner = depth - 3
    data = b.packet('xmp:Rating="4"', elements="<xmp:Nickname>" * inner + "</xmp:Nickname>" * inner)
    if is_read:
        assert parse_packet(data).rating == 4
    else:
        with pytest.raises(XmpError, match="nested too deeply"):
            parse_packet(data)


def test_a_sidecar_of_just_the_largest_size_is_read_to_its_last_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = b.packet('xmp:Rating="4"', wrap=False)
    (tmp_path / "a.xmp").write_bytes(data)
    monkeypatch.setattr(xmp, "MAX_BYTES", len(data))
    assert read_sidecar(tmp_path / "a.xmp").rating == 4
    monkeypatch.setattr(xmp, "MAX_BYTES", len(data) - 1)
    for read in (lambda: read_sidecar(tmp_path / "a.xmp"), lambda: parse_packet(data)):
        with pytest.raises(XmpError, match="larger than"):
            read()


def test_so_many_elements_and_attributes_are_parsed(monkeypatch: pytest.MonkeyPatch) -> None:
    data = b.packet('xmp:Rating="4"', wrap=False)
    parts = data.count(b"<") + data.count(b"=")
    monkeypatch.setattr(xmp, "MAX_PARTS", parts)
    assert parse_packet(data).rating == 4
    monkeypatch.setattr(xmp, "MAX_PARTS", parts - 1)
    with pytest.raises(XmpError, match="too many"):
        parse_packet(data)


def test_the_mark_of_a_packets_end_ends_only_what_stands_before_it() -> None:
    end, data = b'<?xpacket end="w"?>', b.packet('xmp:Rating="4"', wrap=False)
    assert parse_packet(data + end + b"anything").rating == 4
    assert parse_packet(end + data).rating == 4
