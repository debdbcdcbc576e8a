"""The tables of the page: selected, labelled and put in order, so that templates only lay out."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from auditor.evidence.bursts import count_frames
from auditor.evidence.causes import CAUSES
from auditor.evidence.distances_met import DistancesMet
from auditor.evidence.presets import OTHER, count_all, count_distances
from auditor.evidence.sharpness import judged_frames
from auditor.evidence.subjects import frames_met
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.decided import lens_names, ring_units
from auditor.show.words.figures import percent

PROBLEMS_SHOWN = 40


def page_tables(audit: Audit) -> dict[str, Any]:
    """Everything that the page's folded tables lay out, by name."""
    confidence, table = audit.settings.confidence, audit.table
    shown = chart_tables.presets_for_reading(audit)
    causes = shown[["preset"]].merge(audit.causes.by_preset, on="preset")
    pooled = _with_small_pooled(audit, shown)
    return {
        "level": percent(confidence).replace(" ", "\N{NO-BREAK SPACE}"),
        "presets": shown,
        "lens_of": dict(zip(audit.presets["preset"], lens_names(audit), strict=True)),
        "overall": count_all(audit.counted, confidence),
        "tally": chart_tables.zone_rates(audit.counted.frames, confidence),
        "bands": {units: distance_bands(pooled, list(shown["preset"]), units) for units in ("m", "ft")},
        "met_rows": _met_rows(audit.distances_met, shown),
        "rings": ring_units(audit),
        "sessions": audit.sessions.sort_values("starts_at", kind="stable", na_position="first"),
        "first_at": table["captured_at"].min(),
        "coc_mm": sorted(set(np.round(table.loc[table["near_limit_m"].notna(), "coc_mm"].dropna(), 4))),
        "sensors_assumed": int((table["sensor_source"] == "assumed").sum()),
        "cause_rows": causes if audit.tolerance.carries else causes[:0],
        "causes": CAUSES,
        "problems_shown": audit.problems[:PROBLEMS_SHOWN],
    }


def _with_small_pooled(audit: Audit, shown: pd.DataFrame) -> Audit:
    """The audit with its distances counted under the name that stands for small presets together."""
    frames, settings = audit.table, audit.settings
    if OTHER not in set(shown["preset"]):
        return audit
    small = frames["preset"].notna() & ~frames["preset"].isin(shown["preset"])
    frames = frames.assign(preset=frames["preset"].mask(small, OTHER))
    counted, judged = count_frames(frames), judged_frames(frames_met(frames))
    distances = count_distances(counted, judged, settings.confidence, settings.units)
    return replace(audit, counted=counted, judged=judged, distances=distances)


def distance_bands(audit: Audit, order: list[str], units: str) -> dict[str, Any]:
    """Frame rates by distance band, in the units' own bands; presets in the order given.

    ``spans`` are the bands (from, to) [m] that hold frames; ``rows`` are (preset, cells) for all presets
    together (None, where there are several) and for each; a cell is a row of the counts, or None.
    """
    bands = audit.distances
    if units != audit.settings.units:
        bands = count_distances(audit.counted, audit.judged, audit.settings.confidence, units)
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
