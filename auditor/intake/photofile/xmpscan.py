"""Find XMP properties in a plainly written packet without parsing all of it.

Packets of raw converters hold a hundred properties of which a handful are wanted, and an XML parser spends
its time on the others. This scan looks at the wanted names only. It gives up on anything unusual, which is
then left to the parser; on what it does read, both agree.
"""

from __future__ import annotations

import re
from collections.abc import Collection

_DECLARATION = re.compile(rb"""xmlns:([\w.-]+)=(?:"([^"<&]*)"|'([^'<&]*)')""")
_PREFIX_BEFORE = re.compile(rb"([\s<])([A-Za-z_][\w.-]{0,30})\Z")
_ATTRIBUTE = re.compile(rb"""\s*=\s*(?:"([^"<&]*)"|'([^'<&]*)')""")
_ELEMENT = re.compile(rb">(?:\s*<[\w.-]+:(?:Seq|Bag)>\s*<[\w.-]+:li>)?()([^<&]*)</")
_LONGEST_PREFIX = 32
_TAIL_BYTES = 100
MAX_BYTES = 1 << 18  # longer packets, and those that repeat the names, would take time: see the parser
MAX_MATCHES = 100


class Scanner:
    """Scans packets for a fixed set of properties."""

    def __init__(self, wanted: Collection[str], rdf: str) -> None:
        self._wanted = {name.encode(): name for name in wanted}
        self._rdf = rdf.encode()
        local = sorted({name.partition(b"}")[2] for name in self._wanted})
        self._local = re.compile(rb":(" + b"|".join(local) + rb")(?=[\s=>/])")

    def scan(self, xml: bytes) -> dict[str, str] | None:
        """Return the wanted properties by name, or None where the packet is not plain enough.

        Only properties of the nodes right below ``rdf:RDF`` count, as attribute or as element with plain
        text; the first of each.
        """
        prefixes = _prefixes(xml)
        roots = [prefix for prefix, uri in prefixes.items() if uri == self._rdf]
        root_at = xml.find(b"<" + roots[0] + b":RDF") if len(roots) == 1 else -1
        if root_at < 0 or len(xml) > MAX_BYTES or b"<!" in xml:
            return None
        if b"</" + roots[0] + b":RDF" not in xml[-_TAIL_BYTES:]:
            return None  # cut short
        first_node_at = xml.find(b"<", root_at + 1)
        at, level = first_node_at, 0  # level 0: a node right below the root
        found: dict[str, str] = {}
        for count, match in enumerate(self._local.finditer(xml, first_node_at)):
            if count == MAX_MATCHES:
                return None
            name_at = match.start()
            before = _PREFIX_BEFORE.search(xml[name_at - _LONGEST_PREFIX : name_at])
            name = self._wanted.get(prefixes.get(before[2], b"") + b"}" + match[1]) if before else None
            if before is None or name is None:
                continue
            is_element = before[1] == b"<"
            tag_at = name_at - len(before[2]) - 1 if is_element else xml.rfind(b"<", 0, name_at)
            value = (_ELEMENT if is_element else _ATTRIBUTE).match(xml, match.end())
            if value is None or not (is_element or _is_in_tag(xml[tag_at:name_at])):
                return None
            level, at = level + _opened(xml, at, tag_at), tag_at
            if level == is_element:
                found.setdefault(name, (value[1] or value[2] or b"").decode("utf-8", "replace"))
        if at > first_node_at and level + _opened(xml, at, len(xml)) + _opened(xml, 0, first_node_at) != 0:
            return None
        return found


def _prefixes(xml: bytes) -> dict[bytes, bytes]:
    """Return namespaces by prefix; none where one prefix stands for two, or a default is declared."""
    declared = {(prefix, one or other) for prefix, one, other in _DECLARATION.findall(xml)}
    prefixes = dict(declared)
    return prefixes if len(declared) == len(prefixes) and b"xmlns=" not in xml else {}


def _opened(xml: bytes, start: int, end: int) -> int:
    """Count how many more elements open than close; exact where no attribute holds ``/>``.

    The sum over the whole packet shows whether it was exact: it is 0 then.
    """
    if start == end:
        return 0
    return (
        xml.count(b"<", start, end)
        - 2 * xml.count(b"</", start, end)
        - xml.count(b"/>", start, end)
        - xml.count(b"<?", start, end)
    )


def _is_in_tag(text: bytes) -> bool:
    """Tell whether a tag that begins with this text is still open, outside any quotes."""
    double, single = text.count(b'"'), text.count(b"'")
    return b">" not in text and not (double and single) and (double + single) % 2 == 0
