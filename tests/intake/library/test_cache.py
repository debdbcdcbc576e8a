"""The cache: a second run reads only what changed, and nothing that happens to the cache costs a frame."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

from auditor.intake.library import cache as cache_module
from auditor.intake.library import reading
from auditor.intake.library.cache import APPLICATION_ID, SCHEMA
from auditor.intake.library.folders import find_files
from auditor.intake.library.reader_process import read_packed
from auditor.intake.library.reading import read_found
from auditor.intake.photofile.packing import pack
from tests.conftest import write_photo
from tests.intake.library.settling import OLD, settle

NOON = datetime(2031, 4, 5, 12, 0, 0)


@pytest.fixture
def archive(tmp_path, photo, packet) -> Path:
    """Twelve pictures and two sidecars in two folders."""
    for i in range(12):
        photo(tmp_path / "walk" / f"d{i % 2}" / f"P101{i:04d}.jpg", NOON + timedelta(minutes=i), rating=i % 3)
    for i in range(2):
        (tmp_path / "walk" / f"d{i}" / f"P101{i:04d}.xmp").write_bytes(packet(5))
    settle(tmp_path / "walk")
    return tmp_path / "walk"


@pytest.fixture
def read(archive, monkeypatch):
    """Read the archive, and tell which files were opened for it."""

    def go(cache: Path | None, source: Path = archive):
        opened: list[str] = []
        monkeypatch.setattr(
            reading, "read_packed", lambda path: opened.append(Path(path).name) or read_packed(path)
        )
        result = read_found(find_files([source]), cache, workers=1)
        return result, sorted(opened)

    return go


@pytest.fixture
def cache(tmp_path, monkeypatch) -> Path:
    """The cache in its usual place; elsewhere what is no cache for sure is left alone."""
    monkeypatch.setattr(cache_module, "cache_folder", lambda: tmp_path / "home")
    return tmp_path / "home" / "read.sqlite"


def said(read) -> str:
    """What was read, whether or not it was kept."""
    return repr([read.records, read.sidecars])


def in_cache(cache: Path, query: str, *values):
    db = sqlite3.connect(cache)
    try:
        with db:
            return db.execute(query, values).fetchall()
    finally:
        db.close()


# --- only what changed is read -------------------------------------------------------------------------


def test_a_second_run_opens_no_file_and_says_the_same(read, cache):
    without, opened = read(None)
    assert len(opened) == 14
    first, opened = read(cache)
    assert len(opened) == 14
    second, opened = read(cache)
    assert opened == []
    assert repr(first) == repr(second)
    assert said(first) == said(without)
    assert first.problems == []
    assert first.is_kept
    assert second.is_kept
    assert not without.is_kept


@pytest.mark.parametrize("change", ["contents", "size", "time", "contents with the time put back"])
def test_a_changed_file_is_read_again(read, cache, archive, photo, change):
    read(cache)
    path = archive / "d1" / "P1010003.jpg"
    if change == "contents":
        photo(path, NOON, rating=3)
        os.utime(path, (OLD + 60, OLD + 60))
    elif change == "size":
        path.write_bytes(path.read_bytes() + b"\0")
        os.utime(path, (OLD, OLD))
    elif change == "time":
        os.utime(path, ns=(OLD * 10**9, OLD * 10**9 + 100))
    else:
        data = path.read_bytes()
        assert b'xmp:Rating="0"' in data
        path.write_bytes(data.replace(b'xmp:Rating="0"', b'xmp:Rating="5"'))
        os.utime(path, (OLD, OLD))
    time.sleep(0.05)
    result, opened = read(cache)
    assert opened == ["P1010003.jpg"]
    assert said(result) == said(read(None)[0])
    assert read(cache)[1] == []


def test_a_file_that_may_still_be_changing_is_not_kept(read, cache, archive):
    os.utime(archive / "d0" / "P1010000.jpg")
    read(cache)
    assert read(cache)[1] == ["P1010000.jpg"]


def test_a_file_dated_in_the_future_is_kept(read, cache, archive):
    os.utime(archive / "d0" / "P1010000.jpg", (OLD + 10**9, OLD + 10**9))
    time.sleep(0.05)
    read(cache)
    assert read(cache)[1] == []


def test_rows_of_deleted_and_moved_files_are_dropped(read, cache, archive):
    read(cache)
    (archive / "d0" / "P1010000.jpg").unlink()
    (archive / "d0" / "P1010002.jpg").rename(archive / "d1" / "moved.jpg")
    time.sleep(0.05)
    result, opened = read(cache)
    assert opened == ["moved.jpg"]
    assert len(result.records) == 11
    names = [name for (name,) in in_cache(cache, "SELECT name FROM file")]
    assert len(names) == 13
    assert "P1010000.jpg" not in names
    assert "P1010002.jpg" not in names


def test_a_single_file_as_source_drops_no_row_of_its_neighbours(read, cache, archive):
    read(cache)
    _, opened = read(cache, archive / "d0" / "P1010000.jpg")
    assert opened == []
    assert read(cache)[1] == []


def test_folders_that_nobody_used_for_long_are_forgotten(read, cache, archive):
    read(cache)
    day = int(time.time() // 86400)
    in_cache(cache, "UPDATE folder SET used_day = ? WHERE path LIKE '%d0'", day - 500)
    in_cache(cache, "UPDATE folder SET used_day = ? WHERE path LIKE '%d1'", day - 300)
    read(cache, archive / "d1")
    assert in_cache(cache, "SELECT used_day FROM folder") == [(day,)]
    assert in_cache(cache, "SELECT count(*) FROM file") == [(7,)]


def test_the_way_a_folder_is_named_does_not_matter(read, cache, archive, monkeypatch):
    read(cache)
    monkeypatch.chdir(archive.parent)
    assert read(cache, Path("walk"))[1] == []
    assert read(cache, archive / "d0" / "..")[1] == []


def test_another_version_of_the_reader_reads_again(read, cache, monkeypatch):
    read(cache)
    monkeypatch.setattr(reading, "READER_VERSION", 12345)
    assert len(read(cache)[1]) == 14
    assert read(cache)[1] == []


def test_unreadable_files_are_kept_but_not_those_whose_trouble_may_pass(read, cache, archive):
    (archive / "broken.jpg").write_bytes(b"no picture")
    (archive / "dangling.jpg").symlink_to("nowhere")
    settle(archive.parent)
    result, _ = read(cache)
    assert sum(r.error is not None for r in result.records) == 2
    result, opened = read(cache)
    assert opened == ["dangling.jpg"]
    assert sum(r.error is not None for r in result.records) == 2


def test_an_unreadable_sidecar_is_listed_again(read, cache, archive):
    (archive / "d0" / "P1010002.xmp").write_bytes(b"<broken")
    settle(archive)
    first, _ = read(cache)
    second, opened = read(cache)
    assert opened == []
    broken = find_files([archive]).sidecars.index((1, "P1010002.xmp"))
    assert "not well-formed" in str(first.sidecars[broken].error)
    assert said(second) == said(first)


def test_names_that_are_not_utf_8_and_odd_ones_are_kept(read, cache, archive):
    odd = [b"\xff\xfe.jpg", b"a'b\"c;--.jpg", "ümläut\n.jpg".encode(), b"%41.jpg", b"x" * 251 + b".jpg"]
    source = os.fsencode(archive / "d0" / "P1010000.jpg")
    os.mkdir(os.fsencode(archive) + b"/\xe9t\xe9")
    for name in odd:
        shutil.copy(source, os.fsencode(archive) + b"/\xe9t\xe9/" + name)
    settle(archive)
    first, opened = read(cache)
    assert len(opened) == 14 + len(odd)
    second, opened = read(cache)
    assert opened == []
    assert repr(first) == repr(second)


# --- caches that cannot be used as they are --------------------------------------------------------------


def damage(cache: Path, how: str) -> None:
    data = bytearray(cache.read_bytes())
    if how == "garbage":
        data = bytearray(os.urandom(5000))
    elif how == "text":
        data = bytearray(b"x")
    elif how == "cut short":
        data = data[: len(data) // 2]
    elif how == "pages overwritten":
        data[4096:] = os.urandom(len(data) - 4096)
    elif how == "first page overwritten":
        data[100:4096] = os.urandom(3996)
    elif how == "all but the magic overwritten":
        data[16:] = os.urandom(len(data) - 16)
    cache.write_bytes(bytes(data))


DAMAGES = [
    "garbage", "text", "cut short", "pages overwritten", "first page overwritten",
    "all but the magic overwritten",
]  # fmt: skip


@pytest.mark.parametrize("how", DAMAGES)
def test_a_damaged_cache_is_rebuilt_with_one_message(read, cache, how):
    whole, _ = read(cache)
    damage(cache, how)
    result, opened = read(cache)
    assert repr(result.records) == repr(whole.records)
    assert repr(result.sidecars) == repr(whole.sidecars)
    assert len(opened) == 14
    assert [p.file for p in result.problems] == [str(cache)]
    again, opened = read(cache)
    assert opened == []
    assert again.problems == []


def test_a_damaged_row_is_read_again(read, cache):
    whole, _ = read(cache)
    values = in_cache(cache, "SELECT value FROM file WHERE name = 'P1010001.jpg'")[0][0]
    for wrong in (values[:-1], bytes([values[0] ^ 1]) + values[1:], b"", 7, None, "text"):
        in_cache(cache, "UPDATE file SET value = ? WHERE name = 'P1010001.jpg'", wrong)
        result, opened = read(cache)
        assert opened == ["P1010001.jpg"]
        assert repr(result) == repr(whole)


@pytest.mark.parametrize("columns", ["folder", "folder, name, size, other, columns, value"])
def test_tables_of_another_shape_are_rebuilt(read, cache, columns):
    read(cache)
    in_cache(cache, "DROP TABLE file")
    in_cache(cache, f"CREATE TABLE file ({columns})")
    result, opened = read(cache)
    assert len(opened) == 14
    assert len(result.problems) == 1
    assert read(cache)[1] == []


def test_a_newer_cache_is_rebuilt_with_one_message(read, cache):
    whole, _ = read(cache)
    in_cache(cache, f"PRAGMA user_version = {SCHEMA + 1}")
    in_cache(cache, "ALTER TABLE file RENAME TO files")
    result, opened = read(cache)
    assert len(opened) == 14
    assert repr(result.records) == repr(whole.records)
    assert ["newer version" in p.what for p in result.problems] == [True]
    assert read(cache)[1] == []


def test_an_older_cache_is_rebuilt_without_a_word(read, cache):
    read(cache)
    in_cache(cache, "PRAGMA user_version = 0")
    result, opened = read(cache)
    assert len(opened) == 14
    assert result.problems == []
    assert read(cache)[1] == []


def test_what_is_no_cache_of_ours_is_never_lost(read, tmp_path, archive):
    picture = archive / "d0" / "P1010000.jpg"
    other = tmp_path / "other.sqlite"
    in_cache(other, "CREATE TABLE precious (x)")
    letter = tmp_path / "letter"
    letter.write_text("dear reader")
    before = {path: path.read_bytes() for path in (picture, other, letter)}
    for path in before:
        result, opened = read(path)
        assert len(opened) == 14
        assert len(result.problems) == 1
        assert result.problems[0].file == str(path)
    assert {path: path.read_bytes() for path in before} == before
    assert not list(tmp_path.glob("*.damaged"))


def test_a_damaged_cache_that_cannot_be_deleted_costs_one_message(read, cache, monkeypatch):
    read(cache)
    damage(cache, "pages overwritten")

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "used by another program")

    for name in ("unlink", "replace"):
        monkeypatch.setattr(cache_module.os, name, refused)
    monkeypatch.setattr(cache_module.Path, "unlink", refused)
    result, opened = read(cache)
    assert len(opened) == 14
    assert len(result.problems) == 1
    assert "used by another program" in result.problems[0].what


def test_the_cache_knows_no_serial_number_and_no_position(tmp_path, cache):
    folder = tmp_path / "walk"
    with Image.open(write_photo(folder / "P1010001.jpg", NOON)) as picture:
        exif = picture.getexif()
    exif.get_ifd(0x8769)[0xA431] = "SN-7719283"
    exif.get_ifd(0x8825)[1] = "N"
    Image.new("RGB", (24, 16)).save(folder / "P1010001.jpg", exif=exif)
    settle(folder)
    read_found(find_files([folder]), cache)
    kept = b"".join(path.read_bytes() for path in cache.parent.iterdir())
    assert b"P1010001" in kept
    assert b"7719283" not in kept


def test_an_empty_picture_is_not_taken_for_a_new_cache(read, archive):
    empty = archive / "empty.jpg"
    empty.touch()
    result, _ = read(empty)
    assert empty.stat().st_size == 0
    assert len(result.problems) == 1


@pytest.mark.parametrize("kind", ["folder", "pipe", "below a file"])
def test_a_place_where_no_cache_can_be_costs_one_message(read, tmp_path, kind):
    place = tmp_path / "place"
    if kind == "folder":
        place.mkdir()
    elif kind == "pipe":
        os.mkfifo(place)
    else:
        place.touch()
        place = place / "cache.sqlite"
    result, opened = read(place)
    assert len(opened) == 14
    assert [p.file for p in result.problems] == [str(place)]


@pytest.fixture
def small_disk(tmp_path):
    """A disk of a few pages, or one that is read-only; only the superuser can have it."""
    mounted: list[Path] = []

    def mount(options: str) -> Path:
        if sys.platform != "linux" or os.geteuid() != 0:
            pytest.skip("only the superuser can mount a small disk")
        disk = tmp_path / "disk"
        disk.mkdir(exist_ok=True)
        command = ["mount", "-t", "tmpfs", "-o", options, "none", str(disk)]
        if subprocess.run(command, check=False, capture_output=True).returncode:
            pytest.skip("no disk can be mounted here")
        mounted.append(disk)
        return disk

    yield mount
    for disk in mounted:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_what_was_read_is_written_in_lots(tmp_path, monkeypatch):
    monkeypatch.setattr(cache_module, "FLUSH_ROWS", 5)
    monkeypatch.setattr(cache_module, "FLUSH_S", 600)
    with closing(cache_module.Cache(tmp_path / "read.sqlite")) as store:
        waiting = []
        for number in range(12):
            assert store.put(("/photos", f"P{number}.jpg"), (1, 2, 3), b"read")
            waiting.append(len(store._waiting))
    assert waiting == [1, 2, 3, 4, 0, 1, 2, 3, 4, 0, 1, 2]


@pytest.mark.parametrize("size", ["4k", "16k", "64k", "128k"])
def test_a_full_disk_costs_one_message(read, small_disk, size, archive, monkeypatch):
    for i in range(60):  # enough rows to fill the larger ones
        shutil.copy(archive / "d0" / "P1010000.jpg", archive / "d1" / f"{'long' * 50}{i}.jpg")
    settle(archive)
    disk = small_disk(f"size={size}")
    monkeypatch.setattr(cache_module, "FLUSH_ROWS", 5)
    for _ in range(2):
        result, _ = read(disk / "cache.sqlite")
        assert len(result.records) == 72
        assert all(record.error is None for record in result.records)
        assert len(result.problems) == 1


def test_a_read_only_cache_folder_costs_one_message(read, small_disk):
    disk = small_disk("size=4m")
    cache = disk / "cache.sqlite"
    read(cache)
    assert read(cache)[1] == []
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    result, _ = read(cache)
    assert len(result.records) == 12
    assert len(result.problems) == 1
    cache_beside = read(disk / "folder" / "new.sqlite")[0]
    assert len(cache_beside.problems) == 1


# --- several runs at once --------------------------------------------------------------------------------


def test_a_run_goes_on_while_another_one_writes(read, cache, monkeypatch):
    monkeypatch.setattr(cache_module, "BUSY_S", 0.01)
    read(cache)
    other = sqlite3.connect(cache, isolation_level=None)
    other.execute("DELETE FROM file")
    other.execute("BEGIN IMMEDIATE")
    result, opened = read(cache)
    assert len(opened) == 14
    assert len(result.records) == 12
    other.execute("ROLLBACK")
    other.close()
    assert len(read(cache)[1]) == 14
    assert read(cache)[1] == []


def test_a_cache_that_another_run_is_just_making_is_left_to_it(read, cache, monkeypatch):
    monkeypatch.setattr(cache_module, "BUSY_AT_START_S", 0.01)
    cache.parent.mkdir()
    other = sqlite3.connect(cache, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    result, opened = read(cache)
    assert len(opened) == 14
    assert [p.file for p in result.problems] == [str(cache)]
    other.execute("COMMIT")
    other.close()
    assert read(cache)[0].problems == []
    assert read(cache)[1] == []


@pytest.mark.slow
def test_two_runs_at_once_share_a_cache(tmp_path, archive, photo):
    for i in range(400):
        shutil.copy(archive / "d0" / "P1010000.jpg", archive / "d1" / f"Q{i:07d}.jpg")
    settle(archive)
    cache = tmp_path / "cache.sqlite"
    command = [
        sys.executable,
        "-m",
        "auditor",
        "scan",
        str(archive),
        "--cache",
        str(cache),
        "--unmarked",
        "keeper",
    ]
    for _ in range(3):
        runs = [
            subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path)
            for _ in range(2)
        ]
        said = [run.communicate(timeout=60) for run in runs]
        assert [run.returncode for run in runs] == [0, 0]
        assert said[0] == said[1]
        assert "cache" not in said[0][1]
    assert in_cache(cache, "SELECT count(*) FROM file") == [(414,)]
    assert in_cache(cache, "PRAGMA integrity_check") == [("ok",)]
    assert in_cache(cache, "PRAGMA journal_mode") == [("wal",)]
    assert in_cache(cache, "PRAGMA application_id") == [(APPLICATION_ID,)]


@pytest.mark.slow
def test_the_command_uses_the_users_cache_folder_or_none(tmp_path, archive):
    home = tmp_path / "home"
    environment = os.environ | {"XDG_CACHE_HOME": str(home), "HOME": str(home)}
    command = [sys.executable, "-m", "auditor", "scan", str(archive)]
    subprocess.run(
        [*command, "--cache", "off"], check=True, capture_output=True, env=environment, cwd=tmp_path
    )
    assert not home.exists()
    subprocess.run(command, check=True, capture_output=True, env=environment, cwd=tmp_path)
    (kept,) = home.rglob("*.sqlite")
    assert in_cache(kept, "SELECT count(*) FROM file") == [(14,)]


def test_packing_of_what_the_cache_holds_is_that_of_the_reader(read, cache, archive):
    read(cache)
    path = archive / "d0" / "P1010000.jpg"
    ((value,),) = in_cache(cache, "SELECT value FROM file WHERE name = ?", path.name)
    assert value == read_packed(str(path)) == pack(reading.unpack(value))


def test_a_cache_of_ours_is_rebuilt_wherever_it_was_named_and_no_other_database_is(read, tmp_path):
    """Newer ones, told by their number: the first bears our mark, the second no one's."""
    ours, strange = tmp_path / "ours.sqlite", tmp_path / "strange.sqlite"
    for path in (ours, strange):
        read(path)
        in_cache(path, f"PRAGMA user_version = {SCHEMA + 1}")
    in_cache(strange, "PRAGMA application_id = 77")
    before = strange.read_bytes()
    result, opened = read(ours)
    assert [problem.what for problem in result.problems] == ["The cache is of a newer version."]
    assert len(opened) == 14
    assert read(ours)[1] == []
    result, _ = read(strange)
    assert "database of another program" in result.problems[0].what
    assert strange.read_bytes() == before


def test_folders_are_kept_for_so_many_days_and_no_longer(read, cache, archive):
    read(cache)
    today = cache_module._today()
    for days, kept in ((cache_module.KEEP_UNUSED_DAYS, 2), (cache_module.KEEP_UNUSED_DAYS + 1, 1)):
        in_cache(cache, "UPDATE folder SET used_day = ? WHERE path LIKE '%d1'", today - days)
        store = cache_module.Cache(cache)
        list(store.recall([(str(archive / "d0"), "gone.jpg")], [(1, 1, 1)]))
        in_cache(cache, "UPDATE folder SET used_day = ? WHERE path LIKE '%d0'", today - 1)
        list(store.recall([(str(archive / "d0"), "P1010000.jpg")], [(1, 1, 1)]))
        store.close()
        assert in_cache(cache, "SELECT count(*) FROM folder") == [(kept,)]


def test_why_a_cache_cannot_be_used_is_told(tmp_path):
    """In our own words, or in those of the system."""
    (tmp_path / "file").touch()
    folder, below_a_file = cache_module.Cache(tmp_path), cache_module.Cache(tmp_path / "file" / "c.sqlite")
    assert [problem.what for problem in folder.problems] == [
        "The cache cannot be used: it is not an ordinary file."
    ]
    (problem,) = below_a_file.problems
    assert problem.what.startswith("The cache cannot be used: ")
    assert "None" not in problem.what
    assert not folder.is_open
    assert not below_a_file.is_open
