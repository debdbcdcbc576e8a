"""The quick scan of XMP packets against the XML parser: where both answer, they say the same."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from auditor.intake.photofile import xmp
from auditor.intake.photofile.xmp import XmpError
from auditor.intake.photofile.xmpparse import collect
from tests.intake.photofile import builders as b

plain = st.text(st.sampled_from("ab3 ./é:\n"), max_size=8)
text = st.one_of(plain, plain, plain, st.text(st.sampled_from("ab/>&<'\"\n"), max_size=8))
names = st.sampled_from(["xmp:Rating", "xmp:Label", "xmp:Other", "q:Rating", "q:x", "rdf:Description"])


def escaped(value: str) -> str:
    return value.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;").replace("\n", "&#10;")


@st.composite
def elements(draw: Any, depth: int = 0) -> str:
    name = draw(names)
    properties = st.lists(
        st.sampled_from(["xmp:Rating", "xmp:Label", "aux:Lens", "q:x"]), unique=True, max_size=2
    )
    attributes = "".join(
        f'{draw(st.sampled_from([" ", chr(10)]))}{key}="{escaped(draw(text))}"'
        for key in draw(st.one_of(st.just([]), st.just([]), properties))
    )
    if draw(st.booleans()):
        return f"<{name}{attributes}/>"
    if depth < 3 and name not in ("xmp:Rating", "xmp:Label") and draw(st.booleans()):
        inner = "".join(draw(st.lists(elements(depth + 1), max_size=3)))
    else:
        inner = escaped(draw(text)).replace("&quot;", '"')
    return f"<{name}{attributes}>{inner}</{name}>"


@pytest.mark.slow
@settings(max_examples=600, derandomize=True, deadline=None)
@given(st.lists(elements(), max_size=4), st.lists(elements(), max_size=2), text)
def test_the_quick_scan_agrees_with_the_parser_wherever_it_answers(
    inside: Any, beside: Any, label: str
) -> None:
    space = 'xmlns:q="http://example.org/"'
    more = f'{space} xmlns:xmp="{b.XMP}" xmlns:aux="{b.AUX}" xmlns:tiff="{b.TIFF}"'
    data = b.packet(
        f'q:y="{escaped(label)}" xmp:Label="{escaped(label)}"', "".join(inside), space, wrap=False
    )
    data = data.replace(
        b"</rdf:RDF>",
        f"<rdf:Description {more}>".encode() + "".join(beside).encode() + b"</rdf:Description></rdf:RDF>",
    )
    try:
        expected = collect(data, xmp._WANTED)
    except XmpError:
        expected = None
    quick = xmp._SCANNER.scan(data)
    event(f"scan answers: {quick is not None}, parser answers: {expected is not None}")
    if quick is not None and expected is not None:
        assert {k: v.split() for k, v in quick.items()} == {k: v.split() for k, v in expected.items()}


def test_the_quick_scan_answers_the_usual_packets() -> None:
    for data in (b.packet('xmp:Rating="3"'), b.packet("", "<xmp:Rating>3</xmp:Rating>"), b.packet()):
        assert xmp._SCANNER.scan(xmp._trim(data)) is not None
