"""Reads every file that a walk has found, once: from the cache where it is unchanged, else from the file.

The result is in the order of the walk, whatever the number of processes. Every record takes the same way,
packed and unpacked, so that it cannot depend on who read it.
"""

import os
import time
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.library.cache import Cache
from auditor.intake.library.collector import without_collector
from auditor.intake.library.folders import Found, Stamp, is_settled
from auditor.intake.library.processes import cores, read_in_processes, read_watched
from auditor.intake.library.reader_process import read_packed, silent
from auditor.intake.photofile.opening import may_pass
from auditor.intake.photofile.packing import READER_VERSION, unpack
from auditor.intake.photofile.records import FileRecord

Progress = Callable[[int, int], None]  # files done, files in all

JOB_FILES = 32
SILENCE_S = 30.0  # a file that takes longer is left; a slow disk answers sooner
WORKER_START_S = 0.3  # what starting the reading processes costs; measured 0.1 s each on two cores
PROGRESS_S = 0.1


@dataclass(frozen=True, slots=True)
class Read:
    """What was read: one record for each picture, and one for each sidecar, of the walk."""

    records: list[FileRecord]
    sidecars: list[FileRecord]
    problems: list[Problem]  # of this run (the cache, the reading processes), not of the files
    is_kept: bool  # whether every record came from the cache or went into it: no file may still be changing


def read_found(
    found: Found, cache: Path | None = None, workers: int | None = None, progress: Progress | None = None
) -> Read:
    """Read all pictures and sidecars of a walk, in processes (``workers``) only where they save time."""
    with closing(Cache(cache, READER_VERSION)) as store:
        return read_through(store, found, workers, progress)


def read_through(
    store: Cache, found: Found, workers: int | None = None, progress: Progress | None = None
) -> Read:
    """Read all pictures and sidecars of a walk with an open cache, see :func:`read_found`."""
    reading = _Reading(found, store, progress)
    reading.from_cache()
    reading.from_files(cores() if workers is None else max(workers, 1))
    store.flush()
    return reading.result()


class _Reading:
    """One pass over a walk. Files are numbered through: the pictures, then the sidecars."""

    def __init__(self, found: Found, store: Cache, progress: Progress | None) -> None:
        self.found, self.store, self.progress = found, store, progress
        self.items = found.pictures + found.sidecars
        numbers = iter(found.picture_stamps + found.sidecar_stamps)
        self.stamps: list[Stamp] = list(zip(numbers, numbers, numbers, strict=True))
        folders = [os.path.abspath(folder.path) for folder in found.folders]
        self.places = [(folders[folder], name) for folder, name in self.items]
        self.records: list[FileRecord | None] = [None] * len(self.items)
        self.problems: list[Problem] = []
        self.is_kept = store.is_open
        self._started_ns = time.time_ns()
        self._done, self._told_at = 0, 0.0

    @without_collector()
    def from_cache(self) -> None:
        """Take what the cache holds of unchanged files."""
        for number, value in self.store.recall(self.places, self.stamps):
            with suppress(ValueError):
                self.records[number] = unpack(value)
                self._tell()

    def from_files(self, workers: int) -> None:
        """Read what is missing: here, and from where it pays in several processes at once."""
        missing = [number for number, record in enumerate(self.records) if record is None]
        jobs = [missing[i : i + JOB_FILES] for i in range(0, len(missing), JOB_FILES)]
        began = time.perf_counter()
        for done, job in enumerate(jobs):
            if done == 2:  # the first one alone would count what is done once, such as imports
                left_s = (time.perf_counter() - began) / done * (len(jobs) - done)
                if left_s * (1 - 1 / workers) > WORKER_START_S:
                    self._in_processes(jobs[done:], workers)
                    return
            self._read_here(job)

    def _read_here(self, job: list[int]) -> None:
        for number, data in zip(job, read_watched(self._paths(job), read_packed, SILENCE_S), strict=True):
            self._take(number, silent(SILENCE_S) if data is None else data)

    def _paths(self, job: list[int]) -> list[str]:
        return [self.found.path(self.items[number]) for number in job]

    def _in_processes(self, jobs: list[list[int]], workers: int) -> None:
        died = False
        asked = read_in_processes(
            len(jobs), lambda which: self._paths(jobs[which]), workers, silence_s=SILENCE_S
        )
        with closing(asked) as answers:
            for which, packed in answers:
                job = jobs[which]
                if packed is None:
                    died, packed = True, []
                elif len(packed) < len(job):
                    packed = [*packed, silent(SILENCE_S)]
                for number, data in zip(job, packed, strict=False):
                    self._take(number, data)
                self._read_here(job[len(packed) :])
        if died:
            self.problems.append(
                Problem(None, "A reading process ended early.", "Its files were read again; none is missing.")
            )

    def _take(self, number: int, data: bytes) -> None:
        record = unpack(data)
        self.records[number] = record
        if is_settled(self.stamps[number], self._started_ns) and not may_pass(record.error):
            self.is_kept &= self.store.put(self.places[number], self.stamps[number], data)
        else:
            self.is_kept = False
        self._tell()

    def _tell(self) -> None:
        """Tell the progress at a rate that a person can follow."""
        self._done += 1
        if self.progress is not None:
            now = time.monotonic()
            if now >= self._told_at + PROGRESS_S or self._done == len(self.items):
                self._told_at = now
                self.progress(self._done, len(self.items))

    def result(self) -> Read:
        """Pictures and sidecars apart, in the order of the walk."""
        records = [record for record in self.records if record is not None]
        pictures = len(self.found.pictures)
        problems = [*self.store.problems, *self.problems]
        return Read(records[:pictures], records[pictures:], problems, self.is_kept)
