"""Thumbnails of photographs, kept in a file of their own beside the readers' cache."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from auditor.intake.library.cache import Cache
from auditor.intake.photofile.previews import thumbnail

VERSION = 1  # raise this whenever thumbnails come out differently
MOST_BYTES = 1 << 16  # whatever a damaged cache holds


def thumbnails(paths: Sequence[str], cache: Path | None = None) -> list[bytes | None]:
    """Make the thumbnail of each photograph, or take it from where it was kept."""
    place = None if cache is None else cache.with_name(f"{cache.stem}-thumbnails{cache.suffix}")
    found: dict[int, bytes] = {}
    stamps = [_stamp(path) for path in paths]
    places = [os.path.split(os.path.abspath(path)) for path in paths]
    with closing(Cache(place, VERSION)) as store:
        rows = {folder: store.rows_of(folder) for folder in dict.fromkeys(folder for folder, _ in places)}
        for number, (folder, name) in enumerate(places):
            row = rows[folder].get(name)
            fits = row is not None and row[1:4] == stamps[number] and row[4] == VERSION
            if row is not None and fits and _is_thumbnail(row[5]):
                found[number] = row[5]
        missing = [number for number, stamp in enumerate(stamps) if stamp is not None and number not in found]
        with ThreadPoolExecutor(min(os.cpu_count() or 1, 8)) as threads:
            made = threads.map(thumbnail, [paths[number] for number in missing])
            for number, small in zip(missing, made, strict=True):
                stamp = stamps[number]
                if small is not None and stamp is not None:
                    found[number] = small.jpeg
                    store.put(*places[number], stamp, small.jpeg)
    return [found.get(number) for number in range(len(paths))]


def _is_thumbnail(value: object) -> bool:
    return isinstance(value, bytes) and value.startswith(b"\xff\xd8\xff") and len(value) <= MOST_BYTES


def _stamp(path: str) -> tuple[int, int, int] | None:
    try:
        status = os.stat(path)
    except (OSError, ValueError):
        return None
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns
