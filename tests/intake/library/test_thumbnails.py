"""Thumbnails: small, upright, without metadata, kept beside the cache, and never a change to a photograph."""

from __future__ import annotations

import io
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from auditor.intake.library import thumbnails as module
from auditor.intake.library.thumbnails import thumbnails


def picture(path: Path, colour: str = "red") -> str:
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.32: row 0 is the visual right-hand side, so turn a quarter
    exif[0x010E] = "a secret place"
    Image.new("RGB", (1200, 800), colour).save(path, exif=exif, comment="secret")
    os.utime(path, (1e9, 1e9))
    return str(path)


def test_they_are_small_upright_and_bare(tmp_path: Path) -> None:
    path = picture(tmp_path / "a.jpg")
    before = Path(path).read_bytes(), os.stat(path).st_mtime_ns
    (jpeg,) = thumbnails([path])
    assert jpeg is not None
    with Image.open(io.BytesIO(jpeg)) as made:
        assert made.height > made.width
        assert max(made.size) <= 220
        assert not made.getexif()
    assert b"secret" not in jpeg
    assert before == (Path(path).read_bytes(), os.stat(path).st_mtime_ns)


def test_they_are_kept_beside_the_cache_until_the_file_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photographs = tmp_path / "walk"
    photographs.mkdir()
    paths = [picture(photographs / f"{n}.jpg") for n in range(3)]
    cache = tmp_path / "read.sqlite"
    first = thumbnails(paths, cache)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["read-thumbnails.sqlite", "walk"]
    asked: list[str] = []
    real = module.thumbnail
    monkeypatch.setattr(module, "thumbnail", lambda path: (asked.append(path), real(path))[1])
    assert thumbnails(paths, cache) == first
    assert asked == []
    picture(photographs / "1.jpg", "blue")
    os.utime(paths[1], (1e9 + 5, 1e9 + 5))
    assert thumbnails(paths, cache)[1] != first[1]
    assert asked == [paths[1]]
    assert sorted(path.name for path in photographs.iterdir()) == ["0.jpg", "1.jpg", "2.jpg"]


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut"])
def test_what_cannot_be_shown_has_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(content)
    assert thumbnails([str(tmp_path / "a.jpg"), str(tmp_path / "missing.jpg")]) == [None, None]


@pytest.mark.parametrize("value", [None, 7, "text", b"<script>", b"\xff\xd8\xff" + bytes(1 << 17)])
def test_what_a_damaged_cache_holds_is_no_thumbnail(tmp_path: Path, value: object) -> None:
    path = picture(tmp_path / "a.jpg")
    cache = tmp_path / "read.sqlite"
    first = thumbnails([path], cache)
    with closing(sqlite3.connect(tmp_path / "read-thumbnails.sqlite")) as db, db:
        assert db.execute("UPDATE file SET value = ?", (value,)).rowcount == 1
    assert thumbnails([path], cache) == first
