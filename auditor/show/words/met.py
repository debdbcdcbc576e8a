"""What is said of the distances that were met."""

from __future__ import annotations

import pandas as pd

from auditor.evidence.distances_met import DistancesMet
from auditor.show.words.figures import counted, distance_span
from auditor.units import format_distance


def overall(met: DistancesMet, units: str) -> str:
    """Say where subjects stood; empty where no distance is known."""
    together = met.presets[met.presets["preset"].isna()]
    if not len(together):
        return ""
    row = together.iloc[0]
    if row["bursts"] < 2:
        return f"The one burst with a known distance was taken at {format_distance(row['median_m'], units)}."
    return (
        f"In {counted(row['bursts'], 'burst')} with a known distance, half of the subjects stood within "
        f"{distance_span(row['p25_m'], row['p75_m'], units)} and nine tenths within "
        f"{distance_span(row['p05_m'], row['p95_m'], units)}; the middle one at "
        f"{format_distance(row['median_m'], units)}."
    )


def differ(met: DistancesMet) -> str:
    """Warn where presets met different distances; empty where that does not show."""
    if not met.differ:
        return ""
    return (
        "The presets met different distances, as they do where people press when the subject looks inside "
        "the zone. What worked at one distance need not work at another."
    )


def named(preset: object) -> str:
    """Name a row of the distances met; a missing preset stands for all."""
    return "all presets" if pd.isna(preset) else str(preset)
