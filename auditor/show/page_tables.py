"""The tables of the page: selected, labelled and put in order, so that templates only lay out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from auditor.evidence.bursts import count_frames, zone_focused
from auditor.evidence.causes import CAUSES
from auditor.evidence.distances_met import DistancesMet
from auditor.evidence.presets import count_all, count_distances
from auditor.evidence.sharpness import judged_frames
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.decided import lens_names
from auditor.show.words.figures import percent

PROBLEMS_SHOWN = 40


def page_tables(audit: Audit) -> dict[str, Any]:
    """Everything that the page's folded tables lay out, by name."""
    confidence, table = audit.settings.confidence, audit.table
    shown = chart_tables.presets_for_reading(audit)
    causes = shown[["preset"]].merge(audit.causes.by_preset, on="preset")
    frames = chart_tables.frames_for_reading(audit, shown)
    return {
        "level": percent(confidence).replace(" ", "\N{NO-BREAK SPACE}"),
        "presets": shown,
        "lens_of": dict(zip(audit.presets["preset"], lens_names(audit), strict=True)),
        "overall": count_all(table, confidence),
        "tally": chart_tables.zone_rates(zone_focused(table), confidence),
        "bands": {
            units: distance_bands(audit, frames, list(shown["preset"]), units) for units in ("m", "ft")
        },
        "met_rows": _met_rows(audit.distances_met, shown),
        "first_at": table["captured_at"].min(),
        "coc_mm": sorted(set(np.round(table.loc[table["near_limit_m"].notna(), "coc_mm"].dropna(), 4))),
        "sensors_assumed": int((table["sensor_source"] == "assumed").sum()),
        "cause_rows": causes if audit.tolerance.carries else causes[:0],
        "causes": CAUSES,
        "problems_shown": audit.problems[:PROBLEMS_SHOWN],
    }


def distance_bands(audit: Audit, frames: pd.DataFrame, order: Sequence[str], units: str) -> dict[str, Any]:
    """Frame rates by distance band, in the units' own bands; presets in the order given.

    ``spans`` are the bands (from, to) [m] that hold frames; ``rows`` are (preset, cells) for all presets
    together (None, where there are several) and for each; a cell is a row of the counts, or None.
    """
    bands = audit.distances  # counted already, in the settings' units and if no preset is pooled
    if units != audit.settings.units or frames is not audit.table:
        counted, judged = count_frames(frames), judged_frames(frames)
        bands = count_distances(counted, judged, audit.settings.confidence, units)
    if len(bands["preset"].dropna().unique()) == 1:
        bands = bands[bands["preset"].notna()]  # all presets together are that one
    spans = sorted(set(zip(bands["from_m"], bands["to_m"], strict=True)))
    rows: dict[Any, dict[tuple[float, float], Any]] = {}
    for band in bands.itertuples():
        rows.setdefault(None if pd.isna(band.preset) else band.preset, {})[band.from_m, band.to_m] = band
    names = sorted(rows, key=lambda name: order.index(name) if name in order else -1)
    return {"spans": spans, "rows": [(name, [rows[name].get(span) for span in spans]) for name in names]}


def _met_rows(met: DistancesMet, shown: pd.DataFrame) -> pd.DataFrame:
    """Distances met by all and by each preset shown."""
    rows = met.presets[met.presets["preset"].isna() | met.presets["preset"].isin(shown["preset"])]
    if len(rows) == 2:
        rows = rows[rows["preset"].notna()]
    place = {name: number for number, name in enumerate(shown["preset"])}
    return rows.sort_values("preset", key=lambda names: names.map(place), na_position="first")
