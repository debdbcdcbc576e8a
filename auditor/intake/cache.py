"""Keeps what was read of each file, so that the next run reads only what has changed.

An SQLite file in the user's cache folder. A row counts only where path, size, times and reader version all
fit. Whatever is wrong with the cache costs at most one message: the files themselves can always be read.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

from auditor.errors import Problem
from auditor.intake.files import Stamp
from auditor.intake.packing import READER_VERSION

APPLICATION_ID = 0x465A4121  # tells our file from any other SQLite file
SCHEMA = 1
FLUSH_ROWS = 2000
FLUSH_S = 1.0
KEEP_UNUSED_DAYS = 400  # longer than a disk of last year's photographs may lie on the shelf
BUSY_S = 0.5
BUSY_TRIES_AT_END = 10

_HEADER = b"SQLite format 3\0"
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_TABLES = (
    "CREATE TABLE folder (id INTEGER PRIMARY KEY, path NOT NULL UNIQUE, used_day INTEGER NOT NULL)",
    "CREATE TABLE file (folder INTEGER, name, size INTEGER, changed_ns INTEGER, entry_changed_ns INTEGER,"
    " reader INTEGER, value BLOB, PRIMARY KEY (folder, name)) WITHOUT ROWID",
)

Row = tuple[object, ...]  # size, changed_ns, entry_changed_ns, reader, value


class Cache:
    """An open cache; once it fails it only forgets, it never raises.

    Parameters
    ----------
    path : Path or None
        The cache file; None for no cache.

    Attributes
    ----------
    problems : list of Problem
        Why it was rebuilt or is not used.
    """

    def __init__(self, path: Path | None) -> None:
        self.problems: list[Problem] = []
        self._path = path or Path()
        self._db: sqlite3.Connection | None = None
        self._ids: dict[str, int] = {}
        self._gone: list[tuple[int, object]] = []
        self._waiting: list[tuple[str, str, Stamp, bytes]] = []
        self._flushed_at = time.monotonic()
        if path is not None:
            self._guarded(self._open)

    def rows_of(self, folder: str) -> dict[str, Row]:
        """Return the rows of one folder by file name."""
        rows: dict[str, Row] = {}

        def read() -> None:
            for number, name, *row in self._connection().execute(
                "SELECT folder, name, size, changed_ns, entry_changed_ns, reader, value FROM file"
                " WHERE folder = (SELECT id FROM folder WHERE path = ?)",
                (_storable(folder),),
            ):
                self._ids[folder] = number
                rows[os.fsdecode(name)] = tuple(row)

        if self._db is not None:
            self._guarded(read)
        return rows

    def put(self, folder: str, name: str, stamp: Stamp, value: bytes) -> None:
        """Keep what was read of a file; written together with others, at least once a second."""
        if self._db is None:
            return
        self._waiting.append((folder, name, stamp, value))
        if len(self._waiting) >= FLUSH_ROWS or time.monotonic() > self._flushed_at + FLUSH_S:
            self._flush()

    def forget(self, folder: str, names: list[str]) -> None:
        """Drop the rows of files that are no longer there."""
        if folder in self._ids:
            self._gone += [(self._ids[folder], _storable(name)) for name in names]

    def close(self, folders: list[str]) -> None:
        """Write what is left, note which folders were used, and drop what nobody has used for long."""
        for _ in range(BUSY_TRIES_AT_END):
            if self._db is not None and self._waiting:
                self._flush()
        if self._db is not None:
            self._guarded(lambda: self._tidy(folders))
        if self._db is not None:
            self._guarded(self._connection().close)
            self._db = None

    def _connection(self) -> sqlite3.Connection:
        assert self._db is not None
        return self._db

    def _guarded(self, step: Callable[[], None]) -> None:
        """Carry out a step; where the cache fails, rebuild it or go on without."""
        try:
            step()
        except (sqlite3.Error, OSError, OverflowError) as error:
            if _code(error) in _BUSY:
                return
            if isinstance(error, sqlite3.Error) and _code(error) in _DAMAGED and not self.problems:
                self._rebuild(f"was damaged ({error})")
            else:
                self._give_up(str(error))

    def _give_up(self, why: str) -> None:
        if self._db is not None:
            try:
                self._db.close()
            except sqlite3.Error:
                pass
        self._db = None
        self._waiting.clear()
        if not self.problems:
            self.problems.append(
                Problem(
                    str(self._path),
                    f"The cache cannot be used: {why}.",
                    "The files were read without it. Name another with --cache FILE, or --cache off.",
                )
            )

    def _open(self) -> None:
        path = self._path
        if path.exists() and not path.is_file():
            raise OSError("it is not an ordinary file")
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file() and path.stat().st_size and not _starts_like_sqlite(path):
            aside = path.with_name(path.name + ".damaged")
            os.replace(path, aside)
            self.problems.append(
                Problem(
                    str(path),
                    f"The cache was no cache; it was moved to {aside.name}.",
                    "A new one was begun.",
                )
            )
        self._db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        ((application,),) = self._db.execute("PRAGMA application_id")
        ((schema,),) = self._db.execute("PRAGMA user_version")
        ((tables,),) = self._db.execute("SELECT count(*) FROM sqlite_master")
        if application != APPLICATION_ID and tables:
            raise OSError("it is the database of another program, and was left alone")
        if schema > SCHEMA:
            self._rebuild("is of a newer version")
        elif schema < SCHEMA or not tables:
            self._create()
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = NORMAL")

    def _create(self) -> None:
        """Make the tables, in place of any others. Before WAL: the first page then says whose file it is."""
        db = self._connection()
        db.execute("BEGIN IMMEDIATE")
        ((schema,),) = db.execute("PRAGMA user_version")
        ((tables,),) = db.execute("SELECT count(*) FROM sqlite_master")
        if schema != SCHEMA or not tables:  # else another run was quicker
            for name in ("file", "folder"):
                db.execute(f"DROP TABLE IF EXISTS {name}")
            for table in _TABLES:
                db.execute(table)
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {SCHEMA}")
        db.execute("COMMIT")

    def _rebuild(self, why: str) -> None:
        """Begin a new cache in place of one of ours that cannot be used."""
        if self._db is not None:
            self._db.close()
            self._db = None
        if not _is_ours(self._path):
            self._give_up("it is damaged, or no cache, and was left alone")
            return
        self.problems.append(Problem(str(self._path), f"The cache {why}.", "It was rebuilt."))
        for ending in ("", "-wal", "-shm", "-journal"):
            Path(f"{self._path}{ending}").unlink(missing_ok=True)
        self._ids.clear()
        self._gone.clear()
        self._guarded(self._open)

    def _flush(self) -> None:
        self._flushed_at = time.monotonic()
        self._guarded(self._write)

    def _write(self) -> None:
        db = self._connection()
        db.execute("BEGIN IMMEDIATE")
        try:
            today = _today()
            rows = []
            for folder, name, stamp, value in self._waiting:
                if folder not in self._ids:
                    self._ids[folder] = _folder_id(db, folder, today)
                rows.append((self._ids[folder], _storable(name), *stamp, READER_VERSION, value))
            db.executemany("INSERT OR REPLACE INTO file VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            db.execute("COMMIT")
        except BaseException:
            _roll_back(db)
            raise
        self._waiting.clear()

    def _tidy(self, folders: list[str]) -> None:
        db, today = self._connection(), _today()
        stale = [
            (today, number)
            for folder in folders
            for number, day in db.execute(
                "SELECT id, used_day FROM folder WHERE path = ?", (_storable(folder),)
            )
            if day != today
        ]
        if not stale and not self._gone:
            return
        oldest = today - KEEP_UNUSED_DAYS
        db.execute("BEGIN IMMEDIATE")
        try:
            db.executemany("UPDATE folder SET used_day = ? WHERE id = ?", stale)
            db.executemany("DELETE FROM file WHERE folder = ? AND name = ?", self._gone)
            db.execute(
                "DELETE FROM file WHERE folder IN (SELECT id FROM folder WHERE used_day < ?)", (oldest,)
            )
            db.execute("DELETE FROM folder WHERE used_day < ?", (oldest,))
            db.execute("COMMIT")
        except BaseException:
            _roll_back(db)
            raise


def _folder_id(db: sqlite3.Connection, folder: str, today: int) -> int:
    path = _storable(folder)
    db.execute("INSERT OR IGNORE INTO folder (path, used_day) VALUES (?, ?)", (path, today))
    ((number,),) = db.execute("SELECT id FROM folder WHERE path = ?", (path,))
    return int(number)


def _roll_back(db: sqlite3.Connection) -> None:
    if db.in_transaction:
        try:
            db.execute("ROLLBACK")
        except sqlite3.Error:
            pass


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


def _starts_like_sqlite(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(_HEADER)) == _HEADER


def _is_ours(path: Path) -> bool:
    """Whether the first page bears our number (SQLite file format, application id at offset 68)."""
    with path.open("rb") as file:
        head = file.read(72)
    return head.startswith(_HEADER) and int.from_bytes(head[68:72], "big") == APPLICATION_ID
