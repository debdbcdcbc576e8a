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
    """Values that shape an audit; every one is shown in the report."""

    # circle-of-confusion criterion as typed (`handbook`, `diagonal/1500`, `0.025mm`, ...)
    coc: str = "handbook"
    confidence: float = 0.95  # level of every interval, between 0.5 and 1
    units: Literal["m", "ft"] = "m"  # how distances are shown; tables and JSON always hold metres
    unmarked: UnmarkedRule = "auto"  # rule for unmarked frames (see UNMARKED_RULES)
    speed_m_s: float = WALKING_SPEED_M_S  # walking speed assumed of subjects; 0 for those that stand still
    guess_sd: float = 0.15  # relative standard deviation of a distance guessed by eye
    # limits of the light; None means inferred from the archive
    iso_max: float | None = None
    wanted_shutter_s: float | None = None
    slowest_shutter_s: float | None = None
    # f_number_min, f_number_max: range within which settings may be advised
    f_number_min: float = 1.0
    f_number_max: float = 22.0
    worth: float = 0.10  # smallest gain worth acting on, as a share of what is kept now

    def changed(self, **values: Any) -> Settings:
        """Return a copy with the values that are not None put in."""
        return replace(self, **{name: value for name, value in values.items() if value is not None})


@dataclass(frozen=True, slots=True)
class Request:
    """What a command was asked to read, and what was said on the command line."""

    sources: tuple[Path, ...]  # folders, picture files, or frame tables
    # session_file, notes_file, keepers_folder: each replaces what lies in the folders
    session_file: Path | None = None
    notes_file: Path | None = None
    keepers_folder: Path | None = None
    # outer_session, outer_notes: hold where nothing among the photographs says otherwise
    outer_session: Path | None = None
    outer_notes: Path | None = None
    unmarked: UnmarkedRule | None = None  # rule for unmarked frames; None leaves it to the session files
    overrides: Mapping[str, Any] = field(default_factory=dict)  # fields of Settings given on the command line
    cache: Path | None = None  # cache file; None for none
    workers: int | None = None  # processes that read files; None for one a core
    measure: bool = False  # whether to measure the pictures themselves
    walk: str | None = None  # when the walk to tell of began, a day or a day and time; None for the newest
    advice_file: Path | None = None  # what was advised before
