"""Reading one file whatever it is: what is never touched, worst cases, odd files, damage at random."""

from __future__ import annotations

import hashlib
import math
import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from auditor.intake.photofile import metadata, opening
from auditor.intake.photofile.metadata import PICTURE_SUFFIXES, read_file
from auditor.intake.photofile.records import FileRecord
from tests.intake.photofile import builders as b
from tests.intake.photofile.worst import MADE, WORST_PICTURES


def test_gps_and_makers_notes_are_never_looked_at(tmp_path: Path) -> None:
    exif = {0x927C: (b.UNDEFINED, b"secret note" * 9), b.ISO: (b.SHORT, 100)}
    gps = {0x8825: (b.LONG, 26), b.MODEL: (b.ASCII, "body A")}
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff(gps, exif)))
    seen: list[bytes] = []
    real = metadata.exifread.process_file

    def spy(block: Any, **options: Any) -> Any:
        seen.append(block.getvalue())
        assert options == {"details": False, "extract_thumbnail": False}
        return real(block, **options)

    metadata._DECODED.clear()
    metadata.exifread.process_file = spy
    try:
        assert read_file(path).iso == 100
    finally:
        metadata.exifread.process_file = real
    assert len(seen) == 1
    assert b"secret" not in seen[0]
    assert b"\x25\x88" not in seen[0]


def test_what_is_remembered_between_files_changes_nothing(tmp_path: Path) -> None:
    """Many files of many values, each read fresh and read with what was remembered."""
    generator = random.Random(7)
    paths = []
    for i in range(300):
        exif = {
            b.F_NUMBER: (b.RATIONAL, (generator.randrange(6), generator.randrange(3))),
            b.ISO: (generator.choice([b.SHORT, b.LONG]), generator.choice([0, 1, 256])),
            b.FOCAL_35: (b.SHORT, generator.choice([0, 1, 256])),
            b.DISTANCE: (generator.choice([b.RATIONAL, b.SRATIONAL]), (generator.randrange(3), 1)),
        }
        path = tmp_path / f"{i}.jpg"
        path.write_bytes(b.jpeg(b.tiff({}, exif, generator.choice("<>"))))
        paths.append(path)
    remembered = [repr(read_file(path)) for path in paths]
    fresh = []
    for path in paths:
        metadata._DECODED.clear()
        fresh.append(repr(read_file(path)))
    assert remembered == fresh


def test_suffixes_are_lower_case_with_a_dot() -> None:
    assert {".jpg", ".mpo", ".heic", ".dng", ".tif"} <= PICTURE_SUFFIXES
    assert all(suffix == suffix.lower() and suffix.startswith(".") for suffix in PICTURE_SUFFIXES)


# Worst cases, made by hand, each with a bound on time.


@pytest.mark.parametrize("name", list(WORST_PICTURES))
def test_worst_cases_take_no_time(name: str, tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(WORST_PICTURES[name])
    metadata._DECODED.clear()
    begin = time.process_time()
    record = read_file(path)
    assert time.process_time() - begin < 1.0
    assert isinstance(record, FileRecord)
    assert record.error is None or len(record.error) > 10


# What the file system offers under a picture's name.


def test_a_pipe_is_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> int:
        raise AssertionError("it was opened")

    os.mkfifo(tmp_path / "x.jpg")
    monkeypatch.setattr(opening.os, "open", refuse)
    records: list[FileRecord] = []
    reader = threading.Thread(target=lambda: records.append(read_file(tmp_path / "x.jpg")), daemon=True)
    reader.start()
    reader.join(5)
    assert records
    assert records[0].error == "not an ordinary file (a pipe or a device)"


def test_other_things_that_are_no_files(tmp_path: Path) -> None:
    (tmp_path / "folder.jpg").mkdir()
    (tmp_path / "dangling.jpg").symlink_to(tmp_path / "nothing")
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    assert read_file(tmp_path / "folder.jpg").error == "a folder, not a file"
    assert "not there" in str(read_file(tmp_path / "dangling.jpg").error)
    assert "circle" in str(read_file(tmp_path / "loop.jpg").error)
    assert "not there" in str(read_file(tmp_path / "gone.jpg").error)
    assert "too long" in str(read_file(tmp_path / ("n" * 300)).error)
    assert "name" in str(read_file("nul\0byte.jpg").error)
    assert "ordinary" in str(read_file("/dev/zero").error)


def test_no_permission(tmp_path: Path, as_plain_user: list[str]) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    path.chmod(0)
    code = f"from {read_file.__module__} import read_file; print(read_file({str(path)!r}).error)"
    command = [*as_plain_user, sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout == "no permission to read it\n"


def test_a_name_that_is_not_utf8(tmp_path: Path) -> None:
    path = os.path.join(os.fsencode(tmp_path), b"\xff\xfe.jpg")
    with open(path, "wb") as file:
        file.write(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    assert read_file(os.fsdecode(path)).iso == 100


def test_reading_leaves_no_trace(tmp_path: Path) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b.jpeg(b.tiff({}, {b.ISO: (b.SHORT, 100)})))
    os.utime(path, (1_000_000_000, 1_000_000_000))
    path.chmod(0o444)
    before, content = path.stat(), hashlib.sha256(path.read_bytes()).hexdigest()
    os.utime(path, (1_000_000_000, 1_000_000_000))
    assert read_file(path).iso == 100
    after = path.stat()
    assert (after.st_atime, after.st_mtime, after.st_size) == (1_000_000_000, before.st_mtime, before.st_size)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == content
    assert os.listdir(tmp_path) == ["x.jpg"]


# Damage at random: whatever the bytes are, a record comes back.


@settings(max_examples=150, derandomize=True, deadline=1000, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_change_of_a_file_gives_a_record(data: st.DataObject, tmp_path: Path) -> None:
    whole = MADE[data.draw(st.sampled_from([name for name in MADE if name != "made.xmp"]))]
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(changed) - 1))
        size = data.draw(st.sampled_from([1, 1, 2, 4]))
        changed[at : at + size] = data.draw(st.binary(min_size=size, max_size=size))
    path = tmp_path / "x"
    path.write_bytes(bytes(changed[: data.draw(st.integers(1, len(changed)))]))
    record = read_file(path)
    assert isinstance(record, FileRecord)
    assert "could not be read" not in (record.error or ""), record.error
    for name in ("focal_length_mm", "f_number", "exposure_time_s", "iso"):
        value = getattr(record, name)
        assert math.isnan(value) or 0 < value < math.inf
    assert record.focus_distance_m > 0 or math.isnan(record.focus_distance_m)
