"""Hands out work to reading processes and collects what they give back."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import Thread

from auditor.intake.library.reader_process import receive, send

LISTEN_S = 0.2  # some systems hear Ctrl-C only between two waits
READER_MODULE = "auditor.intake.library.reader_process"
_START = (
    "import sys; from importlib import import_module; sys.path[:] = sys.argv[2:]; "
    "import_module(sys.argv[1]).main()"
)


def cores() -> int:
    """Number of cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def read_in_processes(
    jobs: int,
    paths_of: Callable[[int], list[str]],
    workers: int,
    module: str = READER_MODULE,
    silence_s: float = math.inf,
) -> Generator[tuple[int, list[bytes] | None], None, None]:
    """Read lists of files in several processes at once."""
    waiting: SimpleQueue[int] = SimpleQueue()
    for number in range(jobs):
        waiting.put(number)
    done: SimpleQueue[tuple[int, list[bytes] | None] | None] = SimpleQueue()
    readers = [
        _Reader(process) for _ in range(min(workers, jobs)) if (process := _started(module)) is not None
    ]
    threads = [Thread(target=_serve, args=(r, module, paths_of, waiting, done), daemon=True) for r in readers]
    for thread in threads:
        thread.start()
    try:
        running = len(threads)
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
        while True:  # what is left once every process has ended early
            try:
                yield waiting.get_nowait(), None
            except Empty:
                return
    finally:
        for reader in readers:
            reader.is_over = True
            reader.process.kill()
        for thread in threads:
            thread.join()
        for reader in readers:
            reader.process.wait()


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
    """A reading process, and since when it is expected to answer."""

    process: subprocess.Popen[bytes]
    asked_at: float = math.inf
    is_silent: bool = False
    is_over: bool = False

    def end_if_silent(self, silence_s: float) -> None:
        if time.monotonic() > self.asked_at + silence_s:
            self.is_silent = True
            self.process.kill()


def _started(module: str) -> subprocess.Popen[bytes] | None:
    """Start a reading process: isolated from the current folder, deaf to the keyboard, without a voice."""
    path = [entry or os.getcwd() for entry in sys.path]
    try:
        return subprocess.Popen(  # noqa: S603 - this very interpreter
            [sys.executable, "-I", "-c", _START, module, *path],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError:
        return None


def _serve(
    reader: _Reader,
    module: str,
    paths_of: Callable[[int], list[str]],
    waiting: SimpleQueue[int],
    done: SimpleQueue[tuple[int, list[bytes] | None] | None],
) -> None:
    """Feed one process, one job at a time, until there is none left or the process has ended."""
    try:
        while not reader.is_over:
            with _pipes_of(reader.process):
                while True:
                    number = waiting.get_nowait()
                    paths = paths_of(number)
                    answer = _ask(reader, paths)
                    if len(answer) < len(paths) and not reader.is_silent:
                        done.put((number, None))
                        return
                    done.put((number, answer))
                    if reader.is_silent:
                        break
            reader.process.wait()
            if waiting.empty() or (process := _started(module)) is None:
                return
            reader.process, reader.asked_at, reader.is_silent = process, math.inf, False
    except (Empty, OSError):
        pass
    finally:
        done.put(None)


@contextmanager
def _pipes_of(process: subprocess.Popen[bytes]) -> Iterator[None]:
    assert process.stdin is not None
    assert process.stdout is not None
    with suppress(BrokenPipeError), process.stdin, process.stdout:
        yield


def _ask(reader: _Reader, paths: list[str]) -> list[bytes]:
    """Ask for some files; fewer answers than paths where the process has ended."""
    pipes = reader.process
    assert pipes.stdin is not None
    assert pipes.stdout is not None
    answers: list[bytes] = []
    try:
        send(pipes.stdin, [os.fsencode(path) for path in paths])
        while len(answers) < len(paths):
            reader.asked_at = time.monotonic()
            answer = receive(pipes.stdout)
            if answer is None or len(answer) != 1:
                break
            answers += answer
    except OSError:
        pass
    reader.asked_at = math.inf
    return answers
