"""The walk that is told of, the newest or the one asked for: what was set, what was new, what to look at."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.light_kinds import KINDS, kind_index
from auditor.advice.past import Followed, PastAdvice, what_became
from auditor.errors import SettingError
from auditor.evidence.bursts import CountedFrames, burst_codes, count_frames, in_preset
from auditor.evidence.causes import Causes
from auditor.evidence.drift import Drift, find_drifts
from auditor.evidence.sharpness import JudgedFrames
from auditor.evidence.telling_frames import telling_frames
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.walks import count_walks, second_look
from auditor.frames import LEFT_OUT
from auditor.optics.exposure import exposure_value
from auditor.settings import Settings

FEWEST_NEW = 3  # presses in a light that was never met before


@dataclass(frozen=True, slots=True)
class Diary:
    """Walks over time, and one of them closely."""

    walks: pd.DataFrame  # see :func:`auditor.evidence.walks.count_walks`
    drifts: tuple[Drift, ...]
    row: int  # of `walks`: the walk told of
    presets: pd.DataFrame  # preset, f_number, focus_distance_m, presses of that walk, the most used first
    new: tuple[tuple[str, str], ...]  # camera, lens, preset or light that no earlier walk had, and its name
    telling: pd.DataFrame  # file, why, subject_distance_m: one frame of each kind that there is
    again: tuple[str, ...]  # passed over though sharp in the zone
    followed: tuple[Followed, ...]  # what became of what was advised before

    @property
    def walk(self) -> Any:
        """The row of the walk told of."""
        return self.walks.iloc[self.row]


def keep_diary(
    counted: CountedFrames,
    judged: JudgedFrames,
    sessions: pd.DataFrame,
    settings: Settings,
    tolerance: Tolerance,
    causes: Causes,
    past: PastAdvice,
    wanted: str | None = None,
) -> Diary | None:
    """Tell of the newest walk, or of the one that began at ``wanted``; None where there is no session.

    Raises SettingError if no walk began then.
    """
    walks = count_walks(counted, judged, sessions, settings.unmarked)
    if not len(walks):
        return None
    table, row = counted.table, _row_of(walks, wanted)
    session, starts_at = walks["session"].iloc[row], walks["starts_at"].iloc[row]
    own = table[table["session"].eq(session).fillna(False).to_numpy(bool)].reset_index(drop=True)
    before = table[table["session"].isin(walks["session"].iloc[:row])]
    used = own[in_preset(own)]
    press = used.iloc[np.unique(burst_codes(used, "preset"), return_index=True)[1]]
    grouped = press.groupby("preset", sort=False)
    presets = grouped[["f_number", "focus_distance_m"]].median().assign(presses=grouped.size())
    return Diary(
        walks=walks,
        drifts=find_drifts(walks),
        row=row,
        presets=presets.sort_values("presses", ascending=False, kind="stable").reset_index(),
        new=tuple(_new(press, before)) if len(before) else (),
        telling=_telling(own, tolerance, causes),
        again=tuple(second_look(counted, session, tolerance.eye.blur_mm if tolerance.carries else np.nan)),
        followed=() if pd.isna(starts_at) else what_became(past, table, judged, starts_at),
    )


def _row_of(walks: pd.DataFrame, wanted: str | None) -> int:
    if wanted is None:
        return len(walks) - 1
    begins = walks["starts_at"].dt.strftime("%Y-%m-%dT%H:%M").fillna("")
    found = np.flatnonzero(begins.str.startswith(wanted.strip().replace(" ", "T")))
    if wanted.strip() and found.size:
        return int(found[-1])
    last = [begin.replace("T", " ") for begin in begins[begins != ""].iloc[-5:]]
    raise SettingError(
        f"No walk began at {wanted!r}.",
        f"Name a day as 2031-04-05, or a day and time. The last walks: {', '.join(last) or 'none dated'}.",
    )


def _new(press: pd.DataFrame, before: pd.DataFrame) -> Iterator[tuple[str, str]]:
    for name in ("camera", "lens", "preset"):
        for value in press[name].dropna().unique():
            if not before[name].eq(value).any():
                yield name, str(value)
    light, met = (
        kind_index(exposure_value(part["f_number"], part["exposure_time_s"], part["iso"]))
        for part in (press, before)
    )
    for place, kind in enumerate(KINDS):
        if (light == place).sum() >= FEWEST_NEW and (met >= 0).any() and not (met == place).any():
            yield "light", kind.name


def _telling(own: pd.DataFrame, tolerance: Tolerance, causes: Causes) -> pd.DataFrame:
    """One frame of each kind: by what the fitted curve says, else by where it stood and its mark."""
    if tolerance.carries:
        return telling_frames(count_frames(own), tolerance, causes)
    known = own[own["side"].notna() & own["counted_as"].notna()]
    counted = known["counted_as"].where(known["counted_as"] != LEFT_OUT, "unmarked")
    found = known.assign(why=counted + ", " + known["side"]).drop_duplicates("why")
    return found[["file", "why", "subject_distance_m"]].reset_index(drop=True)
