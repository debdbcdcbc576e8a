"""The reading process: takes paths from its input, a line each, and gives a packed record for each.

It is a plain child with two pipes, so that it needs nothing of the program that started it, ends by itself
when that program is gone, and never hears the keyboard.
"""

import json
import os
import signal
import sys
from collections.abc import Callable
from typing import Any

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.opening import UNFORESEEN
from auditor.intake.photofile.packing import pack
from auditor.intake.photofile.records import FileRecord, with_serial_marks
from auditor.intake.photofile.xmp import XmpError, read_sidecar

SIDECAR_SUFFIX = ".xmp"


def read_packed(path: str) -> bytes:
    """Read a picture or a sidecar and pack what it says."""
    is_sidecar = path.casefold().endswith(SIDECAR_SUFFIX)
    try:
        return pack(with_serial_marks(read_sidecar(path) if is_sidecar else read_file(path)))
    except XmpError as error:
        return pack(FileRecord(container="xmp", error=str(error)))
    except Exception as error:
        container = "xmp" if is_sidecar else "unknown"
        return pack(FileRecord(container=container, error=f"{UNFORESEEN} ({type(error).__name__})"))


def silent(silence_s: float) -> bytes:
    """Pack the record of a file whose reading did not come to an end."""
    return pack(FileRecord(error=f"{UNFORESEEN}: no answer for {silence_s:g} s, so its reading was ended"))


def main() -> None:
    """Serve until the input ends."""
    serve(read_packed)


def serve(answer: Callable[[Any], bytes]) -> None:
    """Answer each line of the input, a request as JSON, by a line of its own, until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing else may write among the answers
    try:
        for line in sys.stdin.buffer:
            out.write(answer(json.loads(line)) + b"\n")
            out.flush()
    except BrokenPipeError:
        os._exit(0)  # the program that asked is gone
