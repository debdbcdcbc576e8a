"""Which frames count, and which of them belong to one burst."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.frames import KEEPER, LEFT_OUT, captured_s


def counted_frames(table: pd.DataFrame) -> pd.DataFrame:
    """Return the frames that count: everything but those left out, with a fresh index."""
    counts = table["counted_as"].notna() & (table["counted_as"] != LEFT_OUT)
    return table[counts].reset_index(drop=True)


def zone_focused(table: pd.DataFrame) -> pd.DataFrame:
    """Return the counted frames that were zone-focused, with a fresh index."""
    counted = counted_frames(table)
    return counted[counted["in_preset"].fillna(False).astype(bool)].reset_index(drop=True)


def is_keeper(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell for each frame whether it counts as a keeper, shape (n,)."""
    return np.asarray((table["counted_as"] == KEEPER).fillna(False), dtype=bool)


def frames_with_blur(table: pd.DataFrame) -> pd.DataFrame:
    """Return the counted, zone-focused frames with a finite blur, their burst's number under ``code``.

    Further columns: ``kept``, and whether the burst holds a keeper, ``burst_hit``.
    """
    frames = zone_focused(table)
    code, kept = burst_codes(frames), is_keeper(frames)
    keepers = np.bincount(code, kept, minlength=1)
    frames = frames.assign(code=code, kept=kept, burst_hit=keepers[code] > 0)
    blur = frames["blur_mm"].to_numpy(float)
    known = np.isfinite(blur) & (blur > 0) & (frames["subject_distance_m"].to_numpy(float) > 0)
    if "sharp" not in frames:
        frames = frames.assign(sharp=pd.Series(pd.NA, index=frames.index, dtype="str"))
    return frames[known].reset_index(drop=True)


def burst_codes(table: pd.DataFrame, *further: str) -> npt.NDArray[np.intp]:
    """Return the number of each frame's burst, 0, 1, ... in order of appearance, shape (n,).

    A frame whose burst is unknown is a burst of its own.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``session`` and ``burst``.
    *further : str
        Columns whose change splits a burst as well.
    """
    burst = table["burst"].to_numpy(dtype=float, na_value=np.nan)
    session = table["session"].to_numpy(dtype=float, na_value=np.nan)
    alone = np.isnan(burst)
    keys = pd.DataFrame(
        {
            "session": np.where(alone | np.isnan(session), -1.0, session),
            "burst": np.where(alone, np.arange(len(table)), burst),
            "alone": alone,
        }
    )
    for name in further:
        keys[name] = table[name].reset_index(drop=True)
    number = keys.groupby(list(keys.columns), sort=False, dropna=False).ngroup()
    return np.asarray(number, dtype=np.intp)


def number_runs(table: pd.DataFrame, group: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Number the runs, 0 and up, shape (n,): frames of one camera and session in one group, in a row.

    Another group's frame between them ends a run. Frames without a capture time come last.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``camera``, ``session`` and ``captured_at``.
    group : numpy.ndarray of int, shape (n,)
        Group of each frame.
    """
    camera = pd.factorize(table["camera"])[0]
    session = table["session"].to_numpy(dtype=float, na_value=-1.0)
    order = np.lexsort((captured_s(table), camera))
    key = np.stack([camera, session, group])[:, order]
    new = (np.diff(key, axis=1) != 0).any(axis=0)
    run = np.zeros(len(table), dtype=np.intp)
    run[order[1:]] = np.cumsum(new)
    return run
