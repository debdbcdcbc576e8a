"""What can go wrong, in words a photographer can act on.

Three kinds of trouble are told apart. A programmer's misuse is a ``ValueError``. What was asked for
cannot be done: an :class:`AuditorError`, which ends the command with exit code 1. One file or one line
is unusable: a :class:`Problem`, which is listed while everything else goes on.
"""

from dataclasses import dataclass


class AuditorError(Exception):
    """A request that cannot be carried out."""

    def __init__(self, what: str, next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.next_step = next_step


class SourceError(AuditorError):
    """Nothing can be read at the place that was named."""


class SettingError(AuditorError):
    """A typed setting makes no sense, or no lens can do it."""


class FileFormatError(AuditorError):
    """A file that a person wrote (session file, notes, frame table) cannot be used at all."""


class OutputError(AuditorError):
    """A result cannot be written where it was asked for."""


class UnitError(AuditorError, ValueError):
    """A typed quantity cannot be read, or its unit could be guessed wrong."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that was left out or doubtful, while the rest went on."""

    file: str | None  # the file (and line or key) it concerns; None for the archive as a whole
    what: str  # what was found
    next: str = ""  # what the reader can do; may be empty
    # all the files of which the same is to be said, where `file` names only the first few
    files: tuple[str, ...] = ()
    unread: bool = False  # whether they could not be read at all
    ignored: bool = False  # whether something that a person stated was not used
    frames: int = 1  # how many frames it concerns; what changes most comes first

    @property
    def all_files(self) -> list[str]:
        """Every file that it concerns; none where it concerns the archive as a whole."""
        return list(self.files) or ([self.file] if self.file else [])
