"""A file whose reading never ends is left behind, and named; the others are read."""

from __future__ import annotations

import math
import time
from datetime import datetime, timedelta
from pathlib import Path
from queue import SimpleQueue

import pytest

from auditor.intake.assembling import read_archive
from auditor.intake.library import processes, reading
from auditor.intake.library.processes import read_in_processes, read_watched
from auditor.intake.library.reader_process import read_packed
from auditor.settings import Request
from tests.intake.library import sleeper
from tests.intake.library.sleeper import SLEEPS, answer

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("workers", [pytest.param(1, marks=pytest.mark.slow), 2])
def test_a_silent_process_is_ended_and_its_file_is_told(workers):
    jobs = [["a", "b", f"{SLEEPS}1", "c"], ["d"], [f"{SLEEPS}2"], ["e", "f"]]
    began = time.monotonic()
    answers = dict(read_in_processes(len(jobs), lambda i: jobs[i], workers, sleeper.__name__, silence_s=4.0))
    assert time.monotonic() - began < 40
    assert answers == {0: [b"a", b"b"], 1: [b"d"], 2: [], 3: [b"e", b"f"]}


def test_a_silent_file_read_in_this_process_is_left_behind():
    paths = ["a", f"{SLEEPS}1", "b", f"{SLEEPS}2"]
    assert list(read_watched(paths, answer, 0.5)) == [b"a", None, b"b", None]


@pytest.mark.parametrize("workers", [1, 2])
def test_the_audit_goes_on_without_it(tmp_path, photo, monkeypatch, workers):
    for i in range(6):
        photo(tmp_path / f"P101000{i}.jpg", datetime(2031, 4, 5, 12) + timedelta(minutes=i))

    def slow(path: str) -> bytes:
        if Path(path).name == "P1010002.jpg":
            time.sleep(20)
        return read_packed(path)

    monkeypatch.setattr(reading, "SILENCE_S", 0.5)
    monkeypatch.setattr(reading, "read_packed", slow)
    archive = read_archive(Request((tmp_path,), workers=workers))
    assert len(archive.table) == 5
    assert archive.unreadable == 1
    (problem,) = [p for p in archive.problems if p.unread]
    assert problem.file == "P1010002.jpg"
    assert "no answer for 0.5 s" in problem.what


class Waiting:
    """A process that is waited for."""

    ended = False

    def kill(self) -> None:
        self.ended = True


@pytest.mark.parametrize(("asked_s_ago", "is_ended"), [(3.0, False), (5.0, True), (-math.inf, False)])
def test_a_process_is_ended_after_a_silence_and_not_before(asked_s_ago, is_ended):
    """One that was asked nothing keeps silent as long as it likes."""
    reader = processes._Reader("no module", lambda _: [], SimpleQueue(), SimpleQueue())
    reader.asked_at = time.monotonic() - asked_s_ago
    reader.end_if_silent(4.0)  # no process yet, nothing to end
    assert not reader.is_silent
    reader.process = Waiting()
    reader.end_if_silent(4.0)
    assert reader.process.ended == reader.is_silent == is_ended


def test_a_slow_file_is_waited_for_as_long_as_may_be(monkeypatch):
    """It answers after several of the times that are listened for."""
    monkeypatch.setattr(processes, "LISTEN_S", 0.01)

    def slow(path: str) -> bytes:
        time.sleep(0.05)
        return path.encode()

    assert list(read_watched(["a", "b"], slow, 20.0)) == [b"a", b"b"]
