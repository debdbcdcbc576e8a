"""The tables of the page: selected, labelled and put in order, so that templates only lay out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.audit import Audit
from auditor.evidence.bursts import zone_focused
from auditor.evidence.presets import RATE_COLUMNS, count_all, count_distances
from auditor.evidence.rates import hit_rates
from auditor.show import chart_tables
from auditor.show.photographs import link_to, small_picture

PROBLEMS_SHOWN = 40
RESULTS = ("comparisons", "zone_check", "causes", "distances_met", "over_time")
LABEL = 200  # characters; the page has room to wrap


def page_tables(audit: Audit, folder: Path | None, *, pictures: bool) -> dict[str, Any]:
    """Everything that the page's templates lay out, by name (arguments as of the report)."""
    shown = chart_tables.presets_for_reading(audit)
    lanes, _ = chart_tables.distance_lanes(audit)
    lens_of = dict(zip(shown["preset"], shown["lens"], strict=True))
    table = audit.table
    with_zone = table[table["near_limit_m"].notna()]
    return {
        "presets": shown,
        "presets_by_session": presets_by_session(audit, shown),
        "lenses": sorted(set(shown["lens"].dropna())),
        "sessions": audit.sessions,
        "preset_chart_lenses": shown.loc[shown["bursts"] > 0, "lens"].tolist(),
        "lane_lenses": [lens_of.get(name) for name in lanes["preset"]] if len(lanes) else [],
        "overall": count_all(table, audit.settings.confidence),
        "tally": chart_tables.zone_tally(zone_focused(table)),
        "lanes": {units: chart_tables.label_lanes(lanes, units, LABEL) for units in ("m", "ft")},
        "bands": {units: distance_matrix(audit, units) for units in ("m", "ft")},
        "first_at": table["captured_at"].min(),
        "last_at": table["captured_at"].max(),
        "coc_mm": sorted(set(np.round(with_zone["coc_mm"].dropna(), 4))),
        "sensors_assumed": int((table["sensor_source"] == "assumed").sum()),
        **{name: getattr(audit, name) for name in RESULTS},
        **{name: getattr(audit, name, None) for name in ("tuning", "advice")},
        "telling": _telling(audit, folder, pictures),
        "problems_shown": audit.problems[:PROBLEMS_SHOWN],
    }


def presets_by_session(audit: Audit, shown: pd.DataFrame) -> pd.DataFrame:
    """Rates of each shown preset within each session, with the settings of :func:`count_presets`."""
    frames = zone_focused(audit.table)
    frames = frames[frames["preset"].isin(shown["preset"])]
    settings = [name for name in shown.columns if name not in RATE_COLUMNS]
    if frames["session"].nunique() < 2:
        return shown[settings].head(0).assign(**{name: [] for name in (*RATE_COLUMNS, "session")})
    split = hit_rates(frames, ["session", "preset"], audit.settings.confidence)
    return split[["session", "preset", *RATE_COLUMNS]].merge(shown[settings], on="preset", how="left")


def distance_matrix(audit: Audit, units: str) -> dict[str, Any]:
    """Frame rates by preset (rows, all presets first) and distance band (columns) in the units' own bands."""
    bands = audit.distances
    if units != audit.settings.units:
        bands = count_distances(audit.table, audit.settings.confidence, units)
    spans = sorted(set(zip(bands["from_m"], bands["to_m"], strict=True)))
    rows: dict[object, dict[tuple[float, float], Any]] = {}
    for band in bands.itertuples():
        name = None if pd.isna(band.preset) else band.preset
        rows.setdefault(name, {})[band.from_m, band.to_m] = band
    return {
        "spans": spans,
        "rows": [(name, [cells.get(span) for span in spans]) for name, cells in rows.items()],
    }


def _telling(audit: Audit, folder: Path | None, pictures: bool) -> list[dict[str, Any]]:
    """Frames to look at, each with the address of its file and, where wanted, a small picture.

    None where the curve that chose them does not carry.
    """
    if not audit.tolerance.carries:
        return []
    first = audit.table.drop_duplicates("file").set_index("file")
    position = dict(zip(first.index, audit.table.drop_duplicates("file").index, strict=True))
    rows = []
    for frame in audit.telling.to_dict("records"):
        at = position[frame["file"]]
        known = audit.table.iloc[at].to_dict() | frame
        picture = small_picture(audit.paths[at]) if pictures else None
        rows.append(known | {"link": link_to(audit, at, folder), "picture": picture})
    return rows
