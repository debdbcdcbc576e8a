"""Hands out work to reading processes and collects what they give back."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Generator
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
    jobs: int, paths_of: Callable[[int], list[str]], workers: int, module: str = READER_MODULE
) -> Generator[tuple[int, list[bytes] | None], None, None]:
    """Read lists of files in several processes at once.

    Parameters
    ----------
    jobs : int
        Number of jobs.
    paths_of : callable
        Gives the paths of one job, which are read by one process in one go.
    workers : int
        Number of processes.
    module : str
        What each process runs: its ``main`` takes and gives what :mod:`.reader_process` does.

    Yields
    ------
    tuple of int and (list of bytes or None)
        The number of a job and its packed records, as they are finished; None where the process that had
        it ended early, or none could be started. Closing the generator ends the processes.
    """
    waiting: SimpleQueue[int] = SimpleQueue()
    for number in range(jobs):
        waiting.put(number)
    done: SimpleQueue[tuple[int, list[bytes] | None] | None] = SimpleQueue()
    processes = [process for _ in range(min(workers, jobs)) if (process := _started(module)) is not None]
    threads = [
        Thread(target=_serve, args=(process, paths_of, waiting, done), daemon=True) for process in processes
    ]
    for thread in threads:
        thread.start()
    try:
        running = len(threads)
        while running:
            try:
                item = done.get(timeout=LISTEN_S)
            except Empty:
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
        for process in processes:
            process.kill()
        for thread in threads:
            thread.join()
        for process in processes:
            process.wait()


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
    process: subprocess.Popen[bytes],
    paths_of: Callable[[int], list[str]],
    waiting: SimpleQueue[int],
    done: SimpleQueue[tuple[int, list[bytes] | None] | None],
) -> None:
    """Feed one process, one job at a time, until there is none left or the process has ended."""
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        with process.stdin, process.stdout:
            while True:
                number = waiting.get_nowait()
                answer = _ask(process, paths_of(number))
                done.put((number, answer))
                if answer is None:
                    return
    except (Empty, OSError):
        pass
    finally:
        done.put(None)


def _ask(process: subprocess.Popen[bytes], paths: list[str]) -> list[bytes] | None:
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        send(process.stdin, [os.fsencode(path) for path in paths])
        answer = receive(process.stdout)
    except OSError:
        return None
    return answer if answer is not None and len(answer) == len(paths) else None
