"""Lays out what was measured as rows for people and other tools."""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.intake.people.filling import PictureFacts

# Boxes stay in the cache: where somebody's face was is nobody else's business.
_WRITTEN = (
    "is_subject", "score", "distance_m", "distance_rel_sd", "refused", "blur_mm", "blur_low_mm",
    "blur_high_mm",
)  # fmt: skip


def faces_to_write(facts: PictureFacts, table: pd.DataFrame) -> pd.DataFrame:
    """Lay out one row for each face, and one for each frame without, for people and other tools."""
    faces = facts.faces
    listed = faces[list(_WRITTEN)].assign(
        file=table["file"].to_numpy(object)[faces["frame"]],
        choice=table["face_choice"].to_numpy(object)[faces["frame"]],
    )
    listed.loc[~listed["is_subject"], "choice"] = None
    without = table["faces_found"].fillna(0).eq(0).to_numpy(bool)
    empty = pd.DataFrame({"file": table["file"][without], "refused": table["not_measured"][without]})
    order = np.concatenate([faces["frame"].to_numpy(), np.flatnonzero(without)])
    together = pd.concat([listed, empty], ignore_index=True).iloc[np.argsort(order, kind="stable")]
    together["is_subject"] = together["is_subject"].astype("boolean")
    return together[
        ["file", "is_subject", "choice", *(n for n in _WRITTEN if n != "is_subject")]
    ].reset_index(drop=True)
