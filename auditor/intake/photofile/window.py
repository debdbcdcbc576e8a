"""Bounded reading of one open file: short pieces by offset, with an end to patience.

A hostile file can ask for endless small reads. A :class:`Window` counts them and gives up, so that no file
takes more than a moment. A :class:`ByteRange` is a stretch of a window that counts from its own start.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

HEAD_BYTES = 1 << 16  # the first read; it holds the whole header of nearly every JPEG
AHEAD_BYTES = 1 << 12  # smallest further read
MAX_READS = 20_000
MAX_BYTES = 64 << 20


class ReadLimitError(Exception):
    """The file asked for more reading than any picture header needs."""


class Window:
    """A file, or bytes in memory, read by offset."""

    __slots__ = ("_at", "_bytes_left", "_chunk", "_fd", "_head", "_reads_left", "size")

    def __init__(self, size: int, head: bytes, fd: int | None = None) -> None:
        self.size = size
        self._head = head
        self._fd = fd
        self._at = 0
        self._chunk = b""
        self._reads_left = MAX_READS
        self._bytes_left = MAX_BYTES

    @classmethod
    def of_file(cls, fd: int, size: int) -> Window:
        """Open a window on a file whose position is at its start."""
        return cls(size, os.read(fd, HEAD_BYTES), fd)

    @classmethod
    def of_bytes(cls, data: bytes) -> Window:
        """Open a window on bytes in memory."""
        return cls(len(data), data)

    def read(self, offset: int, count: int) -> bytes:
        """Return `count` bytes from `offset`, fewer at the end; ReadLimitError after too many of a file."""
        end = offset + count
        if end <= len(self._head):
            return self._head[offset:end]
        at = self._at
        if at <= offset and end <= at + len(self._chunk):
            return self._chunk[offset - at : end - at]
        if self._fd is None or offset >= self.size:
            return self._head[offset:end]
        wanted = min(max(count, AHEAD_BYTES), self.size - offset)
        self._reads_left -= 1
        self._bytes_left -= wanted
        if self._reads_left < 0 or self._bytes_left < 0:
            raise ReadLimitError
        os.lseek(self._fd, offset, os.SEEK_SET)
        self._chunk, self._at = os.read(self._fd, wanted), offset
        return self._chunk[:count]


@dataclass(frozen=True, slots=True)
class ByteRange:
    """A stretch of a window, offsets counted from `start`, closed at `length` bytes."""

    window: Window
    start: int
    length: int

    @classmethod
    def of_bytes(cls, data: bytes) -> ByteRange:
        """Make a block of bytes in memory."""
        return cls(Window.of_bytes(data), 0, len(data))

    def read(self, offset: int, count: int) -> bytes:
        """Return `count` bytes from `offset`; fewer where the block ends before that."""
        if offset + count > self.length:
            count = self.length - offset
            if count <= 0:
                return b""
        return self.window.read(self.start + offset, count)
