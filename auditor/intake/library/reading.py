"""Reads every file that a walk has found, once: from the cache where it is unchanged, else from the file.

The result is in the order of the walk, whatever the number of processes. Every record takes the same way,
packed and unpacked, so that it cannot depend on who read it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.library.cache import Cache
from auditor.intake.library.collector import without_collector
from auditor.intake.library.processes import cores, read_in_processes, read_watched
from auditor.intake.library.reader_process import UNFORESEEN, read_packed, silent
from auditor.intake.library.walk import NO_STAMP, Found, Stamp
from auditor.intake.photofile.opening import may_pass
from auditor.intake.photofile.packing import READER_VERSION, Unpacker
from auditor.intake.photofile.records import FileRecord

Progress = Callable[[int, int], None]  # files done, files in all

JOB_FILES = 32
SILENCE_S = 30.0  # a file that takes longer is left; a slow disk answers sooner
WORKER_START_S = 0.3  # what starting the reading processes costs; measured 0.1 s each on two cores
# A file changed more shortly before may change again within the resolution of its times, unnoticed.
SETTLED_NS = 2_000_000_000  # on the file systems of memory cards
ENTRY_SETTLED_NS = 20_000_000  # the clock tick of the systems that keep this time
PROGRESS_S = 0.1


@dataclass(frozen=True, slots=True)
class Read:
    """What was read: one record for each picture, and one for each sidecar, of the walk.

    ``problems`` are those of this run (the cache, the reading processes), not those of the files.
    ``is_kept`` says whether every record came from the cache or went into it: no file may still be changing.
    """

    records: list[FileRecord]
    sidecars: list[FileRecord]
    problems: list[Problem]
    is_kept: bool


def read_found(
    found: Found,
    cache: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Read:
    """Read all pictures and sidecars of a walk."""
    with closing(Cache(cache, READER_VERSION)) as store:
        return read_through(store, found, workers, progress)


def read_through(
    store: Cache, found: Found, workers: int | None = None, progress: Progress | None = None
) -> Read:
    """Read all pictures and sidecars of a walk with an open cache, see :func:`read_found`."""
    reading = _Reading(found, store, _Meter(progress, len(found.pictures) + len(found.sidecars)))
    reading.from_cache()
    reading.from_files(cores() if workers is None else max(workers, 1))
    store.flush()
    return reading.result()


class _Meter:
    """Tells the progress at a rate that a person can follow."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0
        self._told_at = 0.0

    def add(self, files: int) -> None:
        self.done += files
        if self.progress is not None:
            now = time.monotonic()
            if now >= self._told_at + PROGRESS_S or self.done == self.total:
                self._told_at = now
                self.progress(self.done, self.total)


class _Reading:
    """One pass over a walk. Files are numbered through: the pictures, then the sidecars."""

    def __init__(self, found: Found, store: Cache, meter: _Meter) -> None:
        self.found, self.store, self.meter = found, store, meter
        self.items = found.pictures + found.sidecars
        numbers = iter(found.picture_stamps + found.sidecar_stamps)
        self.stamps: list[Stamp] = list(zip(numbers, numbers, numbers, strict=True))
        self.folders = [os.path.abspath(folder.path) for folder in found.folders]
        self.records: list[FileRecord | None] = [None] * len(self.items)
        self.missing: list[int] = []
        self.problems: list[Problem] = []
        self.is_kept = store.is_open
        self._unpack = Unpacker().unpack
        self._started_ns = time.time_ns()

    def from_cache(self) -> None:
        """Take what the cache holds of unchanged files; the rest is missing."""
        of_folder: dict[int, list[int]] = {}
        for number, (folder, _) in enumerate(self.items):
            of_folder.setdefault(folder, []).append(number)
        with without_collector():
            for folder, numbers in of_folder.items():
                before = len(self.missing)
                self._folder_from_cache(self.folders[folder], numbers)
                self.meter.add(len(numbers) - (len(self.missing) - before))

    def _folder_from_cache(self, folder: str, numbers: list[int]) -> None:
        rows = self.store.rows_of(folder)
        if not rows:
            self.missing += numbers
            return
        for number in numbers:
            row = rows.pop(self.items[number][1], None)
            if row is not None and row[1:4] == self.stamps[number] and row[4] == READER_VERSION:
                try:
                    self.records[number] = self._unpack(row[5])
                    continue
                except ValueError:
                    pass
            self.missing.append(number)
        for name in rows:
            if not os.path.lexists(os.path.join(folder, name)):
                self.store.forget(folder, name)

    def from_files(self, workers: int) -> None:
        """Read what is missing: here, and from where it pays in several processes at once."""
        jobs = [self.missing[i : i + JOB_FILES] for i in range(0, len(self.missing), JOB_FILES)]
        began = time.perf_counter()
        for done, job in enumerate(jobs):
            if done == 2:  # the first one alone would count what is done once, such as imports
                left_s = (time.perf_counter() - began) / done * (len(jobs) - done)
                if left_s * (1 - 1 / workers) > WORKER_START_S:
                    self._in_processes(jobs[done:], workers)
                    return
            self._read_here(job)

    def _read_here(self, job: list[int]) -> None:
        paths = [self.found.path(self.items[number]) for number in job]
        for number, data in zip(job, read_watched(paths, read_packed, SILENCE_S), strict=True):
            self._take(number, silent(SILENCE_S) if data is None else data)
            self.meter.add(1)

    def _in_processes(self, jobs: list[list[int]], workers: int) -> None:
        def paths_of(which: int) -> list[str]:
            return [self.found.path(self.items[number]) for number in jobs[which]]

        died = 0
        with closing(read_in_processes(len(jobs), paths_of, workers, silence_s=SILENCE_S)) as answers:
            for which, packed in answers:
                if packed is None:
                    died += 1
                    self._read_here(jobs[which])
                    continue
                job = jobs[which]
                if len(packed) < len(job):
                    packed = [*packed, silent(SILENCE_S)]
                for number, data in zip(job, packed, strict=False):
                    self._take(number, data)
                self.meter.add(len(packed))
                self._read_here(job[len(packed) :])
        if died:
            self.problems.append(
                Problem(None, "A reading process ended early.", "Its files were read again; none is missing.")
            )

    def _take(self, number: int, data: bytes) -> None:
        record = self._unpack(data)
        self.records[number] = record
        stamp = self.stamps[number]
        if self.store.is_open and stamp != NO_STAMP and self._settled(stamp) and _lasting(record):
            folder, name = self.items[number]
            self.store.put(self.folders[folder], name, stamp, data)
        else:
            self.is_kept = False

    def _settled(self, stamp: Stamp) -> bool:
        """Whether a later change is sure to show in the times; one dated in the future is settled."""
        _, changed_ns, entry_changed_ns = stamp
        entry_age_ns = self._started_ns - entry_changed_ns
        return abs(self._started_ns - changed_ns) > SETTLED_NS and entry_age_ns > ENTRY_SETTLED_NS

    def result(self) -> Read:
        """Pictures and sidecars apart, in the order of the walk."""
        records = [record for record in self.records if record is not None]
        pictures = len(self.found.pictures)
        problems = [*self.store.problems, *self.problems]
        return Read(records[:pictures], records[pictures:], problems, self.is_kept)


def _lasting(record: FileRecord) -> bool:
    """Whether reading the same bytes again would give the same record."""
    return record.error is None or not (may_pass(record.error) or record.error.startswith(UNFORESEEN))
