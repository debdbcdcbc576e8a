"""What a real disk holds besides sound photographs; and that nothing there is ever changed."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import socket
import subprocess
import sys
import threading
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from auditor.errors import OutputError
from auditor.intake.library.folders import find_files
from auditor.intake.library.reading import read_found
from auditor.intake.tables import read_table, to_csv_text, write_table

pytestmark = pytest.mark.slow

NOON = datetime(2031, 4, 5, 12, 0, 0)
as_superuser = pytest.mark.skipif(
    sys.platform != "linux" or os.geteuid() != 0, reason="only the superuser can mount a disk"
)


@pytest.fixture
def auditor(command):
    """The command; see there."""
    return command


@pytest.fixture
def mount(tmp_path):
    """Mounts things, and takes them down again."""
    mounted: list[Path] = []

    def go(*options: str, at: Path) -> None:
        at.mkdir(parents=True, exist_ok=True)
        if subprocess.run(["mount", *options, str(at)], check=False, capture_output=True).returncode:
            pytest.skip("no disk can be mounted here")
        mounted.append(at)

    yield go
    for at in reversed(mounted):
        subprocess.run(["umount", "-l", str(at)], check=True)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def state(folder: Path) -> dict[bytes, tuple[object, ...]]:
    """Name, kind, contents, mode and times of everything below a folder; access times are left out."""
    seen: dict[bytes, tuple[object, ...]] = {}
    for top, folders, files in os.walk(os.fsencode(folder)):
        for name in (b".", *folders, *files):
            path = os.path.join(top, name)
            status = os.lstat(path)
            contents = ""
            if os.path.isfile(path) and not os.path.islink(path):
                with open(path, "rb") as file:
                    contents = hashlib.sha256(file.read()).hexdigest()
            seen[path] = (contents, status.st_mode, status.st_size, status.st_mtime_ns, status.st_ctime_ns)
    return seen


@pytest.fixture
def zoo(tmp_path, photo) -> Path:
    """Three sound photographs among everything that is none."""
    top = tmp_path / "zoo"
    for i in range(3):
        photo(top / f"P101{i:04d}.jpg", NOON + timedelta(minutes=i), f_number=8, rating=i)
    (top / "empty.jpg").touch()
    (top / "folder.jpg").mkdir()
    (top / "dangling.jpg").symlink_to("nowhere.jpg")
    (top / "loop.jpg").symlink_to("loop.jpg")
    (top / "up").symlink_to(top)
    os.mkfifo(top / "pipe.jpg")
    os.mkfifo(top / "P1010001.xmp")
    with socket.socket(socket.AF_UNIX) as there:
        there.bind(str(top / "socket.jpg"))
    if sys.platform == "linux" and os.geteuid() == 0:
        os.mknod(top / "endless.jpg", 0o020644, os.makedev(1, 5))  # reading it would never end
    else:
        (top / "endless.jpg").symlink_to("/dev/zero")
    return top


NO_PICTURES = {"empty.jpg", "dangling.jpg", "loop.jpg", "pipe.jpg", "socket.jpg", "endless.jpg"}


def test_what_is_no_photograph_is_counted_and_listed_and_never_opened(zoo):
    read = read_found(find_files([zoo]))
    named = dict(zip([name for _, name in find_files([zoo]).pictures], read.records, strict=True))
    assert set(named) == NO_PICTURES | {f"P101{i:04d}.jpg" for i in range(3)}
    assert {name for name, record in named.items() if record.error} == NO_PICTURES
    assert "pipe" in str(named["pipe.jpg"].error)
    assert "pipe or a device" in str(named["endless.jpg"].error)
    assert "circle" in str(named["loop.jpg"].error)
    assert "not there" in str(named["dangling.jpg"].error)
    assert [record.error is not None for record in read.sidecars] == [True]


def test_the_command_accounts_for_every_file(zoo, auditor):
    for _ in range(2):  # the second time from the cache
        done = auditor("scan", zoo, "--strict", code=3)
        assert [row["file"] for row in rows_of(done.stdout)] == [f"P101{i:04d}.jpg" for i in range(3)]
        assert "up" in done.stderr  # the link to a folder is named, and not followed
    audit = auditor("audit", zoo, "--json", "--unmarked", "not-kept")
    counts = json.loads(audit.stdout)["counts"]
    assert (counts["found"], counts["read"], counts["unreadable"]) == (9, 3, 6)


def test_names_of_every_kind_come_through(tmp_path, photo, auditor):
    top = tmp_path / "names"
    plain = photo(tmp_path / "one.jpg", NOON, f_number=8)
    names = [
        b"\xff\xfe\xe9.jpg", "naïve 写真 \U0001f4f7.jpg".encode(), b"n" * 251 + b".jpg", b"a\nb.jpg",
        b"a\rb.jpg",
        b'quo"te.jpg', b"com,ma;semi\t.jpg", b"=1+1.jpg", b"-2.jpg", b"@x.jpg", b"'=quoted.jpg", b"a|b.jpg",
        b"\x1b[31mred.jpg", b"dot. .jpg", b"UPPER.JPG", b"upper.jpg", b"%s%n.jpg", b"<b>.jpg", b"P1.jpg.jpg",
    ]  # fmt: skip
    top.mkdir()
    for name in names:
        shutil.copy(plain, os.path.join(os.fsencode(top), name))
    out = tmp_path / "frames.csv"
    auditor("scan", top, "--out", out)
    with out.open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.DictReader(file) for cell in (row["file"], row["files"])]
    assert not any(cell[0] in "=+-@\t\r" for cell in cells)
    table, problems = read_table(out)
    assert problems == []
    files = list(table["files"])
    coded = ("a\\u000ab.jpg", "a\\u000db.jpg", "com,ma;semi\\u0009.jpg")  # controls in names stand as codes
    for name in ("=1+1.jpg", 'quo"te.jpg', "'=quoted.jpg", *coded):
        assert sum(name in cell for cell in files) == 1
    rows = json.loads(auditor("scan", top, "--json").stdout)
    assert [row["files"] for row in rows] == files


@pytest.mark.slow
def test_formulas_quotes_and_line_breaks_in_a_files_texts_are_only_text(tmp_path, photo, auditor):
    texts = [
        "=cmd|' /C calc'!A0",
        "+1+1",
        "-1",
        "@SUM(A1)",
        'say "hi"',
        "two, parts",
        "'=already",
        "tab\tbed",
    ]
    for i, text in enumerate(texts):
        at = NOON + timedelta(minutes=i)
        photo(tmp_path / "x" / f"P101{i:04d}.jpg", at, camera=text, lens=f"lens {text}", rating=1, label=text)
    out = auditor("scan", tmp_path / "x").stdout
    shown = [row["camera"] for row in rows_of(out)]
    assert len(shown) == len(texts)
    assert not any(cell[:1] in ("=", "+", "-", "@", "\t", "\r") for cell in shown)
    as_rows = json.loads(auditor("scan", tmp_path / "x", "--json").stdout)
    said = [row["camera"] for row in as_rows]
    assert said == [text.replace("\t", " ") for text in texts]
    for ending in (".csv", ".json", ".parquet"):
        file = tmp_path / f"table{ending}"
        auditor("scan", tmp_path / "x", "--out", file)
        assert list(read_table(file)[0]["camera"]) == said
        assert auditor("scan", file, "--json").stdout == auditor("scan", tmp_path / "x", "--json").stdout


def test_a_deep_tree_is_read(tmp_path, photo, auditor):
    plain = photo(tmp_path / "one.jpg", NOON, f_number=8)
    here = os.open(tmp_path, os.O_RDONLY)
    os.mkdir("deep", dir_fd=here)
    name = "deep"
    for level in range(250):  # 250 x 21 bytes is beyond what one path may hold
        down = os.open(name, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here, name = down, "d" * 20
        if level in (0, 40, 150):
            picture = os.open(f"P{level:07d}.jpg", os.O_WRONLY | os.O_CREAT, dir_fd=here)
            os.write(picture, plain.read_bytes())
            os.close(picture)
        os.mkdir(name, dir_fd=here)
    os.close(here)
    try:
        done = auditor("scan", tmp_path / "deep")
        assert len(rows_of(done.stdout)) == 3
        assert "cannot be opened" in done.stderr  # where the path becomes too long for the system
    finally:
        subprocess.run(["rm", "-rf", str(tmp_path / "deep")], check=True)


def test_names_that_differ_in_case_alone_are_frames_of_their_own(tmp_path, photo, auditor):
    for i, name in enumerate(("P1010001.jpg", "p1010001.JPG")):
        photo(tmp_path / "x" / name, NOON + timedelta(hours=i))
    if len(list((tmp_path / "x").iterdir())) < 2:
        pytest.skip("this disk does not tell case apart")
    done = auditor("scan", tmp_path / "x", "--strict", code=3)
    assert {row["file"] for row in rows_of(done.stdout)} == {"P1010001.jpg", "p1010001.JPG"}
    assert "two frames" in done.stderr


def test_files_and_folders_without_permission_are_listed(zoo, photo, tmp_path, as_plain_user):
    (zoo / "P1010000.jpg").chmod(0)
    photo(zoo / "closed" / "P1010009.jpg", NOON)
    (zoo / "closed").chmod(0)
    try:
        command = [*as_plain_user, sys.executable, "-m", "auditor", "scan", str(zoo), "--cache", "off"]
        done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=tmp_path)
        assert len(rows_of(done.stdout)) == 2
        assert "closed" in done.stderr
        assert "no permission" in done.stderr
    finally:
        (zoo / "closed").chmod(0o700)


def test_files_may_vanish_shrink_and_grow_while_they_are_read(tmp_path, photo):
    plain = photo(tmp_path / "one.jpg", NOON, f_number=8, rating=3).read_bytes()
    folder = tmp_path / "busy"
    folder.mkdir()
    paths = [folder / f"P{i:07d}.jpg" for i in range(300)]
    for path in paths:
        path.write_bytes(plain)
    over = threading.Event()

    def disturb() -> None:
        turn = 0
        while not over.is_set():
            path = paths[(turn * 7) % len(paths)]
            if turn % 3 == 0:
                path.unlink(missing_ok=True)
            else:
                path.write_bytes(plain[: (turn * 131) % len(plain)] + bytes(turn % 5000))
            turn += 1

    disturber = threading.Thread(target=disturb)
    disturber.start()
    try:
        for _ in range(5):
            found = find_files([folder])
            read = read_found(found, tmp_path / "cache.sqlite")
            assert len(read.records) == len(found.pictures)
            assert read.problems == []
    finally:
        over.set()
        disturber.join()
    for path in paths:
        path.write_bytes(plain)
        os.utime(path, (1_700_000_000, 1_700_000_000))
    settled = read_found(find_files([folder]), tmp_path / "cache.sqlite")
    assert {record.f_number for record in settled.records} == {8.0}


# --- nothing in the source folders changes ---------------------------------------------------------------


def use_everything(auditor, source: Path, out: Path) -> None:
    auditor("scan", source, "--out", out / "frames.csv")
    auditor("scan", source, "--json")
    auditor("audit", source, "--out", out / "report", "--unmarked", "not-kept")
    auditor("prepare", source, "--out", out / "notes", "--distances", "0")
    auditor("prepare", source, "--out", out / "sheet", "--distances", "2")


@pytest.mark.slow
def test_nothing_in_the_source_folders_changes(zoo, photo, packet, auditor, tmp_path):
    (zoo / "below").mkdir()
    photo(zoo / "below" / "P1010009.jpg", NOON, f_number=8, focal_length_mm=28, distance=(5, 2), rating=2)
    (zoo / "below" / "P1010009.xmp").write_bytes(packet(4))
    (zoo / "notes.csv").write_text("file,keeper\nP1010000,yes\n")
    (zoo / "session.toml").write_text('[marks]\nunmarked = "not-kept"\n')
    before = state(zoo)
    (tmp_path / "out").mkdir()
    use_everything(auditor, zoo, tmp_path / "out")
    assert (tmp_path / "out" / "report" / "report.html").is_file()
    assert state(zoo) == before


@pytest.mark.slow
@as_superuser
def test_a_read_only_archive_is_read_and_stays_as_it_is(zoo, auditor, tmp_path, mount):
    locked = tmp_path / "locked"
    mount("--bind", str(zoo), at=locked)
    subprocess.run(["mount", "-o", "remount,bind,ro", str(locked)], check=True)
    before = state(locked)
    (tmp_path / "out").mkdir()
    use_everything(auditor, locked, tmp_path / "out")
    assert state(locked) == before


@pytest.mark.skipif(not hasattr(os, "O_NOATIME"), reason="this system knows no reading without a trace")
def test_reading_a_photograph_leaves_its_access_time(zoo):
    once, other = zoo / "P1010000.jpg", zoo / "P1010001.jpg"
    for path in (once, other):
        os.utime(
            path, (1_500_000_000, 1_600_000_000)
        )  # an access time before the change is renewed by reading
    read_found(find_files([zoo]))
    assert once.stat().st_atime == 1_500_000_000
    other.read_bytes()
    if other.stat().st_atime == 1_500_000_000:
        pytest.skip("this disk notes no access at all, whoever reads")


# --- places where no result can be written ---------------------------------------------------------------

OUTPUTS = [("scan", "--out", "frames.csv"), ("audit", "--out", "report"), ("prepare", "--out", "notes")]


@as_superuser
@pytest.mark.parametrize("words", OUTPUTS)
def test_a_read_only_output_folder_is_an_error_with_a_next_step(zoo, auditor, tmp_path, mount, words):
    disk = tmp_path / "disk"
    mount("-t", "tmpfs", "-o", "ro,size=1m", "none", at=disk)
    command, option, name = words
    done = auditor(command, zoo, option, disk / name, code=1)
    assert done.stderr.count("auditor: ") == 1
    assert str(disk) in done.stderr


@pytest.mark.slow
@as_superuser
@pytest.mark.parametrize("left_bytes", [0, 4096])
@pytest.mark.parametrize("words", OUTPUTS)
def test_a_full_disk_is_an_error_with_a_next_step(zoo, photo, auditor, tmp_path, mount, words, left_bytes):
    for i in range(300):
        shutil.copy(zoo / "P1010000.jpg", zoo / f"Q{i:07d}.jpg")
    disk = tmp_path / "disk"
    mount("-t", "tmpfs", "-o", "size=64k", "none", at=disk)
    with suppress(OSError), (disk / "filler").open("wb") as filler:
        filler.write(bytes(shutil.disk_usage(disk).free - left_bytes))
    command, option, name = words
    done = auditor(command, zoo, option, disk / name, code=1)
    assert done.stderr.count("auditor: ") == 1
    assert "space" in done.stderr


@as_superuser
def test_a_table_that_could_not_be_written_whole_is_not_left_behind(tmp_path, mount):
    disk = tmp_path / "disk"
    mount("-t", "tmpfs", "-o", "size=16k", "none", at=disk)
    table = pd.DataFrame({"file": [f"P{i:07d}.jpg" for i in range(5000)]})
    assert len(to_csv_text(table)) > 16384
    with pytest.raises(OutputError):
        write_table(table, disk / "frames.csv")
    assert not (disk / "frames.csv").exists()
