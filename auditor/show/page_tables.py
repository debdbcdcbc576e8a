"""The tables of the page: selected, labelled and put in order, so that templates only lay out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from auditor.evidence.bursts import zone_focused
from auditor.evidence.causes import CAUSES
from auditor.evidence.distances_met import DistancesMet
from auditor.evidence.presets import count_all
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.filter_tables import (
    distance_bands,
    presets_by_session,
    sessions_to_pick,
)
from auditor.show.photographs import link_to, small_picture
from auditor.show.words.figures import percent

PROBLEMS_SHOWN = 40
LABEL = 200  # characters; the page has room to wrap


def page_tables(audit: Audit, folder: Path | None, *, pictures: bool) -> dict[str, Any]:
    """Everything that the page's templates lay out, by name (arguments as of the report)."""
    confidence = audit.settings.confidence
    shown = chart_tables.presets_for_reading(audit)
    lanes, _ = chart_tables.distance_lanes(audit)
    lens_of = dict(zip(shown["preset"], shown["lens"], strict=True))
    table, frames = audit.table, chart_tables.frames_for_reading(audit)
    with_zone = table[table["near_limit_m"].notna()]
    return {
        "level": percent(confidence).replace(" ", "\N{NO-BREAK SPACE}"),
        "presets": shown,
        "presets_by_session": presets_by_session(frames, shown, confidence),
        "lens_of": lens_of,
        "lenses": sorted(set(shown["lens"].dropna())),
        "sessions": audit.sessions,
        "pickable": audit.sessions[audit.sessions["session"].isin(sessions_to_pick(frames))],
        "preset_chart_lenses": shown.loc[shown["bursts"] > 0, "lens"].tolist(),
        "lane_lenses": [lens_of.get(name) for name in lanes["preset"]] if len(lanes) else [],
        "lanes_wanted": len(chart_tables.presets_with_lane(audit)),
        "overall": count_all(table, confidence),
        "tally": chart_tables.zone_rates(zone_focused(table), confidence),
        "lanes": {units: chart_tables.label_lanes(lanes, units, LABEL) for units in ("m", "ft")},
        "bands": {
            units: distance_bands(frames, list(shown["preset"]), confidence, units) for units in ("m", "ft")
        },
        "met_rows": _met_rows(audit.distances_met, shown),
        "first_at": table["captured_at"].min(),
        "last_at": table["captured_at"].max(),
        "coc_mm": sorted(set(np.round(with_zone["coc_mm"].dropna(), 4))),
        "sensors_assumed": int((table["sensor_source"] == "assumed").sum()),
        "comparisons": audit.comparisons,
        "zone_check": audit.zone_check,
        "causes": audit.causes,
        "cause_rows": _cause_rows(audit, shown),
        "distances_met": audit.distances_met,
        "over_time": audit.over_time,
        "tuning": audit.tuning,
        "advice": audit.advice,
        "experiment": audit.experiment,
        "measured": audit.pictures,
        "telling": _telling(audit, folder, pictures),
        "problems_shown": audit.problems[:PROBLEMS_SHOWN],
    }


def _cause_rows(audit: Audit, shown: pd.DataFrame) -> list[dict[str, Any]]:
    """Frames not kept of each preset shown, by cause; none where the curve does not carry."""
    if not audit.tolerance.carries:
        return []
    own = audit.causes.by_preset.set_index("preset")
    return [
        {
            "preset": row.preset,
            "lens": row.lens,
            "not_kept": own.loc[row.preset, "not_kept"],
            "causes": [tuple(own.loc[row.preset, [c, f"{c}_low", f"{c}_high"]]) for c in CAUSES],
        }
        for row in shown.itertuples()
        if row.preset in own.index
    ]


def _met_rows(met: DistancesMet, shown: pd.DataFrame) -> pd.DataFrame:
    """Distances met by all and by each preset shown."""
    rows = met.presets[met.presets["preset"].isna() | met.presets["preset"].isin(shown["preset"])]
    if len(rows) == 2:
        rows = rows[rows["preset"].notna()]
    place = {name: number for number, name in enumerate(shown["preset"])}
    return rows.sort_values("preset", key=lambda names: names.map(place), na_position="first")


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
