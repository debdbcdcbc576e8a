"""Packs a file record into a few hundred bytes, for the cache and for the way from one process to another.

Numbers are packed as they lie, so NaN and infinity survive; texts follow as JSON. The bytes carry a check
sum: whatever a damaged cache holds, it is either the record that was packed or refused.
"""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import fields
from datetime import datetime, timedelta
from operator import attrgetter, itemgetter
from typing import Any

from auditor.intake.records import FileRecord, XmpValues

# Raise this whenever the readers come to give another value for the same file.
READER_NUMBER = 1

_EPOCH = datetime(1970, 1, 1)
_MICROSECOND = timedelta(microseconds=1)
_NO_TIME = -(1 << 63)
_CODES = {"float": "d", "int": "q", "bool": "?", "datetime | None": "q"}
_TEXTS = ("str", "str | None", "int | None", "tuple[str, ...]")
_MEMO_LIMIT = 10_000


class _Layout:
    """How the fields of one of the record classes lie in the bytes; taken from their annotations."""

    def __init__(self, kind: type) -> None:
        types = {field.name: str(field.type) for field in fields(kind)}
        fixed = [name for name, type_ in types.items() if type_ in _CODES]
        texts = [name for name, type_ in types.items() if type_ in _TEXTS]
        nested = [name for name, type_ in types.items() if type_ == "XmpValues | None"]
        if left := set(types).difference(fixed, texts, nested):
            raise TypeError(f"{kind.__name__}: no way to pack {', '.join(sorted(left))}")
        self.code = "".join(_CODES[types[name]] for name in fixed)
        self.time = fixed.index("captured_at")
        self.fixed = attrgetter(*fixed)
        self.texts = attrgetter(*texts)
        found = ["captured_at", *nested, *fixed, *texts]  # the first place of a name counts
        self.in_order = itemgetter(*(found.index(name) for name in types))

    def numbers(self, record: Any) -> list[Any]:
        """The values of fixed width, the time in microseconds."""
        values = list(self.fixed(record))
        when = values[self.time]
        values[self.time] = _NO_TIME if when is None else (when - _EPOCH) // _MICROSECOND
        return values


_RECORD, _XMP = _Layout(FileRecord), _Layout(XmpValues)
_PLAIN = struct.Struct("<I?" + _RECORD.code)  # check sum of all that follows, whether XMP was read, numbers
_PACKET = struct.Struct("<" + _XMP.code)

READER_VERSION = zlib.crc32(
    repr(
        [READER_NUMBER, *((f.name, f.type) for kind in (FileRecord, XmpValues) for f in fields(kind))]
    ).encode()
)
"""Changes with the fields of the records and with :data:`READER_NUMBER`."""


def pack(record: FileRecord) -> bytes:
    """Return a record as bytes."""
    texts, packet = [_RECORD.texts(record)], b""
    if record.xmp is not None:
        texts.append(_XMP.texts(record.xmp))
        packet = _PACKET.pack(*_XMP.numbers(record.xmp))
    numbers = _PLAIN.pack(0, record.xmp is not None, *_RECORD.numbers(record))
    body = b"".join((numbers[4:], packet, json.dumps(texts, separators=(",", ":")).encode()))
    return zlib.crc32(body).to_bytes(4, "little") + body


_Tail = tuple[XmpValues | None, tuple[Any, ...]]


class Unpacker:
    """Turns bytes back into records; texts and XMP values that recur are kept in memory once."""

    def __init__(self) -> None:
        self._tails: dict[bytes, _Tail] = {}

    def unpack(self, data: bytes) -> FileRecord:
        """Return the record that was packed.

        Raises
        ------
        ValueError
            If the bytes are damaged.
        """
        try:
            check, has_xmp, *numbers = _PLAIN.unpack_from(data)
            if check != zlib.crc32(memoryview(data)[4:]):
                raise ValueError("the check sum does not fit")
            tail = data[_PLAIN.size :]
            xmp, texts = self._tails.get(tail) or self._read_tail(tail, has_xmp)
            return FileRecord(*_RECORD.in_order((_time(numbers[_RECORD.time]), xmp, *numbers, *texts)))
        except (IndexError, TypeError, OverflowError, struct.error) as error:
            raise ValueError("not a packed record") from error

    def _read_tail(self, tail: bytes, has_xmp: bool) -> _Tail:
        parts = json.loads(tail[_PACKET.size :] if has_xmp else tail)
        texts = [tuple(tuple(t) if isinstance(t, list) else t for t in part) for part in parts]
        xmp = None
        if has_xmp:
            numbers = _PACKET.unpack_from(tail)
            xmp = XmpValues(*_XMP.in_order((_time(numbers[_XMP.time]), *numbers, *texts[1])))
        if len(self._tails) >= _MEMO_LIMIT:
            self._tails.clear()
        self._tails[tail] = xmp, texts[0]
        return xmp, texts[0]


def _time(microseconds: int) -> datetime | None:
    return None if microseconds == _NO_TIME else _EPOCH + timedelta(microseconds=microseconds)
