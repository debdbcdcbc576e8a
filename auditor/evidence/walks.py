"""Walk by walk, in order of time: presses, in the zone, sharp, kept, each against what was usual before it.

Where nobody chose yet, nothing is said of what was kept: unknown is not none. Distances and verdicts are of
drawn frames, so shares are put back to all frames (:mod:`auditor.evidence.weights`) and count as so many
independent ones as they are worth (Kish 1965, Survey Sampling, section 11.7).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import burst_codes, is_keeper, zone_focused
from auditor.evidence.proportions import Floats
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.usual import usual_counts, usual_shares
from auditor.evidence.weights import has_distance, weights_of
from auditor.frames import LEFT_OUT, NOT_KEPT
from auditor.settings import UnmarkedRule

SHARES = ("zone", "sharp", "kept")


def count_walks(table: pd.DataFrame, unmarked: UnmarkedRule = "auto") -> pd.DataFrame:
    """Count each session's zone-focused presses, and hold them against the sessions before.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    unmarked : str
        Rule for unmarked frames. Under one that marks them all, a session without any stated mark was not
        looked through yet.

    Returns
    -------
    pandas.DataFrame
        By time (sessions without one first): ``session, starts_at, ends_at, presses``; for each of ``zone``,
        ``sharp`` and ``kept`` its count, ``_of``, ``_seen`` (frames or presses that it comes from) and
        ``_share``; of these and of ``presses`` the interval ``_low`` to ``_high`` for a further walk, and
        ``_place`` in it (see :class:`auditor.evidence.usual.Usual`); ``log_distance``, ``log_f_number`` and
        ``vergence`` [1/m], means of the walk, NaN where unknown.
    """
    table = table[table["session"].notna()]
    taken = table[table["in_preset"].fillna(False).astype(bool)].reset_index(drop=True)
    spans = table.groupby("session")["captured_at"].agg(starts_at="min", ends_at="max")
    walks = spans.reset_index().sort_values(
        ["starts_at", "session"], kind="stable", na_position="first", ignore_index=True
    )
    press = taken.iloc[np.unique(burst_codes(taken, "preset"), return_index=True)[1]]
    of_press = _codes(press, walks)
    walks = walks.assign(
        presses=np.bincount(of_press, minlength=len(walks)),
        log_f_number=_means(of_press, np.log(press["f_number"].to_numpy(float)), len(walks)),
        vergence=_means(of_press, 1 / press["focus_distance_m"].to_numpy(float), len(walks)),
    )
    walks = walks.assign(**_kept(table, walks, unmarked))
    frames, weight = _with_distance(taken)
    distance = np.log(frames["subject_distance_m"].to_numpy(float))
    walks["log_distance"] = _means(_codes(frames, walks), distance, len(walks), weight)
    zoned = frames["in_zone"].notna().to_numpy(bool)
    inside = frames["in_zone"].fillna(False).to_numpy(bool)[zoned]
    judged, sampled = judged_frames(table)
    for name, own, hit, stands in (
        ("zone", frames[zoned], inside, weight[zoned]),
        ("sharp", judged, judged["sharp"].eq("yes").to_numpy(bool), sampled.weight),
    ):
        walks = walks.assign(**_drawn(name, _codes(own, walks), hit, stands, len(walks)))
    usual = {name: usual_shares(walks[name], walks[f"{name}_of"]) for name in SHARES}
    for name, one in (usual | {"presses": usual_counts(walks["presses"])}).items():
        walks = walks.assign(**{f"{name}_low": one.low, f"{name}_high": one.high, f"{name}_place": one.place})
    return walks


def _codes(frames: pd.DataFrame, walks: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Row of each frame's walk."""
    place = pd.Series(np.arange(len(walks)), index=walks["session"].to_numpy(float))
    return np.asarray(place.reindex(frames["session"].to_numpy(float)), dtype=np.intp)


def _means(code: npt.NDArray[np.intp], value: Floats, walks: int, weight: Floats | None = None) -> Floats:
    stands = np.ones(value.size) if weight is None else weight
    with np.errstate(invalid="ignore"):
        return np.asarray(
            np.bincount(code, stands * value, minlength=walks) / np.bincount(code, stands, minlength=walks)
        )


def _kept(table: pd.DataFrame, walks: pd.DataFrame, unmarked: UnmarkedRule) -> dict[str, Floats]:
    counted = zone_focused(table)
    stated = np.bincount(_codes(counted, walks), counted["keeper"].notna(), minlength=len(walks))
    press = burst_codes(counted, "preset")
    _, first = np.unique(press, return_index=True)
    hit = np.bincount(press, is_keeper(counted), minlength=first.size) > 0
    code = _codes(counted.iloc[first], walks)
    chosen = (stated > 0) | (unmarked in ("auto", "leave-out"))
    kept = np.bincount(code, hit, minlength=len(walks)).astype(int) * chosen
    of = np.bincount(code, minlength=len(walks)) * chosen
    return {"kept": kept, "kept_of": of, "kept_seen": of, "kept_share": kept / np.where(of > 0, of, np.nan)}


def _with_distance(taken: pd.DataFrame) -> tuple[pd.DataFrame, Floats]:
    """Frames with a distance and for how many each stands; of a walk that nobody marked, for itself."""
    counts = (taken["counted_as"].notna() & (taken["counted_as"] != LEFT_OUT)).to_numpy(bool)
    session = pd.factorize(taken["session"])[0]
    unseen = (np.bincount(session, counts, minlength=1) == 0)[session] if len(taken) else counts
    weight = np.where(unseen, has_distance(taken), weights_of(taken) * counts)
    return taken[weight > 0].reset_index(drop=True), np.asarray(weight[weight > 0], dtype=float)


def _drawn(
    name: str, code: npt.NDArray[np.intp], hit: npt.NDArray[np.bool_], weight: Floats, walks: int
) -> dict[str, Floats]:
    total = np.bincount(code, weight, minlength=walks)
    with np.errstate(invalid="ignore"):
        share = np.bincount(code, weight * hit, minlength=walks) / total
        worth = total**2 / np.bincount(code, weight**2, minlength=walks)
    of = np.nan_to_num(np.floor(worth + 1e-9)).astype(int)
    count = np.nan_to_num(np.round(share * of)).astype(int)
    seen = np.bincount(code, minlength=walks)
    return {name: count, f"{name}_of": of, f"{name}_seen": seen, f"{name}_share": share}


def second_look(table: pd.DataFrame, session: float, tolerance_mm: float) -> pd.DataFrame:
    """Frames of a walk that were passed over though sharp in the zone, one of each press, the sharpest first.

    Sharp is what was judged so; where nobody judged, no more blur than is borne.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table.
    session : float
        Of the walk.
    tolerance_mm : float
        Blur that is borne [mm]; NaN where that is not known: then verdicts alone speak.
    """
    own = zone_focused(table[table["session"].eq(session).fillna(False)])
    press = burst_codes(own, "preset")
    hit = np.bincount(press, is_keeper(own), minlength=1)[press] > 0 if len(own) else is_keeper(own)
    yes = own["sharp"].eq("yes").fillna(False).to_numpy(bool)
    with np.errstate(invalid="ignore"):
        borne = own["sharp"].isna().to_numpy(bool) & (own["blur_mm"].to_numpy(float) <= tolerance_mm)
    inside = own["in_zone"].fillna(False).to_numpy(bool)
    chosen = ~hit & own["counted_as"].eq(NOT_KEPT).to_numpy(bool) & inside & (yes | borne)
    own = own.assign(press=press, yes=yes)[chosen]
    return own.sort_values(["yes", "blur_mm"], ascending=[False, True]).drop_duplicates("press")
