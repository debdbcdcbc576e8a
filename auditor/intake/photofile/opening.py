"""Open strangers' files for reading: ordinary files only, never a pipe, device or folder."""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager

_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
_KEEP_ACCESS_TIME = getattr(os, "O_NOATIME", 0)  # reading a photograph should leave no trace on it

_REASONS = {
    errno.ENOENT: "the file is not there (gone, or a link that leads nowhere)",
    errno.EACCES: "no permission to read it",
    errno.EPERM: "no permission to read it",
    errno.ELOOP: "a link that leads in a circle",
    errno.ENAMETOOLONG: "its name is too long for this system",
    errno.EIO: "the disk cannot read it",
    errno.EISDIR: "a folder, not a file",
    errno.ENOTDIR: "the file is not there (a part of its path is no folder)",
}

_OTHER = "the system cannot read it: "
UNFORESEEN = "the file could not be read"  # whatever a stranger's file does, the run goes on


class OpenError(Exception):
    """The file cannot be opened or read; the message says why, to a person."""


@contextmanager
def opened(path: str | os.PathLike[str]) -> Iterator[tuple[int, int]]:
    """Open an ordinary file, else OpenError; gives its descriptor and its size in bytes."""
    try:
        fd, size = _open(os.fspath(path))
        try:
            yield fd, size
        finally:
            os.close(fd)
    except OSError as error:
        reason = _REASONS.get(error.errno or 0) or f"{_OTHER}{error.strerror or error}"
        raise OpenError(reason) from error


def _open(name: str) -> tuple[int, int]:
    try:
        _refuse_others(os.stat(name))
        fd = _open_quietly(name)
    except ValueError as error:  # a NUL, or a character that the file system cannot spell
        raise OpenError("its name cannot be used on this system") from error
    try:
        status = os.fstat(fd)
        _refuse_others(status)  # it may have been replaced in between
    except BaseException:
        os.close(fd)
        raise
    return fd, status.st_size


def _refuse_others(status: os.stat_result) -> None:
    if not stat.S_ISREG(status.st_mode):
        folder = stat.S_ISDIR(status.st_mode)
        raise OpenError("a folder, not a file" if folder else "not an ordinary file (a pipe or a device)")


def _open_quietly(name: str) -> int:
    if _KEEP_ACCESS_TIME:
        try:
            return os.open(name, _READ | _KEEP_ACCESS_TIME)
        except PermissionError:  # allowed to the owner only
            pass
    return os.open(name, _READ)


def may_pass(reason: str | None) -> bool:
    """Tell whether a reason may be gone next time, as it does not surely lie with the file."""
    return reason is not None and (reason in _REASONS.values() or reason.startswith((_OTHER, UNFORESEEN)))
