"""Walk by walk, in order of time: presses, in the zone, sharp, kept, each against what was usual before it.

Where nobody chose yet, nothing is said of what was kept: unknown is not none. Distances and verdicts are of
drawn frames, so shares are put back to all frames (:mod:`auditor.evidence.weights`) and count as so many
independent ones as they are worth (Kish 1965, Survey Sampling, section 11.7).
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import Codes, CountedFrames, burst_codes, combined_codes, in_preset
from auditor.evidence.proportions import Floats
from auditor.evidence.usual import usual_counts, usual_shares
from auditor.evidence.weighted_shares import Sampled, weighted_shares
from auditor.evidence.weights import SAMPLED_BY, has_distance, stands_for
from auditor.settings import UnmarkedRule

SHARES = ("zone", "sharp", "kept")


def count_walks(
    counted: CountedFrames, sessions: pd.DataFrame, unmarked: UnmarkedRule = "auto", confidence: float = 0.95
) -> pd.DataFrame:
    """Count each session's zone-focused presses, and hold them against the sessions before.

    By time (rolls without one first): ``session, starts_at, ends_at, first_file, last_file, frames_taken,
    unset`` (frames without a zone setting), ``presses``; for each of ``zone``, ``sharp`` and ``kept`` its
    count, ``_of``, ``_seen`` (frames or presses that it comes from) and ``_share``; of zone and sharp their
    ``_hits`` as seen and the interval ``_share_low`` to ``_share_high`` (Wilson's, see
    :mod:`auditor.evidence.weighted_shares`); of these and of ``presses`` the interval ``_low`` to ``_high``
    for a further walk, and ``_place`` in it (see :mod:`auditor.evidence.usual`), rolls without times among
    themselves; zone and sharpness need no mark, so frames after the last one speak for them too;
    ``log_distance``, ``log_f_number`` and ``vergence`` [1/m], means of the walk, NaN where unknown. Under a
    rule ``unmarked`` that marks all frames a session without any stated mark was not looked through yet.
    """
    columns = ["session", "starts_at", "ends_at", "first_file", "last_file", "frames_taken"]
    walks = sessions[columns].sort_values(
        ["starts_at", "session"], kind="stable", na_position="first", ignore_index=True
    )
    in_walk = in_preset(counted.table) & counted.table["session"].notna().to_numpy()
    read = [*SAMPLED_BY, "f_number", "focus_distance_m", "in_zone", "sharp"]
    taken = counted.table.loc[in_walk, read].reset_index(drop=True)
    press = taken.iloc[np.unique(burst_codes(taken, "preset"), return_index=True)[1]]
    of_press = _codes(press, walks)
    walks = walks.assign(
        unset=walks["frames_taken"] - np.bincount(_codes(taken, walks), minlength=len(walks)),
        presses=np.bincount(of_press, minlength=len(walks)),
        log_f_number=_means(of_press, np.log(press["f_number"].to_numpy(float)), len(walks)),
        vergence=_means(of_press, 1 / press["focus_distance_m"].to_numpy(float), len(walks)),
        **_kept(counted, walks, unmarked),
    )
    frames, sampled = _drawn_from_walk(taken, has_distance(taken))
    distance = np.log(frames["subject_distance_m"].to_numpy(float))
    walks["log_distance"] = _means(_codes(frames, walks), distance, len(walks), sampled.weight)
    verdict, inside = taken["sharp"], taken["in_zone"]
    for name, known, hit in (
        ("zone", inside.notna(), inside.fillna(False)),
        ("sharp", verdict.isin(["yes", "no"]), verdict.eq("yes").fillna(False)),
    ):
        frames, sampled = _drawn_from_walk(taken, known.to_numpy(bool))
        own = hit[known].to_numpy(bool)
        walks = walks.assign(**_shares(name, _codes(frames, walks), own, sampled, len(walks), confidence))
    dated = walks["starts_at"].notna()
    for name in (*SHARES, "presses"):
        usual = [_usual(name, part) for part in (walks[~dated], walks[dated])]
        walks = walks.join(pd.concat(usual, ignore_index=True).add_prefix(f"{name}_"))
    return walks


def _usual(name: str, walks: pd.DataFrame) -> pd.DataFrame:
    if name == "presses":
        return usual_counts(walks[name])
    drawn = None if name == "kept" else walks[f"{name}_share"]
    return usual_shares(walks[name], walks[f"{name}_of"], share=drawn)


def _codes(frames: pd.DataFrame, walks: pd.DataFrame) -> Codes:
    """Row of each frame's walk."""
    place = pd.Series(np.arange(len(walks)), index=walks["session"].to_numpy(float))
    return np.asarray(place.reindex(frames["session"].to_numpy(float)), dtype=np.intp)


def _means(code: Codes, value: Floats, walks: int, weight: Floats | None = None) -> Floats:
    stands = np.ones(value.size) if weight is None else weight
    with np.errstate(invalid="ignore"):
        return np.asarray(
            np.bincount(code, stands * value, minlength=walks) / np.bincount(code, stands, minlength=walks)
        )


def _kept(counted: CountedFrames, walks: pd.DataFrame, unmarked: UnmarkedRule) -> dict[str, Any]:
    known = counted.frames["session"].notna().to_numpy()
    frames = counted.frames.loc[known, ["session", "keeper"]]
    kept_frame, press = counted.kept[known], counted.press[known]
    stated = np.bincount(_codes(frames, walks), frames["keeper"].notna(), minlength=len(walks))
    _, first, press = np.unique(press, return_index=True, return_inverse=True)
    hit = np.bincount(press, kept_frame, minlength=first.size) > 0
    code = _codes(frames.iloc[first], walks)
    chosen = (stated > 0) | (unmarked in ("auto", "leave-out"))
    kept = np.bincount(code, hit, minlength=len(walks)).astype(int) * chosen
    of = np.bincount(code, minlength=len(walks)) * chosen
    return {"kept": kept, "kept_of": of, "kept_seen": of, "kept_share": kept / np.where(of > 0, of, np.nan)}


def _drawn_from_walk(taken: pd.DataFrame, known: npt.NDArray[np.bool_]) -> tuple[pd.DataFrame, Sampled]:
    """Frames of which something is known, and how they were drawn from those of their walk, preset and mark.

    Walks may be sampled at rates of their own, so that nothing of another walk enters.
    """
    cells = combined_codes(taken["session"], taken["preset"], taken["counted_as"].fillna(""))
    chosen = taken[known].reset_index(drop=True)
    return chosen, Sampled(stands_for(cells, known)[known], cells[known], burst_codes(chosen))


def _shares(
    name: str, code: Codes, hit: npt.NDArray[np.bool_], drawn: Sampled, walks: int, confidence: float
) -> dict[str, Any]:
    found = weighted_shares(hit, code, walks, drawn, confidence)
    with np.errstate(invalid="ignore"):
        worth = found.stands_for**2 / np.bincount(code, drawn.weight**2, minlength=walks)
    of = np.nan_to_num(np.floor(worth + 1e-9)).astype(int)
    values = {
        "": np.nan_to_num(np.round(found.rate * of)).astype(int), "_of": of,
        "_seen": np.bincount(code, minlength=walks), "_hits": np.bincount(code[hit], minlength=walks),
        "_share": found.rate, "_share_low": found.low, "_share_high": found.high,
    }  # fmt: skip
    return {f"{name}{end}": value for end, value in values.items()}


def second_look(counted: CountedFrames, session: float, tolerance_mm: float) -> list[str]:
    """Files of a walk that were passed over though sharp in the zone, one of each press, the sharpest first.

    Sharp is what was judged so; where nobody judged, no more blur than ``tolerance_mm``, NaN for not known.
    """
    frames = counted.frames
    hit = (np.bincount(counted.press, counted.kept, minlength=1) > 0)[counted.press]
    yes = frames["sharp"].eq("yes").fillna(False).to_numpy(bool)
    with np.errstate(invalid="ignore"):
        borne = frames["sharp"].isna().to_numpy(bool) & (frames["blur_mm"].to_numpy(float) <= tolerance_mm)
    here = frames["session"].eq(session).fillna(False).to_numpy(bool)
    inside = frames["in_zone"].fillna(False).to_numpy(bool)
    found = frames.assign(press=counted.press, yes=yes)[here & ~hit & inside & (yes | borne)]
    found = found.sort_values(["yes", "blur_mm"], ascending=[False, True], kind="stable")
    return list(found.drop_duplicates("press")["file"])
