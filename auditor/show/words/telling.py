"""What is said of single frames that are worth a look."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from auditor.show.words.figures import zone
from auditor.units import format_distance, format_exposure_time

KINDS = {
    "kept outside": "Kept, though the subject stood outside the sharp zone",
    "not kept inside": "Not kept, though the subject stood inside the sharp zone",
    "kept in motion": "Kept, though a walking subject would have moved more than the circle of confusion",
}


def about(frame: Mapping[str, Any], units: str) -> str:
    """Say what is known of a telling frame: why it was chosen, the distances, and the photographer's word."""
    said = [
        f"{KINDS[frame['why']]}: at {format_distance(frame['subject_distance_m'], units)}, "
        f"zone {zone(frame['near_limit_m'], frame['far_limit_m'], frame['focus_distance_m'], units)}, "
        f"{format_exposure_time(frame['exposure_time_s'])}."
    ]
    if isinstance(frame["reason"], str) and not pd.isna(frame["reason"]):
        said.append(f"Noted: {frame['reason']}")
    return " ".join(said)
