"""Collect wanted properties from an XMP packet with a guarded XML parser (ISO 16684-1, section 7).

Document types and entities are refused, depth is bounded, and no tree is built.
"""

from __future__ import annotations

from collections.abc import Collection
from xml.parsers.expat import ExpatError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

MAX_DEPTH = 100
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"

_RDF_ROOT = f"{RDF}}}RDF"
_ITEMS = (f"{RDF}}}li", f"{RDF}}}value")
_LANGUAGE = "http://www.w3.org/XML/1998/namespace}lang"
_NOT_YET = 1 << 30  # deeper than any packet


class XmpError(ValueError):
    """The packet cannot be read; the message says why, to a person."""


def collect(xml: bytes, wanted: Collection[str]) -> dict[str, str]:
    """Return the wanted properties of a packet by name.

    Properties are attributes and children of the nodes right below ``rdf:RDF``; the first of each counts.
    Nodes further down belong to other pictures (ingredients, history) and are passed over. Of an array the
    first item counts, of language alternatives the default one.

    Raises XmpError if it is not well-formed, nested too deeply, or declares a document type.
    """
    collector = _Collector(wanted)
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

    def __init__(self, wanted: Collection[str]) -> None:
        self.found: dict[str, str] = {}
        self.parser = DefusedXMLParser(forbid_dtd=True).parser
        self.parser.ordered_attributes = False
        self.parser.DefaultHandlerExpand = None
        self.parser.CommentHandler = None
        self.parser.ProcessingInstructionHandler = None
        self.parser.CharacterDataHandler = None
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self._wanted = frozenset(wanted)
        self._depth = 0
        self._root_depth = _NOT_YET
        self._open = ""  # the wanted property whose element is open
        self._texts: list[str] = []  # its own text, that of its first item, what follows, ...
        self._default = 0  # which of the texts is in the default language

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > MAX_DEPTH:
            raise XmpError("the XMP is nested too deeply")
        level = self._depth - self._root_depth
        if self._open:
            if name in _ITEMS:
                self._texts.append("")
                if attributes.get(_LANGUAGE) == "x-default":
                    self._default = len(self._texts) - 1
        elif level == 1:
            for key in self._wanted & attributes.keys():
                self.found.setdefault(key, attributes[key])
        elif level == 2 and name in self._wanted and name not in self.found:
            self._open, self._texts, self._default = name, [""], 0
            self.parser.CharacterDataHandler = self._text
        elif name == _RDF_ROOT and self._root_depth == _NOT_YET:
            self._root_depth = self._depth

    def _text(self, text: str) -> None:
        self._texts[-1] += text

    def _end(self, name: str) -> None:
        self._depth -= 1
        if not self._open:
            return
        if name in _ITEMS:
            self._texts.append("")
        if self._depth - self._root_depth == 1:
            self.found[self._open] = self._texts[self._default or min(1, len(self._texts) - 1)]
            self._open = ""
            self.parser.CharacterDataHandler = None
