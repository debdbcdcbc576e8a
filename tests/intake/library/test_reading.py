"""Reading a whole walk: one result whoever reads, progress, and processes that die or are stopped."""

from __future__ import annotations

import math
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import get_type_hints

import pytest

from auditor.intake.library import reading
from auditor.intake.library.folders import find_files
from auditor.intake.library.reading import read_found
from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.packing import pack, unpack
from auditor.intake.photofile.records import FileRecord
from auditor.intake.photofile.xmp import read_sidecar

NOON = datetime(2031, 4, 5, 12, 0, 0)
on_linux = pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="needs /proc")


def children(pid: int) -> list[int]:
    lists = Path(f"/proc/{pid}/task").glob("*/children")
    return [int(child) for file in lists for child in file.read_text().split()]


def alive(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


def stood_ready_s(pid: int) -> float:
    """How long a process could have run, had others not had the cores; 0 where the system does not tell."""
    try:
        return int(Path(f"/proc/{pid}/schedstat").read_text().split()[1]) / 1e9
    except OSError:
        return 0.0


def has_ended(pid: int) -> bool:
    """Whether a child has ended; it is left for others to collect."""
    return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def wait_until(true, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


@pytest.fixture
def at_once(monkeypatch):
    """Start the reading processes however few files there are, and hand out small jobs."""
    monkeypatch.setattr(reading, "WORKER_START_S", -1.0)
    monkeypatch.setattr(reading, "JOB_FILES", 4)
    monkeypatch.setattr(reading, "PROGRESS_S", 0.0)


@pytest.fixture
def mixed(tmp_path, photo, packet) -> Path:
    """Pictures, sidecars and broken files in several folders, 96 in all."""
    for i in range(60):
        at = NOON + timedelta(seconds=i) if i % 7 else None
        photo(tmp_path / "mixed" / f"d{i % 5}" / f"P{i:07d}.jpg", at, f_number=8, rating=i % 4 or None)
    for i in range(24):
        (tmp_path / "mixed" / f"d{i % 5}" / f"P{i:07d}.xmp").write_bytes(packet(i % 5, label="röt, \n'"))
    for i in range(6):
        (tmp_path / "mixed" / "d9").mkdir(exist_ok=True)
        (tmp_path / "mixed" / "d9" / f"broken{i}.jpg").write_bytes(b"\xff\xd8\xff" + bytes(i))
        (tmp_path / "mixed" / "d9" / f"broken{i}.xmp").write_bytes(b"<x" + bytes(i))
    return tmp_path / "mixed"


@pytest.fixture
def many(tmp_path, photo) -> Path:
    """Enough files to be interrupted while they are read; links to one picture, since writing takes long."""
    one = photo(tmp_path / "one.jpg", NOON, f_number=8, focal_length_mm=28, rating=3)
    os.utime(one, (1_700_000_000, 1_700_000_000))
    for i in range(24_000):
        folder = tmp_path / "many" / f"{i // 1000:02d}"
        folder.mkdir(parents=True, exist_ok=True)
        os.link(one, folder / f"P{i:07d}.jpg")
    return tmp_path / "many"


def start_scan(source: Path, cache: Path | str, *more: str) -> subprocess.Popen[str]:
    command = [
        sys.executable,
        "-W",
        "error",
        "-m",
        "auditor",
        "scan",
        str(source),
        "--cache",
        str(cache),
        *more,
    ]
    return subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=source.parent,
        start_new_session=True,
    )


def rows_in(cache: Path) -> int:
    try:
        with sqlite3.connect(f"file:{cache}?mode=ro", uri=True, timeout=5) as db:
            return db.execute("SELECT count(*) FROM file").fetchone()[0]
    except sqlite3.Error:
        return 0
    finally:
        if "db" in locals():
            db.close()


# --- packing -------------------------------------------------------------------------------------------

RECORDS = [
    FileRecord(),
    FileRecord(error="the file is damaged", container="tiff"),
    FileRecord(
        container="jpeg", camera="body \x00A", lens='28 mm "f/2.8"\n', focal_length_mm=28.0, f_number=5.6,
        captured_at=datetime(1826, 6, 24, 1, 2, 3, 4), has_subseconds=True, iso=math.inf,
        stored_width_px=2**40, orientation=8, focus_distance_m=math.inf, notes=("a", "", "ü"),
    ),
    FileRecord(captured_at=datetime.min, xmp=FileRecord(rating=-1.0, label="", captured_at=datetime.max)),
]  # fmt: skip


@pytest.mark.parametrize("record", RECORDS)
def test_a_packed_record_comes_back_as_it_was(record):
    for _ in range(2):  # the second time from memory
        assert repr(unpack(pack(record))) == repr(record)  # repr, since NaN is not equal to itself


@pytest.mark.parametrize("record", RECORDS)
def test_a_packed_record_that_is_damaged_anywhere_is_refused(record):
    data = pack(record)
    for i in range(len(data)):
        for damaged in (data[:i], data[:i] + bytes([data[i] ^ 0x10]) + data[i + 1 :]):
            with pytest.raises(ValueError, match=r"check sum|not a packed record"):
                unpack(damaged)


def test_every_field_is_packed():
    types = {float: 2.5, int: 3, bool: True, str: "t", str | None: "t", int | None: 60, bool | None: True}
    values = {"xmp": FileRecord(), "notes": ("x",), "captured_at": NOON, "orientation": 6}
    for field, type_ in get_type_hints(FileRecord).items():
        value = values[field] if field in values else types[type_]
        changed = FileRecord()._replace(**{field: value})
        assert repr(changed) != repr(FileRecord())
        assert repr(unpack(pack(changed))) == repr(changed)


# --- the same result, whoever reads ---------------------------------------------------------------------


def test_records_and_sidecars_are_those_of_the_single_readers_in_the_order_of_the_walk(mixed):
    found = find_files([mixed])
    read = read_found(found)
    assert len(read.records) == 66
    assert [repr(r) for r in read.records] == [repr(read_file(found.path(p))) for p in found.pictures]
    sound = [(s, x) for s, x in zip(found.sidecars, read.sidecars, strict=True) if "broken" not in s[1]]
    assert len(sound) == 24
    assert [repr(x) for _, x in sound] == [repr(read_sidecar(found.path(s))) for s, _ in sound]
    broken = [s[1] for s, x in zip(found.sidecars, read.sidecars, strict=True) if x.error is not None]
    assert sorted(broken) == [f"broken{i}.xmp" for i in range(6)]


@pytest.mark.slow
@pytest.mark.parametrize("workers", [2, 3, 7])
def test_the_result_does_not_depend_on_the_number_of_processes(mixed, at_once, workers, monkeypatch):
    found = find_files([mixed])
    alone = read_found(found, workers=1)
    here: list[str] = []
    monkeypatch.setattr(reading, "read_packed", lambda path: here.append(path) or pack(read_file(path)))
    together = read_found(found, workers=workers)
    assert len(here) == 2 * reading.JOB_FILES  # the rest was read elsewhere
    assert repr(together) == repr(alone)


def test_few_files_start_no_process(mixed, monkeypatch):
    monkeypatch.setattr(reading, "read_in_processes", lambda *_: pytest.fail("a process was started"))
    assert len(read_found(find_files([mixed]), workers=2).records) == 66


@pytest.mark.parametrize("workers", [1, 2])
def test_progress_grows_to_the_total(mixed, at_once, workers):
    told: list[tuple[int, int]] = []
    read_found(find_files([mixed]), workers=workers, progress=lambda *now: told.append(now))
    assert told[-1] == (96, 96)
    assert told == sorted(told)
    assert len(told) > 10


def test_repeated_texts_are_kept_once(mixed):
    cameras = {id(r.camera) for r in read_found(find_files([mixed])).records if r.camera is not None}
    assert len(cameras) < 10


# --- processes that die, or are stopped -----------------------------------------------------------------


@on_linux
@pytest.mark.parametrize("killed", [1, 2])
def test_a_reading_process_that_dies_costs_one_message_and_no_file(mixed, at_once, killed):
    found = find_files([mixed])
    alone = read_found(found, workers=1)
    victims: list[int] = []

    def kill_some(done: int, total: int) -> None:
        if victims or not (running := children(os.getpid())):
            return
        for pid in running:  # the first to run waits for the second, however busy the machine is
            os.kill(pid, signal.SIGSTOP)
        until = time.monotonic() + 20
        while len(children(os.getpid())) < 2 and time.monotonic() < until:
            time.sleep(0.01)
        victims.extend(children(os.getpid())[:killed])
        for pid in victims:
            os.kill(pid, signal.SIGKILL)
        for pid in set(running) - set(victims):
            os.kill(pid, signal.SIGCONT)

    read = read_found(found, workers=2, progress=kill_some)
    assert len(victims) == killed
    assert repr(read.records) == repr(alone.records)
    messages = [p.what for p in read.problems if p.file is None]
    assert len(messages) <= 1  # none where the process had just finished its last job
    assert not children(os.getpid())


@on_linux
def test_processes_that_cannot_be_started_cost_nothing_but_time(mixed, at_once, monkeypatch):
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    assert len(read_found(find_files([mixed]), workers=2).records) == 66


@on_linux
def test_an_error_in_the_main_process_leaves_no_process_behind(mixed, at_once):
    def stop(done: int, total: int) -> None:
        if children(os.getpid()):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read_found(find_files([mixed]), workers=2, progress=stop)
    assert not children(os.getpid())


@pytest.mark.slow
@on_linux
def test_ctrl_c_stops_within_a_second_keeps_what_was_read_and_says_how_to_go_on(many, tmp_path):
    cache = tmp_path / "cache.sqlite"
    run = start_scan(many, cache, "--workers", "2")
    # Rows may be written before the reading processes stand, after a long walk over the folders.
    wait_until(lambda: rows_in(cache) > 0 and len(children(run.pid)) == 2)
    workers = children(run.pid)
    # Most of it is the interpreter taking the libraries down, which takes longer the more others run: what
    # the process stood and waited for a core is not its own.
    began, ready_s = time.monotonic(), stood_ready_s(run.pid)
    os.killpg(run.pid, signal.SIGINT)  # as the terminal does: to every process of the group
    wait_until(lambda: has_ended(run.pid))
    assert time.monotonic() - began - (stood_ready_s(run.pid) - ready_s) < 1.0
    out, err = run.communicate(timeout=20)
    assert run.returncode == 130
    assert out == ""
    assert "Traceback" not in err
    assert "run the same command again to go on" in err
    assert not any(map(alive, workers))
    kept = rows_in(cache)
    assert 0 < kept < 24_000
    told: list[int] = []
    read_found(find_files([many]), cache, workers=1, progress=lambda done, _: told.append(done))
    assert told[0] >= 1
    assert rows_in(cache) == 24_000


@pytest.mark.slow
@on_linux
def test_kill_9_leaves_a_usable_cache_and_no_process(many, tmp_path):
    cache = tmp_path / "cache.sqlite"
    run = start_scan(many, cache, "--workers", "2")
    wait_until(lambda: rows_in(cache) > 0)
    workers = children(run.pid)
    os.kill(run.pid, signal.SIGKILL)
    run.communicate(timeout=20)
    wait_until(lambda: not any(map(alive, workers)), 5)
    kept = rows_in(cache)
    assert kept > 0
    shutil.rmtree(many / "23")
    read = read_found(find_files([many]), cache, workers=2)
    assert read.problems == []
    assert len(read.records) == 23_000
    assert {record.f_number for record in read.records} == {8.0}
    with sqlite3.connect(cache) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    db.close()


@pytest.mark.parametrize(
    ("workers", "start_s", "starts"),
    [(2, 3.9, True), (2, 4.1, False), (4, 5.9, True), (4, 6.1, False), (1, 0.0, False)],
)
def test_processes_are_started_where_they_save_more_than_they_cost(
    tmp_path, monkeypatch, workers, start_s, starts
):
    """Two of ten jobs took two seconds: eight are left, which n processes would do in an n-th of the time."""
    for i in range(20):
        (tmp_path / f"P{i:07d}.jpg").write_bytes(b"no picture")
    asked: list[int] = []
    clock = iter([100.0, 102.0])
    monkeypatch.setattr(reading, "JOB_FILES", 2)
    monkeypatch.setattr(reading, "WORKER_START_S", start_s)
    monkeypatch.setattr(reading.time, "perf_counter", lambda: next(clock))
    monkeypatch.setattr(
        reading._Reading, "_in_processes", lambda self, jobs, workers: asked.append(len(jobs))
    )
    read_found(find_files([tmp_path]), None, workers)
    assert asked == ([8] if starts else [])


@pytest.mark.parametrize(("seconds", "told"), [(1e9, [(6, 6)]), (0.0, [(i, 6) for i in range(1, 7)])])
def test_progress_is_told_so_often_and_at_the_end(tmp_path, monkeypatch, seconds, told):
    for i in range(6):
        (tmp_path / f"P{i:07d}.jpg").write_bytes(b"no picture")
    monkeypatch.setattr(reading, "PROGRESS_S", seconds)
    heard: list[tuple[int, int]] = []
    read_found(find_files([tmp_path]), None, 1, lambda *at: heard.append(at))
    assert heard == told
