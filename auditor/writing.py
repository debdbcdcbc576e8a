"""The one place that opens a file for writing; what a person made is never lost here.

A file is written whole under a random name in the folder where it belongs and then put in place, so that
nobody meets half of one. :func:`write_file` writes a single file, :class:`ResultsFolder` the files of a
folder that is ours: ``written.json`` there holds the SHA-256 sum of each, so that what has been changed
since, or was never ours, is told from what may be replaced.
"""

import csv
import hashlib
import json
import os
import secrets
import stat
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from auditor.errors import OutputError
from auditor.text import shown_path

WRITTEN_NAME = "written.json"
LARGEST_LIST_BYTES = 16 * 1024 * 1024
_OPEN_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
_REPLACEABLE = {".csv", ".html", ".json", ".jsonl", ".parquet", ".pdf", ".svg", ".toml", ".txt"}
_FILLABLE_NAMES = {"notes.csv", "sample.csv", "session.toml", "sheet.json"}
_NOTES_COLUMNS = {
    "keeper", "subject_distance", "standing_share", "face_share", "focus_distance", "focal_length", "reason",
    "sharp", "guessed_distance", "preset", "sample_weight",
}  # fmt: skip
_PICTURES = (
    b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"BM", b"II*\0", b"MM\0*", b"II\x2b\0", b"MM\0\x2b", b"IIRO",
    b"IIU\0",
)  # fmt: skip

Data = str | bytes | Iterable[str]


def write_file(path: Path, data: Data, *, force: bool = False) -> None:
    """Write one file whole, in place of another only with ``force``, of a person's never; or OutputError."""
    with _told_as_output_error(path):
        part = _write_beside(path, data)
        try:
            if os.path.lexists(path):
                if force and _same_bytes(path, part):
                    return
                reason = why_kept(path)
                if not force:
                    also = "." if reason else ", or replace it with --force."
                    raise OutputError(f"{shown_path(path)} is there already.", f"Name a new file{also}")
                if reason:
                    raise OutputError(f"{shown_path(path)} {reason}, so it stays.", "Name a new file.")
                os.replace(part, path)
            else:
                _put_new(part, path)
        finally:
            with suppress(OSError):
                os.unlink(part)


class ResultsFolder:
    """A folder of results; it is made when the first file is written."""

    def __init__(self, path: Path, *, force: bool = False) -> None:
        self.path = path
        self._force = force

    def write_all(
        self, files: Mapping[str, Data], *, keeping: bool = False, taken_in: Mapping[str, str] | None = None
    ) -> list[Path]:
        """Write files that belong together: all are written before the first is put in place.

        ``taken_in``: sums of files as they were read, whose contents are written again; they may be replaced.

        Raises OutputError if one may not be replaced or cannot be written; then none of them is.
        """
        paths = {name: self.path / name for name in files}
        parts: dict[str, Path] = {}
        with _told_as_output_error(self.path, "Free some space or name another folder with --out."):
            try:
                for name, path in paths.items():
                    self._make_folder(path.parent)
                    parts[name] = _write_beside(path, files[name])
                with _locked(self.path):
                    self._put_in_place(parts, taken_in or {}, keeping=keeping)
            finally:
                for part in parts.values():
                    with suppress(OSError):
                        os.unlink(part)
        return list(paths.values())

    def _make_folder(self, folder: Path) -> None:
        inside = folder != self.path
        if inside and folder.is_symlink():
            raise OutputError(
                f"{shown_path(folder)} is a link to elsewhere.", "Remove it, or name another folder."
            )
        folder.mkdir(parents=True, exist_ok=True)

    def _put_in_place(self, parts: Mapping[str, Path], taken_in: Mapping[str, str], *, keeping: bool) -> None:
        before = read_written(self.path)
        sums = {name: sum_of(part) for name, part in parts.items()}
        for name in parts:
            ours = {sums[name], *before.get(name, ()), taken_in.get(name) or sums[name]}
            self._check(name, ours, keeping=keeping)
        # Until all are in place either sum is ours: a run that is cut short leaves nothing foreign behind.
        both = {name: sorted({sums[name], *before.get(name, ())}) for name in sums}
        self._write_list({**before, **both})
        for name, part in parts.items():
            path = self.path / name
            if keeping and os.path.lexists(path) and sum_of(path) != sums[name]:
                keep_before(path)
            os.replace(part, path)
        self._write_list({**before, **{name: [total] for name, total in sums.items()}})

    def _check(self, name: str, ours: set[str], *, keeping: bool) -> None:
        path = self.path / name
        if not os.path.lexists(path) or (not path.is_symlink() and sum_of(path) in ours):
            return
        reason = why_kept(path)
        if keeping and (reason is None or reason == _FILLED):
            return
        if reason is not None:
            raise OutputError(f"{shown_path(path)} {reason}, so it stays.", "Name another folder with --out.")
        if not self._force:
            raise OutputError(
                f"{shown_path(path)} was not written by this tool, or was changed since.",
                "Name another folder with --out, or replace it with --force.",
            )

    def _write_list(self, sums: Mapping[str, list[str]]) -> None:
        path = self.path / WRITTEN_NAME
        os.replace(_write_beside(path, json.dumps({"files": sums}, indent=1, sort_keys=True) + "\n"), path)


_FILLED = "may hold what a person filled in"


def why_kept(path: Path) -> str | None:
    """Say why a file that is there is never replaced; None where it may be."""
    try:
        status = path.lstat()
        if stat.S_ISLNK(status.st_mode):
            return "is a link"
        if not stat.S_ISREG(status.st_mode):
            return "is no ordinary file"
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError:
        return "cannot be read"
    if _is_picture(head):
        return "is a picture"
    if path.suffix.lower() not in _REPLACEABLE:
        return "is of a kind that is never replaced"
    if path.name.casefold() in _FILLABLE_NAMES or path.suffix.lower() == ".toml" or _looks_like_notes(head):
        return _FILLED
    return None


def keep_before(path: Path) -> Path:
    """Move a file aside as ``NAME.before``, or with the next number that is free; return where it lies."""
    number = 1
    while os.path.lexists(kept := path.with_name(f"{path.name}.before{f'-{number}' if number > 1 else ''}")):
        number += 1
    _put_new(path, kept)
    with suppress(FileNotFoundError):
        os.unlink(path)
    return kept


def read_written(folder: str | os.PathLike[str]) -> dict[str, list[str]]:
    """The SHA-256 sums of what was written into a folder of ours; empty where none is told."""
    try:
        path = os.path.join(folder, WRITTEN_NAME)
        status = os.stat(path)
        if not stat.S_ISREG(status.st_mode) or status.st_size > LARGEST_LIST_BYTES:
            return {}
        with open(path, encoding="utf-8") as file:
            files = json.load(file)["files"]
        return {str(name): [str(total) for total in sums] for name, sums in files.items()}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}


def sum_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of a file's bytes; empty where it cannot be read."""
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            return ""
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def make_folder(path: Path) -> None:
    """Make a folder for new files; one that is there is taken."""
    with _told_as_output_error(path):
        path.mkdir(parents=True, exist_ok=True)


def write_details(text: str) -> Path:
    """Write what is known of a fault of ours into a new file of the system's folder for passing files."""
    path = Path(tempfile.gettempdir(), f"auditor-fault-{secrets.token_hex(4)}.txt")
    write_file(path, text)
    return path


def _is_picture(head: bytes) -> bool:
    """Whether a file begins like any kind of photograph: JPEG, PNG, TIFF and most raw, WebP, HEIF family."""
    return (
        head.startswith(_PICTURES) or head[4:8] == b"ftyp" or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
    )


def _looks_like_notes(head: bytes) -> bool:
    """Whether the first line names frames and a column that people fill, and is no frame table of ours."""
    line = head.decode("utf-8-sig", "replace").lstrip("\r\n").splitlines()[:1]
    if not line:
        return False
    delimiter = max(",;\t", key=line[0].count)
    names = {cell.strip().casefold() for cell in next(csv.reader(line, delimiter=delimiter), [])}
    return "file" in names and "files" not in names and bool(names & _NOTES_COLUMNS)


def _write_beside(path: Path, data: Data) -> Path:
    """Write everything under a new name in the folder of ``path``; nothing is left of it if that fails."""
    part = path.with_name(f".{secrets.token_hex(8)}.part")
    fd = os.open(part, _OPEN_NEW, 0o666)
    try:
        with os.fdopen(fd, "wb") as file:
            if isinstance(data, bytes):
                file.write(data)
            else:
                for text in [data] if isinstance(data, str) else data:
                    file.write(text.encode("utf-8", "backslashreplace"))
    except BaseException:
        with suppress(OSError):
            os.unlink(part)
        raise
    return part


def _put_new(part: Path, path: Path) -> None:
    """Give a file its name where nothing bears it yet, also against another run that does the same."""
    try:
        os.link(part, path, follow_symlinks=False)
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):  # a file system, or a system, without second names
        if os.path.lexists(path):
            raise FileExistsError from None
        os.rename(part, path)


def _same_bytes(path: Path, part: Path) -> bool:
    return not path.is_symlink() and path.is_file() and sum_of(path) == sum_of(part) != ""


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Let one run at a time put its files in place, where the system has such locks."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # a network disk without locks
            fcntl.flock(fd, fcntl.LOCK_EX)
        yield
    finally:
        os.close(fd)


@contextmanager
def _told_as_output_error(
    path: Path, next_step: str = "Free some space or name another place."
) -> Iterator[None]:
    try:
        yield
    except FileExistsError:
        raise OutputError(
            f"{shown_path(path)} is there already.", "Name a new one; nothing is overwritten."
        ) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name cannot be used on this system"
        raise OutputError(f"{shown_path(path)} cannot be written: {why}.", next_step) from None
