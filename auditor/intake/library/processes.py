"""Hands out work to reading processes and collects what they give back."""

import json
import math
import os
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Any

LISTEN_S = 0.2  # some systems hear Ctrl-C only between two waits
READER_MODULE = "auditor.intake.library.reader_process"
_START = (
    "import sys; from importlib import import_module; sys.path[:] = sys.argv[2:]; "
    "import_module(sys.argv[1]).main()"
)

Answers = tuple[int, list[bytes] | None]


def cores() -> int:
    """Number of cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def read_in_processes(
    jobs: int,
    requests_of: Callable[[int], list[Any]],
    workers: int,
    module: str = READER_MODULE,
    silence_s: float = math.inf,
) -> Generator[Answers, None, None]:
    """Read lists of files in several processes; yields each job and its answers, None where that ended."""
    waiting: SimpleQueue[int] = SimpleQueue()
    for number in range(jobs):
        waiting.put(number)
    done: SimpleQueue[Answers | None] = SimpleQueue()
    readers = [_Reader(module, requests_of, waiting, done) for _ in range(min(workers, jobs))]
    for reader in readers:
        reader.thread.start()
    try:
        running = len(readers)
        while running:
            try:
                item = done.get(timeout=LISTEN_S)
            except Empty:
                for reader in readers:
                    reader.end_if_silent(silence_s)
                continue
            if item is None:
                running -= 1
            else:
                yield item
        while not waiting.empty():  # what is left once every process has ended early
            yield waiting.get_nowait(), None
    finally:
        for reader in readers:
            reader.end()
        for reader in readers:
            while reader.thread.is_alive():
                reader.end()  # also a process that was only just starting
                reader.thread.join(LISTEN_S)


def read_watched(paths: list[str], read: Callable[[str], bytes], silence_s: float) -> Iterator[bytes | None]:
    """Read files one after the other in this process; None for one that keeps silent, which is left."""
    at = 0
    while at < len(paths):
        answers: SimpleQueue[bytes] = SimpleQueue()
        Thread(target=_answer, args=(paths[at:], read, answers), daemon=True).start()
        heard_at = time.monotonic()
        while at < len(paths):
            try:
                answer = answers.get(timeout=LISTEN_S)
            except Empty:
                if time.monotonic() < heard_at + silence_s:
                    continue
                at += 1
                yield None
                break
            at += 1
            yield answer
            heard_at = time.monotonic()


def _answer(paths: list[str], read: Callable[[str], bytes], answers: SimpleQueue[bytes]) -> None:
    for path in paths:
        answers.put(read(path))


@dataclass(slots=True)
class _Reader:
    """A thread that feeds a reading process of its own; a new one where that was ended for its silence."""

    module: str
    requests_of: Callable[[int], list[Any]]
    waiting: SimpleQueue[int]
    done: SimpleQueue[Answers | None]
    thread: Thread = field(init=False)
    process: subprocess.Popen[bytes] | None = None
    asked_at: float = math.inf  # since when it is expected to answer
    is_silent: bool = False
    is_over: bool = False

    def __post_init__(self) -> None:
        self.thread = Thread(target=self._run, daemon=True)

    def end_if_silent(self, silence_s: float) -> None:
        if self.process is not None and time.monotonic() > self.asked_at + silence_s:
            self.is_silent = True
            self.process.kill()

    def end(self) -> None:
        self.is_over = True
        if self.process is not None:
            self.process.kill()

    def _run(self) -> None:
        with suppress(Empty, OSError):  # no job is left; no process can be started, or it has ended early
            while not self.is_over and not self.waiting.empty():
                with _started(self.module) as process:
                    self.process, self.is_silent = process, False
                    while not self.is_silent:
                        number = self.waiting.get_nowait()
                        requests = self.requests_of(number)
                        answers = self._ask(requests, process)
                        has_ended = len(answers) < len(requests) and not self.is_silent
                        self.done.put((number, None if has_ended else answers))
                        if has_ended:
                            raise BrokenPipeError
        self.done.put(None)

    def _ask(self, requests: list[Any], process: subprocess.Popen[bytes]) -> list[bytes]:
        """Ask for some files; fewer answers than requests where the process has ended."""
        assert process.stdin is not None
        assert process.stdout is not None
        answers: list[bytes] = []
        with suppress(OSError):
            process.stdin.writelines(json.dumps(request).encode() + b"\n" for request in requests)
            process.stdin.flush()
            while len(answers) < len(requests):
                self.asked_at = time.monotonic()
                answer = process.stdout.readline()
                if not answer.endswith(b"\n"):
                    break
                answers.append(answer[:-1])
        self.asked_at = math.inf
        return answers


def _started(module: str) -> subprocess.Popen[bytes]:
    """Start a reading process: isolated from the current folder, deaf to the keyboard, without a voice."""
    path = [entry or os.getcwd() for entry in sys.path]
    return subprocess.Popen(  # noqa: S603 - this very interpreter
        [sys.executable, "-I", "-c", _START, module, *path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
