"""What the photographer has asked for: the session file's values with the command line's over them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

UnmarkedRule = Literal["auto", "not-kept", "keeper", "leave-out"]
UNMARKED_RULES: tuple[UnmarkedRule, ...] = ("auto", "not-kept", "keeper", "leave-out")
WALKING_SPEED_M_S = 1.32  # observed gait at crossings, 1.32 +/- 0.31 m/s, n = 139 (Andrews et al.)


@dataclass(frozen=True, slots=True)
class Settings:
    """Values that shape an audit; every one is shown in the report.

    Attributes
    ----------
    coc : str
        Circle-of-confusion criterion as typed (``handbook``, ``diagonal/1500``, ``0.025mm``, ...).
    confidence : float
        Level of every interval, between 0.5 and 1.
    units : {"m", "ft"}
        How distances are shown; tables and JSON always hold metres.
    unmarked : str
        Rule for unmarked frames (see :data:`UNMARKED_RULES`).
    speed_m_s : float
        Walking speed assumed of subjects; 0 for those that stand still.
    guess_sd : float
        Relative standard deviation of a distance guessed by eye.
    iso_max, wanted_shutter_s, slowest_shutter_s : float or None
        Limits of the light; None means inferred from the archive.
    f_number_min, f_number_max : float
        Range within which settings may be advised.
    worth : float
        Smallest gain worth acting on, as a share of what is kept now.
    """

    coc: str = "handbook"
    confidence: float = 0.95
    units: Literal["m", "ft"] = "m"
    unmarked: UnmarkedRule = "auto"
    speed_m_s: float = WALKING_SPEED_M_S
    guess_sd: float = 0.15
    iso_max: float | None = None
    wanted_shutter_s: float | None = None
    slowest_shutter_s: float | None = None
    f_number_min: float = 1.0
    f_number_max: float = 22.0
    worth: float = 0.10

    def changed(self, **values: Any) -> Settings:
        """Return a copy with the values that are not None put in."""
        return replace(self, **{name: value for name, value in values.items() if value is not None})


@dataclass(frozen=True, slots=True)
class Request:
    """What a command was asked to read, and what was said on the command line.

    Attributes
    ----------
    sources : tuple of Path
        Folders, picture files, or frame tables.
    session_file, notes_file, keepers_folder : Path or None
        Each replaces what lies in the folders.
    outer_session, outer_notes : Path or None
        Hold where nothing among the photographs says otherwise.
    unmarked : str or None
        Rule for unmarked frames; None leaves it to the session files.
    overrides : mapping
        Fields of :class:`Settings` given on the command line.
    cache : Path or None
        Cache file; None for none.
    workers : int or None
        Processes that read files; None for one a core.
    measure : bool
        Whether to measure the pictures themselves.
    walk : str or None
        Beginning of the walk to tell of, a day or a day and time; None for the newest.
    advice_file : Path or None
        What was advised before.
    """

    sources: tuple[Path, ...]
    session_file: Path | None = None
    notes_file: Path | None = None
    keepers_folder: Path | None = None
    outer_session: Path | None = None
    outer_notes: Path | None = None
    unmarked: UnmarkedRule | None = None
    overrides: Mapping[str, Any] = field(default_factory=dict)
    cache: Path | None = None
    workers: int | None = None
    measure: bool = False
    walk: str | None = None
    advice_file: Path | None = None
