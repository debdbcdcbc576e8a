"""Thumbnails of photographs, kept in a file of their own beside the readers' cache."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from auditor.intake.library.cache import Cache, beside
from auditor.intake.library.folders import stamp_of
from auditor.intake.photofile.previews import thumbnail

VERSION = 1  # raise this whenever thumbnails come out differently
MOST_BYTES = 1 << 16  # whatever a damaged cache holds


def thumbnails(paths: Sequence[str], cache: Path | None = None) -> list[bytes | None]:
    """Thumbnail of each photograph, a bare JPEG, kept beside the readers' cache; None where nothing shows."""
    found: list[bytes | None] = [None] * len(paths)
    stamps = [stamp_of(Path(path)) for path in paths]
    places = [os.path.split(os.path.abspath(path)) for path in paths]
    with closing(Cache(beside(cache, "thumbnails"), VERSION)) as store:
        for number, value in store.recall(places, stamps):
            if isinstance(value, bytes) and value.startswith(b"\xff\xd8\xff") and len(value) <= MOST_BYTES:
                found[number] = value
        missing = [number for number, small in enumerate(found) if small is None]
        with ThreadPoolExecutor(min(os.cpu_count() or 1, 8)) as threads:
            made = threads.map(thumbnail, [paths[number] for number in missing])
            for number, small in zip(missing, made, strict=True):
                if small is not None:
                    found[number] = small.jpeg
                    store.put(places[number], stamps[number], small.jpeg)
    return found
