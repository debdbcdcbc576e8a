"""The tables that the page can filter: rates of presets and distance bands, on the whole and by session."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from auditor.evidence.bursts import zone_focused
from auditor.evidence.presets import RATE_COLUMNS, count_distances
from auditor.evidence.rates import hit_rates

MOST_PAIRS = 1200  # of session and preset; with more the page would grow past what opens at once


def sessions_to_pick(frames: pd.DataFrame) -> list[int]:
    """Sessions that the page can show by themselves: the latest ones, as many as the page has room for."""
    pairs = zone_focused(frames).groupby("session")["preset"].nunique()
    room = pairs.iloc[::-1].cumsum() <= MOST_PAIRS
    return sorted(int(session) for session in room.index[room]) if len(pairs) > 1 else []


def presets_by_session(frames: pd.DataFrame, shown: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Rates of each shown preset within each session that can be picked, with the settings in ``shown``."""
    frames = zone_focused(frames)
    settings = [name for name in shown.columns if name not in RATE_COLUMNS]
    frames = frames[frames["session"].isin(sessions_to_pick(frames))]
    split = hit_rates(frames, ["session", "preset"], confidence)
    return split[["session", "preset", *RATE_COLUMNS]].merge(shown[settings], on="preset", how="inner")


def distance_bands(
    frames: pd.DataFrame, order: Sequence[str], confidence: float, units: str
) -> dict[str, Any]:
    """Frame rates by distance band, in the units' own bands; presets in the order given.

    Returns
    -------
    dict
        ``spans``: the bands (from, to) [m] that hold frames. ``rows``: one (session, preset, cells) for all
        presets together (preset None, where there are several), for each preset, and for each preset within
        each session that can be picked; session is "" for the whole archive, cells hold a row of the counts
        or None for each span.
    """
    whole = count_distances(frames, confidence, units).assign(session="")
    if len(whole["preset"].dropna().unique()) == 1:
        whole = whole[whole["preset"].notna()]  # all presets together are that one
    bands = pd.concat([whole, _within_sessions(frames, confidence, units)], ignore_index=True)
    spans = sorted(set(zip(whole["from_m"], whole["to_m"], strict=True)))
    rows: dict[tuple[Any, Any], dict[tuple[float, float], Any]] = {}
    for band in bands.itertuples():
        name = None if pd.isna(band.preset) else band.preset
        rows.setdefault((band.session, name), {})[band.from_m, band.to_m] = band
    place = {name: number for number, name in enumerate(order)}
    keys = sorted(rows, key=lambda key: (key[0] != "", key[0] or 0, place.get(key[1], -1)))
    return {
        "spans": spans,
        "rows": [(*key, [rows[key].get(span) for span in spans]) for key in keys],
    }


def _within_sessions(frames: pd.DataFrame, confidence: float, units: str) -> pd.DataFrame:
    """Distance bands of each preset within each session that can be picked."""
    known = zone_focused(frames)
    known = known[known["subject_distance_m"].notna() & known["preset"].notna()]
    known = known[known["session"].isin(sessions_to_pick(frames))]
    pairs = known.groupby(["session", "preset"], sort=True)
    # Bands are counted by name, and here a name is that of a preset within a session.
    bands = count_distances(known.assign(preset=pairs.ngroup().astype("str")), confidence, units)
    bands = bands[bands["preset"].notna()]
    keys = pairs.size().index[bands["preset"].astype("int64")]
    return bands.assign(
        session=keys.get_level_values("session").to_numpy(object),
        preset=keys.get_level_values("preset").to_numpy(object),
    )
