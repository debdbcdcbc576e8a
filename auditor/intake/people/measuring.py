"""Measures the pictures of an archive, each one once: from the cache where it is unchanged.

Every picture is measured in a process of its own kind, as many at a time as there are cores; a run that was
stopped goes on where it was.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.library.cache import Cache
from auditor.intake.library.processes import cores, read_in_processes
from auditor.intake.library.reading import SETTLED_NS, Progress
from auditor.intake.library.walk import Stamp
from auditor.intake.people import measuring_process
from auditor.intake.people.records import MeasuredPicture, measure_version, unpack
from auditor.intake.photofile.opening import may_pass

MODULE = measuring_process.__name__
ENDED = "the picture ends the measuring process"
MOST_TRIES = 20  # rounds in a row in which every process ended early
_NO_ROW = (None,) * 6


@dataclass(frozen=True, slots=True)
class Measuring:
    """What a run has measured."""

    pictures: list[MeasuredPicture]  # one for each frame
    problems: list[Problem]


def cache_beside(cache: Path | None) -> Path | None:
    """Cache of the measures: a file of its own beside the readers' cache.

    Examples
    --------
    >>> str(cache_beside(Path("read.sqlite")))
    'read-pictures.sqlite'
    """
    return None if cache is None else cache.with_name(f"{cache.stem}-pictures{cache.suffix}")


def measure_pictures(
    frames: Sequence[list[str]],
    cache: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Measuring:
    """Measure the picture of each frame."""
    store = Cache(cache_beside(cache), measure_version())
    run = _Run(frames, store, progress)
    try:
        run.from_cache()
        run.from_files(cores() if workers is None else max(workers, 1))
    finally:
        store.close()
    return Measuring([picture or MeasuredPicture(error=ENDED) for picture in run.pictures], store.problems)


class _Run:
    """One pass over the frames."""

    def __init__(self, frames: Sequence[list[str]], store: Cache, progress: Progress | None) -> None:
        self.frames, self.store, self.progress = frames, store, progress
        self.pictures: list[MeasuredPicture | None] = [None] * len(frames)
        self.version = measure_version()
        self.places = [os.path.split(os.path.abspath(paths[0])) for paths in frames]
        self.stamps: list[Stamp | None] = [_stamp(paths[0]) for paths in frames]
        self.done = 0

    def from_cache(self) -> None:
        """Take what the cache holds of unchanged files."""
        of_folder: dict[str, list[int]] = {}
        for number, (folder, _) in enumerate(self.places):
            of_folder.setdefault(folder, []).append(number)
        for folder, numbers in of_folder.items():
            rows = self.store.rows_of(folder)
            for number in numbers:
                _, *stamp, version, value = rows.get(self.places[number][1], _NO_ROW)
                if tuple(stamp) == self.stamps[number] and version == self.version:
                    try:
                        self.pictures[number] = unpack(value)
                    except ValueError:
                        continue
                    self._tell()

    def from_files(self, workers: int) -> None:
        """Measure what is missing; what was lost with its process gets another try while any succeeds."""
        missing = [number for number, picture in enumerate(self.pictures) if picture is None]
        vain = 0
        while missing and vain < MOST_TRIES:
            left = self._round(missing, workers)
            vain = vain + 1 if len(left) == len(missing) else 0
            # Where nothing went well, the first one to come back was being measured when its process ended.
            missing = left[1:] if vain else left

    def _round(self, numbers: list[int], workers: int) -> list[int]:
        def paths_of(which: int) -> list[str]:
            return [measuring_process.request(self.frames[numbers[which]])]

        left: list[int] = []
        with closing(read_in_processes(len(numbers), paths_of, workers, MODULE)) as answers:
            for which, packed in answers:
                if packed is None:
                    left.append(numbers[which])
                else:
                    self._take(numbers[which], packed[0])
        return left

    def _take(self, number: int, data: bytes) -> None:
        measured = unpack(data)
        self.pictures[number] = measured
        stamp = self.stamps[number]
        lasting = measured.error is None or not may_pass(measured.error)
        if stamp is not None and lasting and stamp == _stamp(self.frames[number][0]) and _settled(stamp):
            self.store.put(*self.places[number], stamp, data)
        self._tell()

    def _tell(self) -> None:
        self.done += 1
        if self.progress is not None:
            self.progress(self.done, len(self.frames))


def _settled(stamp: Stamp) -> bool:
    """Whether a change since would show in the file's times."""
    return abs(time.time_ns() - stamp[1]) > SETTLED_NS


def _stamp(path: str) -> Stamp | None:
    try:
        status = os.stat(path)
    except (OSError, ValueError):
        return None
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns
