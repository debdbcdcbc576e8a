"""Packs a file record into a few hundred bytes, for the cache and for the way from one process to another.

Numbers are packed as they lie, so NaN and infinity survive; texts follow as JSON. The bytes carry a check
sum: whatever a damaged cache holds, it is either the record that was packed or refused.
"""

from __future__ import annotations

import json
import struct
import zlib
from datetime import datetime, timedelta
from operator import attrgetter, itemgetter
from typing import Any, get_type_hints

from auditor.intake.photofile.records import FileRecord, XmpValues

# Raise this whenever the readers come to give another value for the same file.
READER_NUMBER = 2

_EPOCH = datetime(1970, 1, 1)
_MICROSECOND = timedelta(microseconds=1)
_NO_TIME = -(1 << 63)
_CODES: dict[Any, str] = {float: "d", int: "q", bool: "?", datetime | None: "q"}
_TEXTS = (str, str | None, int | None, bool | None, tuple[str, ...])
_VARY = ("captured_at", "exposure_time_s", "iso", "f_number", "focal_length_mm", "focus_distance_m")
_MEMO_LIMIT = 10_000


class _Layout:
    """How the fields of one of the record classes lie in the bytes; taken from their annotations.

    First the numbers that vary from frame to frame, then all others, then the texts.
    """

    def __init__(self, kind: type, vary: tuple[str, ...]) -> None:
        types = get_type_hints(kind)
        numbers = [name for name, type_ in types.items() if type_ in _CODES and name not in vary]
        texts = [name for name, type_ in types.items() if type_ in _TEXTS]
        nested = [name for name, type_ in types.items() if type_ == XmpValues | None]
        if left := set(types).difference(vary, numbers, texts, nested):
            raise TypeError(f"{kind.__name__}: no way to pack {', '.join(sorted(left))}")
        self.varying = attrgetter(*vary)
        self.varying_code = "".join(_CODES[types[name]] for name in vary)
        self.numbers = attrgetter(*numbers)
        self.packer = struct.Struct("<" + "".join(_CODES[types[name]] for name in numbers))
        self.texts = attrgetter(*texts)
        found = [*vary, *numbers, *texts, *nested]
        self.in_order = itemgetter(*(found.index(name) for name in types))


_RECORD, _XMP = _Layout(FileRecord, _VARY), _Layout(XmpValues, ("captured_at",))
_HEAD = struct.Struct("<I?" + _RECORD.varying_code)  # check sum of all that follows, whether XMP was read
_XMP_TIME = struct.Struct("<q")

READER_VERSION = zlib.crc32(
    repr([READER_NUMBER, *(get_type_hints(kind) for kind in (FileRecord, XmpValues))]).encode()
)
"""Changes with the fields of the records and with :data:`READER_NUMBER`."""


def pack(record: FileRecord) -> bytes:
    """Return a record as bytes."""
    when, *varying = _RECORD.varying(record)
    xmp, texts, packet = record.xmp, [_RECORD.texts(record)], b""
    if xmp is not None:
        texts.append(_XMP.texts(xmp))
        packet = _XMP_TIME.pack(_microseconds(xmp.captured_at)) + _XMP.packer.pack(*_XMP.numbers(xmp))
    head = _HEAD.pack(0, xmp is not None, _microseconds(when), *varying)[4:]
    numbers = _RECORD.packer.pack(*_RECORD.numbers(record))
    body = b"".join((head, numbers, packet, json.dumps(texts, separators=(",", ":")).encode()))
    return zlib.crc32(body).to_bytes(4, "little") + body


_Tail = tuple[Any, ...]  # what does not vary, as values: numbers, texts, XMP


class Unpacker:
    """Turns bytes back into records; what many frames share is kept in memory once."""

    def __init__(self) -> None:
        self._tails: dict[bytes, _Tail] = {}

    def unpack(self, data: bytes) -> FileRecord:
        """Return the record that was packed.

        Raises ValueError if the bytes are damaged.
        """
        try:
            check, has_xmp, when, *varying = _HEAD.unpack_from(data)
            if check != zlib.crc32(memoryview(data)[4:]):
                raise ValueError("the check sum does not fit")
            tail = data[_HEAD.size :]
            shared = self._tails.get(tail) or self._read_tail(tail, has_xmp)
            return FileRecord._make(_RECORD.in_order((_time(when), *varying, *shared)))
        except (IndexError, TypeError, OverflowError, struct.error) as error:
            raise ValueError("not a packed record") from error

    def _read_tail(self, tail: bytes, has_xmp: bool) -> _Tail:
        numbers, at, xmp = _RECORD.packer.unpack_from(tail), _RECORD.packer.size, None
        if has_xmp:
            (when,) = _XMP_TIME.unpack_from(tail, at)
            own = _XMP.packer.unpack_from(tail, at + _XMP_TIME.size)
            at += _XMP_TIME.size + _XMP.packer.size
        texts = [[tuple(t) if isinstance(t, list) else t for t in part] for part in json.loads(tail[at:])]
        if has_xmp:
            xmp = XmpValues(*_XMP.in_order((_time(when), *own, *texts[1])))
        if len(self._tails) >= _MEMO_LIMIT:
            self._tails.clear()
        self._tails[tail] = (*numbers, *texts[0], xmp)
        return self._tails[tail]


def _microseconds(when: datetime | None) -> int:
    return _NO_TIME if when is None else (when - _EPOCH) // _MICROSECOND


def _time(microseconds: int) -> datetime | None:
    return None if microseconds == _NO_TIME else _EPOCH + timedelta(microseconds=microseconds)
