"""The walk described, the newest or the one asked for: what was set, what was new, what to look at."""

from collections.abc import Iterator
from dataclasses import dataclass
from posixpath import basename, dirname
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.advice.light_kinds import KINDS, kind_index
from auditor.advice.past import Followed, PastAdvice, what_became
from auditor.errors import SettingError
from auditor.evidence.bursts import CountedFrames, burst_codes, in_preset
from auditor.evidence.causes import CAUSES, UNEXPLAINED, Causes
from auditor.evidence.comparisons import scene_ev
from auditor.evidence.drift import Drift, find_drifts
from auditor.evidence.sharpness import JudgedFrames
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.walks import count_walks, second_look
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT
from auditor.intake.frame_index import before_number
from auditor.intake.library.folders import stem_of
from auditor.settings import Settings

KEPT_THOUGH_BLURRED: Final = "kept_though_blurred"
NOT_KEPT_THOUGH_SHARP: Final = "not_kept_though_sharp"
FEWEST_NEW = 3  # presses in a light that was never met before
_TELLING = ["file", "press", "sharp", "kept", "burst_hit", "blur_mm", "subject_distance_m"]
_NEW = ["camera", "lens", "preset", "f_number", "exposure_time_s", "iso", "flash"]  # what may be new


@dataclass(frozen=True, slots=True)
class Diary:
    """Walks over time, and one of them closely."""

    walks: pd.DataFrame  # see :func:`auditor.evidence.walks.count_walks`
    drifts: tuple[Drift, ...]
    row: int  # of `walks`: the walk described
    presets: pd.DataFrame  # preset, f_number, focus_distance_m, presses of that walk, the most used first
    new: tuple[tuple[str, str], ...]  # camera, lens, preset or light that no earlier walk had, and its name
    telling: pd.DataFrame  # file, why, subject_distance_m, elsewhere: one frame of each kind that there is
    again: tuple[str, ...]  # passed over though sharp in the zone
    followed: tuple[Followed, ...]  # what became of what was advised before
    named: int = 1  # walks that were asked for, the newest of which is described

    @property
    def walk(self) -> Any:
        """The row of the walk described."""
        return self.walks.iloc[self.row]

    @property
    def earlier(self) -> int:
        """How many walks came before it, as far as times tell; rolls without times among themselves."""
        return int(_alike(self.walks, self.row)[: self.row].sum())


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
    """Tell of the newest walk, or of the newest that ``wanted`` names; None where there is no session.

    Raises SettingError if it names none.
    """
    walks = count_walks(counted, sessions, settings.unmarked, settings.confidence)
    if not len(walks):
        return None
    rows = find_walks(walks, wanted) if wanted is not None else [len(walks) - 1]
    table, row = counted.table, rows[-1]
    session, starts_at = walks["session"].iloc[row], walks["starts_at"].iloc[row]
    own = table[table["session"].eq(session).fillna(False).to_numpy(bool)].reset_index(drop=True)
    earlier = table["session"].isin(walks["session"].iloc[:row])
    used = own[in_preset(own)]
    press = used.iloc[np.unique(burst_codes(used, "preset"), return_index=True)[1]]
    grouped = press.groupby("preset", sort=False)
    presets = grouped[["f_number", "focus_distance_m"]].median().assign(presses=grouped.size())
    return Diary(
        walks=walks,
        drifts=find_drifts(walks[_alike(walks, row)]),
        row=row,
        presets=presets.sort_values("presses", ascending=False, kind="stable").reset_index(),
        new=tuple(_new(press, table.loc[earlier, _NEW])) if earlier.any() else (),
        telling=_telling(own, counted.blurred, tolerance, causes),
        again=tuple(second_look(counted, session, tolerance.eye.blur_mm if tolerance.carries else np.nan)),
        followed=() if pd.isna(starts_at) else what_became(past, table, judged, starts_at),
        named=len(rows),
    )


def _alike(walks: pd.DataFrame, row: int) -> npt.NDArray[np.bool_]:
    """Walks with a time, or rolls without, whichever it is: no order holds between the two."""
    dated = walks["starts_at"].notna().to_numpy(bool)
    return np.asarray(dated == dated[row])


def find_walks(walks: pd.DataFrame, wanted: str) -> list[int]:
    """Rows named by folder, stem or first frame, else by the day or time at which they began.

    Raises SettingError if there is none.
    """
    asked, files = wanted.strip().casefold(), walks["first_file"]
    begins = [at.isoformat() if at == at else "" for at in walks["starts_at"]]
    found = [row for row, file in enumerate(files) if asked and asked in _names(file.casefold())]
    asked = asked.upper().replace(" ", "T")
    found = found or [row for row, begin in enumerate(begins) if asked and begin.startswith(asked)]
    if found:
        return found
    last = [begin[:16].replace("T", " ") or file for begin, file in zip(begins, files, strict=True)][-5:]
    raise SettingError(
        f"No walk began at {wanted!r}.",
        "Name a day as 2031-04-05, a day and time, or the folder or first frame of a roll. "
        f"The last walks: {', '.join(last)}.",
    )


def _names(file: str) -> tuple[str, ...]:
    folder, stem = dirname(file), stem_of(file)
    return file, basename(file), stem, before_number(file).rstrip("-_ "), folder, basename(folder)


def _new(press: pd.DataFrame, before: pd.DataFrame) -> Iterator[tuple[str, str]]:
    for name in ("camera", "lens", "preset"):
        for value in press[name].dropna().unique():
            if not before[name].eq(value).any():
                yield name, str(value)
    light, met = (kind_index(scene_ev(part)) for part in (press, before))
    for place, kind in enumerate(KINDS):
        if (light == place).sum() >= FEWEST_NEW and (met >= 0).any() and not (met == place).any():
            yield "light", kind.name


def _telling(own: pd.DataFrame, blurred: pd.DataFrame, tolerance: Tolerance, causes: Causes) -> pd.DataFrame:
    """One frame of each kind, if need be another walk's: by the fitted curve, else by side and mark."""
    if tolerance.carries:
        here = blurred["session"].isin(own["session"])
        parts = (blurred.loc[rows, _TELLING] for rows in (here, ~here))
        found, others = (telling_frames(part, tolerance, causes) for part in parts)
        others = others[others["why"].isin(CAUSES) & ~others["why"].isin(found["why"])]
        return pd.concat([found.assign(elsewhere=False), others.assign(elsewhere=True)], ignore_index=True)
    known = own[own["side"].notna() & own["counted_as"].notna()]
    own_mark = known["keeper"].map({"yes": KEEPER, "no": NOT_KEPT}).fillna("unmarked")
    counted = known["counted_as"].where(known["counted_as"] != LEFT_OUT, own_mark)
    found = known.assign(why=counted + ", " + known["side"]).drop_duplicates("why")
    return found[["file", "why", "subject_distance_m"]].assign(elsewhere=False).reset_index(drop=True)


def telling_frames(blurred: pd.DataFrame, tolerance: Tolerance, causes: Causes) -> pd.DataFrame:
    """Name at most one of counted frames with a blur (``CountedFrames.blurred``) of each kind and burst.

    Columns ``file, why, subject_distance_m, blur_mm``. ``why`` is a cause (the frame most surely lost to it),
    ``kept_though_blurred`` (the most) or ``not_kept_though_sharp`` (the least blurred). Reads these columns
    and ``sharp``; a verdict on the very frame is stronger than the curve: none is shown against it.
    """
    borne = tolerance.eye.blur_mm
    frames = blurred.assign(yes=blurred["sharp"].eq("yes").fillna(False).to_numpy(bool))
    kept = frames[frames["kept"] & frames["blur_mm"].gt(borne) & ~frames["yes"]]
    kept = kept.sort_values("blur_mm", ascending=False, kind="stable").assign(why=KEPT_THOUGH_BLURRED)
    dropped = frames[~frames["kept"]].drop_duplicates("file").merge(causes.frames.astype({"file": "str"}))
    blamed = [name for name in CAUSES if name != UNEXPLAINED]
    shares = dropped[blamed].to_numpy(float)
    lost = dropped.assign(why=np.array(blamed, dtype=object)[shares.argmax(axis=1)], share=shares.sum(axis=1))
    soft = dropped["sharp"].eq("no").fillna(False).to_numpy(bool)
    lost = lost[(lost["share"] > 0) & (soft | lost["blur_mm"].gt(borne) & ~lost["yes"])]
    lost = lost.sort_values("share", ascending=False, kind="stable")
    sharp = dropped[~dropped["burst_hit"] & dropped["blur_mm"].le(borne) & ~soft]
    sharp = sharp.sort_values("blur_mm", kind="stable").assign(why=NOT_KEPT_THOUGH_SHARP)
    found = pd.concat([part.astype({"why": object}).drop_duplicates("why") for part in (lost, kept, sharp)])
    found = found.drop_duplicates("press")[["file", "why", "subject_distance_m", "blur_mm"]]
    return found.reset_index(drop=True)
