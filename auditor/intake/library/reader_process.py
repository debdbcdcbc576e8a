"""The reading process: takes lists of paths from its input, gives packed records on its output.

It is a plain child with two pipes, so that it needs nothing of the program that started it, ends by itself
when that program is gone, and never hears the keyboard.
"""

from __future__ import annotations

import os
import signal
import struct
import sys
from collections.abc import Callable
from typing import IO

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.packing import pack
from auditor.intake.photofile.records import FileRecord, with_serial_marks
from auditor.intake.photofile.xmp import XmpError, read_sidecar

SIDECAR_SUFFIX = ".xmp"
UNFORESEEN = "the file could not be read"  # as in read_file: whatever a stranger's file does, the run goes on
_LENGTH = struct.Struct("<I")


def read_packed(path: str) -> bytes:
    """Read a picture or a sidecar and pack what it says; a sidecar is a record with XMP alone."""
    is_sidecar = path.casefold().endswith(SIDECAR_SUFFIX)
    try:
        record = FileRecord(container="xmp", xmp=read_sidecar(path)) if is_sidecar else read_file(path)
        return pack(with_serial_marks(record))
    except XmpError as error:
        return pack(FileRecord(container="xmp", error=str(error)))
    except Exception as error:
        container = "xmp" if is_sidecar else "unknown"
        return pack(FileRecord(container=container, error=f"{UNFORESEEN} ({type(error).__name__})"))


def silent(silence_s: float) -> bytes:
    """Pack the record of a file whose reading did not come to an end."""
    return pack(FileRecord(error=f"{UNFORESEEN}: no answer for {silence_s:g} s, so its reading was ended"))


def send(stream: IO[bytes], parts: list[bytes]) -> None:
    """Write a list of byte strings."""
    body = b"".join(_LENGTH.pack(len(part)) + part for part in parts)
    stream.write(_LENGTH.pack(len(body)) + body)
    stream.flush()


def receive(stream: IO[bytes]) -> list[bytes] | None:
    """Read a list of byte strings; None where the other side has ended."""
    head = stream.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (size,) = _LENGTH.unpack(head)
    body = stream.read(size)
    if len(body) < size:
        return None
    parts, at = [], 0
    while at < size:
        (length,) = _LENGTH.unpack_from(body, at)
        at += _LENGTH.size
        parts.append(body[at : at + length])
        at += length
    return parts


def main() -> None:
    """Serve until the input ends."""
    serve(read_packed)


def serve(answer: Callable[[str], bytes]) -> None:
    """Answer each request of a list by itself, as soon as it is done, until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing else may write among the answers
    try:
        while (requests := receive(sys.stdin.buffer)) is not None:
            for request in requests:
                send(out, [answer(os.fsdecode(request))])
    except BrokenPipeError:
        os._exit(0)  # the program that asked is gone
