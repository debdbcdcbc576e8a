"""What is said of single frames that are worth a look."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from auditor.show.words.figures import zone
from auditor.units import format_distance, format_exposure_time

SHORT = {
    "in_front_of_zone": "stood too near",
    "beyond_zone": "stood too far",
    "subject_motion": "moved",
    "diffraction": "softened by diffraction",
    "kept_though_blurred": "you kept it blurred",
    "not_kept_though_sharp": "sharp, yet left",
}
WHY = {
    "in_front_of_zone": "Lost to a subject nearer than the ring was set",
    "beyond_zone": "Lost to a subject farther than the ring was set",
    "subject_motion": "Lost to subject motion",
    "diffraction": "Lost to diffraction",
    "kept_though_blurred": "Kept, though blurred",
    "not_kept_though_sharp": "Not kept, though sharp",
}


def about(frame: Mapping[str, Any], units: str) -> str:
    """Say what is known of a telling frame: why it was chosen, the distances, and the photographer's word."""
    said = [
        f"{WHY[frame['why']]}: at {format_distance(frame['subject_distance_m'], units)}, "
        f"zone {zone(frame['near_limit_m'], frame['far_limit_m'], frame['focus_distance_m'], units)}, "
        f"{format_exposure_time(frame['exposure_time_s'])}."
    ]
    if isinstance(frame["reason"], str) and not pd.isna(frame["reason"]):
        said.append(f"Noted: {frame['reason']}")
    return " ".join(said)
