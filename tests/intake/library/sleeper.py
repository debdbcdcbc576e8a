"""A reading process that never answers of some files."""

from __future__ import annotations

import time

from auditor.intake.library.reader_process import serve

SLEEPS = "silent"


def answer(path: str) -> bytes:
    if SLEEPS in path:
        time.sleep(60)
    return path.encode()


def main() -> None:
    serve(answer)
