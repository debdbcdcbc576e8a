"""The ten frames that say most on the fitted curve: those it explains best, and those that go against it."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from auditor.evidence.bursts import CountedFrames
from auditor.evidence.causes import CAUSES, UNEXPLAINED, Causes
from auditor.evidence.tolerance import Tolerance

KEPT_THOUGH_BLURRED: Final = "kept_though_blurred"
NOT_KEPT_THOUGH_SHARP: Final = "not_kept_though_sharp"
LOST, KEPT, SHARP = 4, 3, 3  # frames lost to blur, kept against it, dropped for something else


def telling_frames(counted: CountedFrames, tolerance: Tolerance, causes: Causes) -> pd.DataFrame:
    """Name up to ten frames, one of each burst at most; none without a fitted tolerance.

    Columns ``file, why, preset, subject_distance_m, blur_mm, chance`` (of being kept, at the blur of the
    table). ``why`` is a cause (the frame most surely lost to it), ``kept_though_blurred`` or
    ``not_kept_though_sharp``. Reads these columns and ``sharp``.
    """
    columns = ["file", "why", "preset", "subject_distance_m", "blur_mm", "chance"]
    if not len(causes.frames):
        return pd.DataFrame({name: pd.Series(dtype=object) for name in columns})
    frames = counted.blurred
    # A verdict on the very frame is stronger than the curve: none is shown against it.
    blurred = frames["blur_mm"].gt(tolerance.eye.blur_mm) & ~frames["sharp"].eq("yes").fillna(False)
    # The more blur, the smaller the chance.
    kept = frames[frames["kept"] & blurred].sort_values("blur_mm", ascending=False, kind="stable")
    dropped = frames[~frames["kept"]].drop_duplicates("file").set_index("file", drop=False)
    dropped = dropped.loc[causes.frames["file"]].reset_index(drop=True)
    blamed = [name for name in CAUSES if name != UNEXPLAINED]
    shares = causes.frames[blamed].to_numpy(float)
    main = np.array(blamed, dtype=object)[shares.argmax(axis=1)] if len(dropped) else []
    lost = dropped.assign(why=main, share=shares.sum(axis=1))
    lost = lost[(lost["share"] > 0) & ~lost["sharp"].eq("yes").fillna(False)]
    lost = lost.sort_values("share", ascending=False, kind="stable")
    # One for each cause first, then the second of each: so every cause that is named can be seen.
    lost = lost.assign(turn=lost.groupby("why").cumcount()).sort_values("turn", kind="stable")
    within = dropped["blur_mm"].le(tolerance.eye.blur_mm) & ~dropped["sharp"].eq("no").fillna(False)
    sharp = dropped[~dropped["burst_hit"] & within].sort_values("blur_mm", kind="stable")
    kept, sharp = kept.assign(why=KEPT_THOUGH_BLURRED), sharp.assign(why=NOT_KEPT_THOUGH_SHARP)
    chosen = [
        part.drop_duplicates("press").head(number)
        for part, number in ((lost, LOST), (kept, KEPT), (sharp, SHARP))
    ]
    found = pd.concat([part.astype({"why": object}) for part in chosen]).drop_duplicates("press")
    chance = tolerance.keep_chance(found["blur_mm"].to_numpy(float)).mean(axis=0)
    return found.assign(chance=chance)[columns].reset_index(drop=True)
