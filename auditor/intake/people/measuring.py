"""Measures the pictures of an archive, each one once: from the cache where it is unchanged.

Every picture is measured in a process of its own kind, as many at a time as there are cores; a run that was
stopped goes on where it was.
"""

import os
import time
from collections.abc import Sequence
from contextlib import closing, suppress
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.library.cache import Cache, beside
from auditor.intake.library.folders import is_settled, stamp_of
from auditor.intake.library.processes import cores, read_in_processes
from auditor.intake.library.reading import Progress
from auditor.intake.people import measuring_process
from auditor.intake.people.measurements import MeasuredPicture, measure_version, unpack_picture
from auditor.intake.photofile.opening import may_pass

MODULE = measuring_process.__name__
ENDED = "the picture ends the measuring process"
MOST_TRIES = 20  # rounds in a row in which every process ended early


def measure_pictures(
    frames: Sequence[list[str]],
    cache: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> tuple[list[MeasuredPicture], list[Problem]]:
    """Measure each frame's picture, of its paths in the order to be tried; with the problems of the cache."""
    with closing(Cache(beside(cache, "pictures"), measure_version())) as store:
        run = _Run(frames, store, progress)
        run.from_cache()
        run.from_files(cores() if workers is None else max(workers, 1))
    return [picture or MeasuredPicture(error=ENDED) for picture in run.pictures], store.problems


class _Run:
    """One pass over the frames."""

    def __init__(self, frames: Sequence[list[str]], store: Cache, progress: Progress | None) -> None:
        self.frames, self.store, self.progress = frames, store, progress
        self.pictures: list[MeasuredPicture | None] = [None] * len(frames)
        self.places = [os.path.split(os.path.abspath(paths[0])) for paths in frames]
        self.stamps = [stamp_of(Path(paths[0])) for paths in frames]
        self.done = 0

    def from_cache(self) -> None:
        """Take what the cache holds of unchanged files."""
        for number, value in self.store.recall(self.places, self.stamps):
            with suppress(ValueError):
                self.pictures[number] = unpack_picture(value)
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
        left: list[int] = []
        asked = [[self.frames[number]] for number in numbers]
        with closing(read_in_processes(len(numbers), asked.__getitem__, workers, MODULE)) as answers:
            for which, packed in answers:
                if packed is None:
                    left.append(numbers[which])
                else:
                    self._take(numbers[which], packed[0])
        return left

    def _take(self, number: int, data: bytes) -> None:
        measured = unpack_picture(data)
        self.pictures[number] = measured
        stamp = self.stamps[number]
        unchanged = stamp == stamp_of(Path(self.frames[number][0])) and is_settled(stamp, time.time_ns())
        if unchanged and not may_pass(measured.error):
            self.store.put(self.places[number], stamp, data)
        self._tell()

    def _tell(self) -> None:
        self.done += 1
        if self.progress is not None:
            self.progress(self.done, len(self.frames))
