"""Keeps what was read of each file, and what came of a walk, so that the next run reads only what is new.

An SQLite file in the user's cache folder. A row counts only where path, size, times and reader version all
fit. Whatever is wrong with the cache costs at most one message: the files themselves can always be read.
"""

import os
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from auditor.errors import Problem
from auditor.intake.library.folders import NO_STAMP, Stamp
from auditor.intake.photofile.metadata import PICTURE_SUFFIXES
from auditor.intake.photofile.packing import READER_VERSION

APPLICATION_ID = 0x465A4121  # tells our file from any other SQLite file
SCHEMA = 2
FLUSH_ROWS = 2000
FLUSH_S = 1.0
KEEP_UNUSED_DAYS = 400  # longer than a disk of last year's photographs may lie on the shelf
WALKS_KEPT = 50  # each is as large as the archive it tells of
BUSY_S = 0.5
BUSY_AT_START_S = 5.0
BUSY_TRIES_AT_END = 10

_HEADER = b"SQLite format 3\0"
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA}
_ERRORS = (sqlite3.Error, OSError, OverflowError, UnicodeDecodeError)
_FILES = ("", "-wal", "-shm", "-journal")
_NEVER_A_CACHE = PICTURE_SUFFIXES | {".xmp", ".csv", ".json", ".parquet", ".toml"}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_TABLES = (
    "CREATE TABLE folder (id INTEGER PRIMARY KEY, path NOT NULL UNIQUE, used_day INTEGER NOT NULL)",
    "CREATE TABLE file (folder INTEGER, name, size INTEGER, changed_ns INTEGER, entry_changed_ns INTEGER,"
    " reader INTEGER, value BLOB, PRIMARY KEY (folder, name)) WITHOUT ROWID",
    "CREATE TABLE walk (place PRIMARY KEY, used_day INTEGER NOT NULL, state BLOB, value BLOB)",
)
_ROWS = "SELECT name, size, changed_ns, entry_changed_ns, value FROM file WHERE folder = ? AND reader = ?"
_BEGIN = "BEGIN IMMEDIATE"  # within `with db`: all or nothing, even when the run is stopped in between
_KEEP_FOLDER = "INSERT OR IGNORE INTO folder (path, used_day) VALUES (?, ?)"
_KEEP_FILE = "INSERT OR REPLACE INTO file SELECT id, ?, ?, ?, ?, ?, ? FROM folder WHERE path = ?"
_USE_FOLDER = "UPDATE folder SET used_day = ? WHERE path = ?"
_USE_WALK = "UPDATE walk SET used_day = ? WHERE place = ?"
_FORGET_FILE = "DELETE FROM file WHERE folder = (SELECT id FROM folder WHERE path = ?) AND name = ?"
_FORGET_OLD = (
    "DELETE FROM file WHERE folder IN (SELECT id FROM folder WHERE used_day < ?)",
    "DELETE FROM folder WHERE used_day < ?",
    "DELETE FROM walk WHERE used_day < ?",
)
_FORGET_OLD_WALKS = "DELETE FROM walk WHERE rowid NOT IN (SELECT rowid FROM walk ORDER BY rowid DESC LIMIT ?)"
_WALK = "SELECT value, used_day FROM walk WHERE place = ? AND state = ?"

CACHE_NAME = "read.sqlite"

Place = tuple[str, str]  # folder and name of a file
T = TypeVar("T")


def cache_folder() -> Path:
    """Folder of the user's caches that is ours alone."""
    from platformdirs import user_cache_path

    return user_cache_path("focus-zone-auditor")


def beside(cache: Path | None, what: str) -> Path | None:
    """Return the file for another kind of things beside the readers' cache, if there is one."""
    return None if cache is None else cache.with_name(f"{cache.stem}-{what}{cache.suffix}")


def cached_bytes(folder: Path) -> int:
    """How much the cache folder holds [bytes]."""
    paths = [os.path.join(place, name) for place, _, names in os.walk(folder) for name in names]
    return sum(os.lstat(path).st_size for path in paths)


def forget_all(folder: Path) -> list[Problem]:
    """Delete the cache folder, links in it without following them; returns what could not be deleted."""
    problems: list[Problem] = []

    def tell(_: Any, path: str, error: Any) -> None:
        problems.append(Problem(path, f"It cannot be deleted: {error[1].strerror or error[1]}."))

    shutil.rmtree(folder, onerror=tell)
    return problems


class Cache:
    """An open cache, or none; once it fails it only forgets, it never raises."""

    def __init__(self, path: Path | None, reader: int = READER_VERSION) -> None:
        self._reader = reader  # version of what is kept: rows of another one do not count
        self.problems: list[Problem] = []  # why it was rebuilt or is not used
        self._path = path or Path()
        self._db: sqlite3.Connection | None = None
        self._waiting: list[tuple[Place, Stamp, bytes]] = []
        self._full = FLUSH_ROWS
        self._flushed_at = time.monotonic()
        self._at_end: list[tuple[str, tuple[Any, ...]]] = []  # statements for when it is closed
        if path is not None:
            self._open_guarded()

    @property
    def is_open(self) -> bool:
        """Whether anything can be kept."""
        return self._db is not None

    def recall(self, places: Sequence[Place], stamps: Sequence[Stamp]) -> Iterator[tuple[int, Any]]:
        """Yield what is kept of unchanged files, by number among the places; what is gone is forgotten."""
        of_folder: dict[str, dict[str, int]] = {}
        for number, (folder, name) in enumerate(places):
            of_folder.setdefault(folder, {})[name] = number
        for folder, numbers in of_folder.items():
            rows: list[tuple[Any, ...]] = self._do(partial(self._rows_of, folder), [])
            for raw_name, *stamp, value in rows:
                name = raw_name if isinstance(raw_name, str) else os.fsdecode(raw_name)
                number = numbers.get(name, -1)
                if number >= 0 and tuple(stamp) == stamps[number]:
                    yield number, value
                elif number < 0 and not os.path.lexists(os.path.join(folder, name)):
                    self._at_end.append((_FORGET_FILE, (_storable(folder), _storable(name))))

    def _rows_of(self, folder: str, db: sqlite3.Connection) -> list[tuple[Any, ...]]:
        path = _storable(folder)
        known = db.execute("SELECT id, used_day FROM folder WHERE path = ?", (path,)).fetchone()
        if known is None:
            return []
        if known[1] != _today():
            self._at_end.append((_USE_FOLDER, (_today(), path)))
        return db.execute(_ROWS, (known[0], self._reader)).fetchall()

    def put(self, place: Place, stamp: Stamp, value: bytes) -> bool:
        """Keep what was read of a file, written together with others; tells whether it can be kept."""
        if self._db is None or stamp == NO_STAMP:
            return False
        self._waiting.append((place, stamp, value))
        if len(self._waiting) >= self._full or time.monotonic() > self._flushed_at + FLUSH_S:
            self._flush()
        return True

    def walk(self, place: str, state: bytes, folders: Iterable[str]) -> bytes | None:
        """Return what was kept of a whole walk, if that was in the same state; its folders count as used."""
        found = self._do(lambda db: db.execute(_WALK, (_storable(place), state)).fetchone(), None)
        if found is None:
            return None
        value, day = found
        if day != _today():
            self._at_end.append((_USE_WALK, (_today(), _storable(place))))
            self._at_end += [(_USE_FOLDER, (_today(), _storable(folder))) for folder in folders]
        return value if isinstance(value, bytes) else None

    def put_walk(self, place: str, state: bytes, value: bytes) -> None:
        """Keep what came of a whole walk, instead of what was kept for that place."""
        row = (_storable(place), _today(), state, value)
        keep = [("INSERT OR REPLACE INTO walk VALUES (?, ?, ?, ?)", row), (_FORGET_OLD_WALKS, (WALKS_KEPT,))]
        self._do(partial(_carry_out, keep), None)

    def flush(self) -> None:
        """Write what waits."""
        for _ in range(BUSY_TRIES_AT_END):
            if self._waiting:
                self._flush()

    def close(self) -> None:
        """Write what is left, note which folders were used, and drop what nobody has used for long."""
        self.flush()
        if self._at_end:
            oldest = (_today() - KEEP_UNUSED_DAYS,)
            self._do(partial(_carry_out, self._at_end + [(sql, oldest) for sql in _FORGET_OLD]), None)
        self._do(lambda db: db.close(), None)
        self._db = None

    def _do(self, step: Callable[[sqlite3.Connection], T], otherwise: T) -> T:
        """Carry out a step; where there is no cache or it fails, go on with the other value."""
        if self._db is None:
            return otherwise
        try:
            return step(self._db)
        except _ERRORS as error:
            if _code(error) not in _BUSY:  # else what waits is written later
                self._mend(error)
            return otherwise

    def _open_guarded(self) -> None:
        try:
            self._open()
        except _ERRORS as error:
            self._mend(error)

    def _mend(self, error: BaseException) -> None:
        """Begin anew where the cache is damaged, or go on without."""
        of_file = isinstance(error, sqlite3.Error | UnicodeDecodeError)  # a name that is not UTF-8
        if of_file and _code(error) in _DAMAGED and not self.problems:
            try:
                self._rebuild(f"was damaged ({error})")
            except OSError as why:
                self._give_up(f"it is damaged and was left alone ({why.strerror or why})")
        else:
            self._give_up(getattr(error, "strerror", None) or str(error))

    def _give_up(self, why: str) -> None:
        self._drop_connection()
        self._waiting.clear()
        if not self.problems:
            what = f"The cache cannot be used: {why}."
            step = "The files were read without it. Name another with --cache FILE, or --cache off."
            self.problems.append(Problem(str(self._path), what, step))

    def _drop_connection(self) -> None:
        if self._db is not None:
            with suppress(sqlite3.Error):
                self._db.close()
        self._db = None

    def _open(self) -> None:
        path = self._path
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            if not path.is_file():
                raise OSError("it is not an ordinary file")
            if path.suffix.lower() in _NEVER_A_CACHE:
                raise OSError(f"a file that ends in {path.suffix} is left alone")
            if path.stat().st_size and not _head(path).startswith(_HEADER):
                if path.parent != cache_folder():  # somebody named it, and may need what is in it
                    raise OSError("it holds something else, and was left alone")
                self._rebuild("was no cache")
                return
        self._db = db = sqlite3.connect(path, timeout=BUSY_AT_START_S, isolation_level=None)
        application, schema, tables = _kind(db)
        if application != APPLICATION_ID and tables:
            raise OSError("it is the database of another program, and was left alone")
        if schema > SCHEMA:
            self._rebuild("is of a newer version")
            return
        if schema < SCHEMA or not tables:
            _create(db)
        with suppress(sqlite3.OperationalError):  # while another run begins, it sees to this
            db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        db.execute(f"PRAGMA busy_timeout = {round(BUSY_S * 1000)}")

    def _rebuild(self, why: str) -> None:
        """Begin a new cache in place of one that is surely ours."""
        self._drop_connection()
        head = _head(self._path)
        is_ours = head.startswith(_HEADER) and int.from_bytes(head[68:72], "big") == APPLICATION_ID
        if self._path.parent != cache_folder() and not is_ours:
            raise OSError("it may be another program's")
        for ending in _FILES:
            Path(f"{self._path}{ending}").unlink(missing_ok=True)
        step = "A new one was begun; nothing else is lost."
        self.problems.append(Problem(str(self._path), f"The cache {why}.", step))
        self._open_guarded()

    def _flush(self) -> None:
        self._do(self._write, None)
        self._flushed_at = time.monotonic()
        self._full = len(self._waiting) + FLUSH_ROWS  # while another run writes, this waits

    def _write(self, db: sqlite3.Connection) -> None:
        folders = {folder for (folder, _), _, _ in self._waiting}
        rows = [
            (_storable(name), *stamp, self._reader, value, _storable(folder))
            for (folder, name), stamp, value in self._waiting
        ]
        with db:
            db.execute(_BEGIN)
            db.executemany(_KEEP_FOLDER, [(_storable(folder), _today()) for folder in folders])
            db.executemany(_KEEP_FILE, rows)
        self._waiting.clear()


def _carry_out(statements: Sequence[tuple[str, tuple[Any, ...]]], db: sqlite3.Connection) -> None:
    with db:
        db.execute(_BEGIN)
        for statement, values in statements:
            db.execute(statement, values)


def _kind(db: sqlite3.Connection) -> tuple[int, int, int]:
    """Application id, schema version, number of tables."""
    statements = ("PRAGMA application_id", "PRAGMA user_version", "SELECT count(*) FROM sqlite_master")
    application, schema, tables = (int(db.execute(statement).fetchone()[0]) for statement in statements)
    return application, schema, tables


def _create(db: sqlite3.Connection) -> None:
    """Make the tables in place of older ones. Done before WAL, so that the first page bears our number."""
    with db:
        db.execute(_BEGIN)
        _, schema, tables = _kind(db)
        if schema == SCHEMA and tables:
            return  # another run was quicker
        for name in ("file", "folder", "walk"):
            db.execute(f"DROP TABLE IF EXISTS {name}")
        for table in _TABLES:
            db.execute(table)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {SCHEMA}")


def _storable(name: str) -> str | bytes:
    """A name as SQLite can keep it: text, or its bytes where they are not UTF-8."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return os.fsencode(name)
    return name


def _today() -> int:
    return int(time.time() // 86400)


def _code(error: BaseException) -> int:
    """The primary result code of SQLite; where Python itself found the fault, that of a damaged file."""
    return int(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)) & 0xFF


def _head(path: Path) -> bytes:
    """The first bytes; at offset 68 stands the application id (SQLite file format)."""
    with path.open("rb") as file:
        return file.read(72)
