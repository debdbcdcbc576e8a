"""Frames that say most on the fitted curve, one of each kind: best explained by it, or against it."""

from typing import Final

import numpy as np
import pandas as pd

from auditor.evidence.bursts import CountedFrames
from auditor.evidence.causes import CAUSES, UNEXPLAINED, Causes
from auditor.evidence.tolerance import Tolerance

KEPT_THOUGH_BLURRED: Final = "kept_though_blurred"
NOT_KEPT_THOUGH_SHARP: Final = "not_kept_though_sharp"


def telling_frames(counted: CountedFrames, tolerance: Tolerance, causes: Causes) -> pd.DataFrame:
    """Name at most one frame of each kind and of each burst.

    Columns ``file, why, subject_distance_m, blur_mm``. ``why`` is a cause (the frame most surely lost to it),
    ``kept_though_blurred`` (the most) or ``not_kept_though_sharp`` (the least blurred). Reads these columns
    and ``sharp``; a verdict on the very frame is stronger than the curve: none is shown against it.
    """
    frames, borne = counted.blurred, tolerance.eye.blur_mm
    frames = frames.assign(yes=frames["sharp"].eq("yes").fillna(False).to_numpy(bool))
    kept = frames[frames["kept"] & frames["blur_mm"].gt(borne) & ~frames["yes"]]
    kept = kept.sort_values("blur_mm", ascending=False, kind="stable").assign(why=KEPT_THOUGH_BLURRED)
    dropped = frames[~frames["kept"]].drop_duplicates("file").merge(causes.frames.astype({"file": "str"}))
    blamed = [name for name in CAUSES if name != UNEXPLAINED]
    shares = dropped[blamed].to_numpy(float)
    lost = dropped.assign(why=np.array(blamed, dtype=object)[shares.argmax(axis=1)], share=shares.sum(axis=1))
    lost = lost[(lost["share"] > 0) & ~lost["yes"]].sort_values("share", ascending=False, kind="stable")
    soft = dropped["sharp"].eq("no").fillna(False).to_numpy(bool)
    sharp = dropped[~dropped["burst_hit"] & dropped["blur_mm"].le(borne) & ~soft]
    sharp = sharp.sort_values("blur_mm", kind="stable").assign(why=NOT_KEPT_THOUGH_SHARP)
    found = pd.concat([part.astype({"why": object}).drop_duplicates("why") for part in (lost, kept, sharp)])
    columns = ["file", "why", "subject_distance_m", "blur_mm"]
    return found.drop_duplicates("press")[columns].reset_index(drop=True)
