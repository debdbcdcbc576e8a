"""What is kept of a whole walk: told again only where nothing has changed, and then the very same."""

from __future__ import annotations

import os
import sqlite3
import time
import zlib
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from auditor.intake import sources
from auditor.intake.assembling import read_archive
from auditor.intake.library import cache as cache_module
from auditor.intake.library import kept_facts
from auditor.intake.library.folders import find_files
from auditor.intake.library.kept_facts import FACTS_NUMBER, pack_facts, state_of, unpack_facts
from auditor.intake.library.reading import read_found
from auditor.intake.photofile.packing import READER_NUMBER
from auditor.intake.sources import gather_facts
from auditor.intake.tables import to_csv_text
from auditor.journey import run_audit
from auditor.settings import Request
from tests.intake.library.settling import OLD, settle

DEMO = Path(__file__).resolve().parents[3] / "demo_metadata"
NOON = datetime(2031, 4, 5, 12, 0, 0)


@pytest.fixture
def archive(tmp_path, photo, packet) -> Path:
    """Twelve pictures in two folders, one with a sidecar, one sidecar broken, and a session file."""
    top = tmp_path / "walk"
    for i in range(12):
        photo(
            top / f"d{i % 2}" / f"P101{i:04d}.jpg",
            NOON + timedelta(minutes=i),
            focal_length_mm=28,
            f_number=8 if i % 3 else None,
            distance=(5, 2) if i % 4 else (2**32 - 1, 1),
            rating=i % 3 or None,
        )
    (top / "d0" / "P1010000.xmp").write_bytes(packet(5, label="Second"))
    (top / "d1" / "P1010001.xmp").write_bytes(b"<broken")
    (top / "d1" / "half.jpg").write_bytes(b"\xff\xd8\xff")
    (top / "session.toml").write_text('[[camera]]\nname = "body A"\nclock_offset = "5s"\n')
    settle(top)
    return top


@pytest.fixture
def read(archive, tmp_path, monkeypatch):
    """Read the archive with a cache; tells the archive, and whether its files were gone through."""

    def go(cache: Path | None = tmp_path / "home" / "read.sqlite", source: Path = archive, **facts):
        gone_through: list[int] = []

        def spied(store, found, *rest):
            gone_through.append(len(found.pictures))
            return real(store, found, *rest)

        real = sources.read_through
        with monkeypatch.context() as patch:
            patch.setattr(sources, "read_through", spied)
            result = read_archive(Request((source,), cache=cache, workers=1, **facts))
        return result, bool(gone_through)

    return go


def same(one, other) -> None:
    pd.testing.assert_frame_equal(one.table, other.table)
    for name in ("paths", "problems", "found", "read", "unreadable", "merged", "missing_numbers"):
        assert getattr(one, name) == getattr(other, name), name
    assert one.counted_to_end.tolist() == other.counted_to_end.tolist()
    assert one.governed_by.tolist() == other.governed_by.tolist()


def test_an_unchanged_archive_is_told_from_what_was_kept_and_says_the_same(read):
    fresh, by_files = read(cache=None)
    assert by_files
    first, by_files = read()
    assert by_files
    second, by_files = read()
    assert not by_files
    assert fresh.unreadable == 1
    assert len(fresh.problems) >= 2
    for told in (first, second):
        same(told, fresh)


def _touch(archive, photo, packet):
    os.utime(archive / "d1" / "P1010003.jpg", (OLD + 1, OLD + 1))


def _rate(archive, photo, packet):
    photo(archive / "d1" / "P1010003.jpg", NOON, rating=4)


def _add(archive, photo, packet):
    photo(archive / "d1" / "P1010099.jpg", NOON)


def _remove(archive, photo, packet):
    (archive / "d0" / "P1010002.jpg").unlink()


def _rename(archive, photo, packet):
    (archive / "d0" / "P1010002.jpg").rename(archive / "d0" / "P1010003.jpg")


def _move(archive, photo, packet):
    (archive / "d0" / "P1010002.jpg").rename(archive / "d1" / "P1010002.jpg")


def _rename_folder(archive, photo, packet):
    (archive / "d0").rename(archive / "d2")


def _sidecar(archive, photo, packet):
    (archive / "d0" / "P1010000.xmp").write_bytes(packet(1))


def _less_sidecar(archive, photo, packet):
    (archive / "d0" / "P1010000.xmp").unlink()


def _clock(archive, photo, packet):
    (archive / "session.toml").write_text('[[camera]]\nname = "body A"\nclock_offset = "6s"\n')


def _sensor(archive, photo, packet):
    (archive / "session.toml").write_text('[[camera]]\nname = "body A"\nsensor = "23.5x15.6mm"\n')


def _subject(archive, photo, packet):
    clock = (archive / "session.toml").read_text()
    (archive / "session.toml").write_text(f'[distances]\nin_files = "subject"\n{clock}')


def _no_session(archive, photo, packet):
    (archive / "session.toml").unlink()


@pytest.mark.slow
@pytest.mark.parametrize(
    "change",
    [
        _touch, _rate, _add, _remove, _rename, _move, _rename_folder, _sidecar, _less_sidecar,
    ],
)  # fmt: skip
def test_whatever_the_facts_follow_from_has_the_files_gone_through(read, archive, photo, packet, change):
    read()
    change(archive, photo, packet)
    time.sleep(0.05)
    told, by_files = read()
    assert by_files
    same(told, read(cache=None)[0])


@pytest.mark.parametrize("change", [_clock, _sensor, _subject, _no_session])
def test_what_is_stated_of_cameras_may_change_freely(read, archive, photo, packet, change):
    read()
    change(archive, photo, packet)
    told, by_files = read()
    assert not by_files
    same(told, read(cache=None)[0])


def test_notes_marks_and_presets_may_change_freely(read, archive):
    read()
    (archive / "notes.csv").write_text("file,keeper,subject_distance\nP1010004,no,3m\n")
    (archive / "session.toml").write_text(
        '[[camera]]\nname = "body A"\nclock_offset = "5s"\n'
        '[[lens]]\nfocal_length = "28mm"\n'
        '[[preset]]\nname = "walk"\nfocal_length = "28mm"\nf_number = "f/8"\nfocus_distance = "2m"\n'
        '[[stretch]]\npreset = "walk"\nfrom = "P1010002"\n'
        "[marks]\nmin_rating = 2\n"
    )
    told, by_files = read()
    assert not by_files
    same(told, read(cache=None)[0])
    assert told.table["subject_distance_m"].notna().sum() == 1
    assert "walk" in set(told.table["stated_preset"].dropna())


def test_each_set_of_sources_has_its_own(read, archive):
    assert read()[1]
    assert read(source=archive / "d0")[1]
    assert not read()[1]
    assert not read(source=archive / "d0")[1]


def test_a_changed_archive_takes_the_place_of_what_was_kept_before(read, archive, photo, tmp_path):
    for i in range(3):
        photo(archive / f"P10200{i:02d}.jpg", NOON)
        settle(archive)
        assert read()[1]
    with sqlite3.connect(tmp_path / "home" / "read.sqlite") as db:
        assert db.execute("SELECT count(*) FROM walk").fetchone() == (1,)
    db.close()


def test_a_walk_with_a_file_that_may_still_be_changing_is_not_kept(read, archive):
    os.utime(archive / "d0" / "P1010000.jpg")
    assert read()[1]
    assert read()[1]


def test_a_walk_with_a_file_that_may_be_readable_later_is_not_kept(read, archive):
    os.mkfifo(archive / "pipe.jpg")
    assert read()[1]
    assert read()[1]


def test_a_recalled_walk_keeps_its_rows_from_being_dropped(read, tmp_path, monkeypatch):
    """Who looks at an archive for years without changing it still has its files' records afterwards."""
    today = cache_module._today()
    for later in (0, 300, 600):
        monkeypatch.setattr(cache_module, "_today", lambda later=later: today + later)
        read()
    db = sqlite3.connect(tmp_path / "home" / "read.sqlite")
    assert {day for (day,) in db.execute("SELECT used_day FROM folder")} == {today + 600}
    assert db.execute("SELECT count(*) FROM file").fetchone() == (15,)
    db.close()


def test_only_so_many_walks_are_kept(read, archive, tmp_path, monkeypatch):
    monkeypatch.setattr(cache_module, "WALKS_KEPT", 2)
    sources_read = [archive, archive / "d0", archive / "d0" / "P1010000.jpg"]
    assert [read(source=source)[1] for source in sources_read] == [True] * 3
    assert [read(source=source)[1] for source in (*sources_read[:0:-1], archive)] == [False, False, True]


def test_files_named_one_by_one_share_what_no_session_file_says(archive):
    found = find_files(sorted((archive / "d0").glob("*.jpg")))
    assert len({id(folder.session) for folder in found.folders}) == 1


def test_a_file_dated_beyond_what_a_stamp_holds_is_read_each_time(read, archive):
    try:
        os.utime(archive / "d0" / "P1010000.jpg", (10**10, 10**10))
    except OSError:
        pytest.skip("this file system has no such dates")
    assert read()[1]
    assert read()[1]


def test_a_walk_of_another_version_is_not_told(read, monkeypatch):
    read()
    monkeypatch.setattr(kept_facts, "FACTS_VERSION", kept_facts.FACTS_VERSION + 1)
    assert read()[1]


@pytest.mark.parametrize("value", [b"", b"no facts", None, zlib.compress(b"no facts"), 5, "text"])
def test_what_was_kept_and_is_damaged_costs_nothing_but_time(read, tmp_path, value):
    whole, _ = read()
    db = sqlite3.connect(tmp_path / "home" / "read.sqlite")
    db.execute("UPDATE walk SET value = ?", (value,))
    db.commit()
    db.close()
    told, by_files = read()
    assert by_files
    same(told, whole)
    assert not read()[1]


def test_every_damaged_byte_is_noticed_or_changes_nothing(archive):
    found = find_files([archive])
    read = read_found(found)
    groups, doubts = sources.group_files(found, read.records)
    facts = gather_facts(found, read.records, read.sidecars, groups, doubts)
    packed = pack_facts(facts)
    noticed = 0
    for at in range(0, len(packed), 7):
        damaged = bytearray(packed)
        damaged[at] ^= 0x10
        try:
            told = unpack_facts(bytes(damaged))
        except ValueError:
            noticed += 1
        else:
            pd.testing.assert_frame_equal(told.table, facts.table)
    assert noticed > 0.9 * len(range(0, len(packed), 7))


def test_sources_in_another_place_are_another_state(archive, monkeypatch):
    here = state_of(find_files([archive]))
    assert state_of(find_files([archive])) == here
    monkeypatch.chdir(archive)
    assert state_of(find_files([Path()])) != here  # paths are shown as they were typed


def test_names_and_folders_count_where_a_file_system_leaves_the_times_as_they_are(archive):
    found = find_files([archive])
    (folder, name), *rest = found.pictures
    for other in [(folder, f"x{name}"), (folder + 1, name)]:
        assert state_of(replace(found, pictures=[other, *rest])) != state_of(found)


@pytest.mark.slow
def test_an_audit_says_the_same_the_second_time(tmp_path):
    """The demo, whole."""
    cache = tmp_path / "read.sqlite"
    first, second = (run_audit(Request((DEMO,), cache=cache)) for _ in range(2))
    assert to_csv_text(first.table) == to_csv_text(second.table)
    assert first.counts == second.counts
    assert [p.what for p in first.problems] == [p.what for p in second.problems]


def test_the_numbers_of_reader_and_facts_rise_when_either_says_something_else():
    """If this fails, raise READER_NUMBER or FACTS_NUMBER, whichever changed, and put the new sum here."""
    found = find_files([DEMO])
    read = read_found(found)
    groups, doubts = sources.group_files(found, read.records)
    facts = gather_facts(found, read.records, read.sidecars, groups, doubts)
    assert (READER_NUMBER, FACTS_NUMBER, zlib.crc32(to_csv_text(facts.table).encode())) == (7, 6, 564468917)
