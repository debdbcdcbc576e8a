"""Packs a file record into a line of a few hundred bytes, for the cache and for the way between processes.

The line is JSON behind a check sum: whatever a damaged cache holds, it is either what was packed or refused.
"""

import json
import zlib
from datetime import datetime
from functools import lru_cache
from typing import Any, get_type_hints

from auditor.intake.photofile.records import FileRecord

# Raise this whenever the readers come to give another value for the same file.
READER_NUMBER = 7
READER_VERSION = zlib.crc32(repr([READER_NUMBER, get_type_hints(FileRecord)]).encode())
"""Changes with the fields of the records and with :data:`READER_NUMBER`."""

_VARYING = ("captured_at", "exposure_time_s", "iso", "f_number", "focal_length_mm", "focus_distance_m")
_VARY = [FileRecord._fields.index(name) for name in _VARYING]
_SUM_BYTES = 8


def seal(*values: Any) -> bytes:
    """Write values as JSON behind a check sum, in one line; NaN and infinity survive."""
    parts = (json.dumps(value, separators=(",", ":"), default=datetime.isoformat) for value in values)
    body = "\t".join(parts).encode()  # JSON itself holds no tab
    return b"%08x" % zlib.crc32(body) + body


def unsealed(data: Any) -> list[bytes]:
    """Return the JSON of each sealed value; raises ValueError if the bytes are damaged."""
    if not isinstance(data, bytes) or data[:_SUM_BYTES] != b"%08x" % zlib.crc32(data[_SUM_BYTES:]):
        raise ValueError("the check sum does not fit")
    return data[_SUM_BYTES:].split(b"\t")


def pack(record: FileRecord) -> bytes:
    """Return a record as bytes: what varies from frame to frame, then the rest."""
    rest: list[Any] = list(record)
    varying = [rest[at] for at in _VARY]
    for at in _VARY:
        rest[at] = None
    return seal(varying, rest)


def unpack(data: Any) -> FileRecord:
    """Return the record that was packed; raises ValueError if the bytes are damaged."""
    try:
        varying, rest = unsealed(data)
        when, *numbers = json.loads(varying)
        values: list[Any] = list(_unpack_rest(rest))
        for at, value in zip(_VARY, (_time(when), *numbers), strict=True):
            values[at] = value
        return FileRecord._make(values)
    except TypeError as error:
        raise ValueError("not a packed record") from error


@lru_cache(maxsize=10_000)
def _unpack_rest(rest: bytes) -> FileRecord:
    """Read what does not vary; frames of one camera share it in memory."""
    return _restored(json.loads(rest))


def _restored(values: Any) -> FileRecord:
    record = FileRecord._make(values)
    return record._replace(
        captured_at=_time(record.captured_at),
        xmp=None if record.xmp is None else _restored(record.xmp),
        notes=tuple(record.notes),
    )


def _time(text: Any) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
