"""What the presets' counts alone can say, where subject distances or blur are unknown."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.result import Advice, ValuedSetting
from auditor.advice.valuing import Ground, coc_of
from auditor.evidence.comparisons import compare_presets


def advise_by_counts(ground: Ground) -> Advice:
    """Rank the presets in use by their hit rates, each pulled toward the common one.

    Only presets in use can be valued. A change is advised only to a preset that beat the one in use within
    sessions and within light, by as much as is worth acting on.
    """
    use, settings = ground.use, ground.settings
    current = tuple(_counted(row) for row in use.presets.itertuples())
    least, most = settings.f_number_min * 0.99, settings.f_number_max * 1.01
    allowed = [setting for setting in current if least <= setting.f_number <= most]
    ranked = sorted(allowed, key=lambda setting: -setting.expected_hit_rate)
    pairs = compare_presets(use.frames, settings).pairs
    better, gain, low, high, more = (None, np.nan, np.nan, np.nan, None)
    if ranked and ranked[0].preset != current[0].preset:
        better, gain, low, high, more = _against(pairs, str(ranked[0].preset), str(current[0].preset))
    told = better is not None
    now = current[0].expected_hit_rate
    ratio = gain / now if now > 0 else np.nan
    return Advice(
        lens=use.name,
        focal_length_mm=use.focal_length_mm,
        other_lenses=use.others,
        settings=tuple(ranked),
        current=current,
        gain=gain,
        gain_low=low,
        gain_high=high,
        gain_ratio=ratio,
        gain_ratio_low=low / now if now > 0 else np.nan,
        gain_ratio_high=high / now if now > 0 else np.nan,
        chance_better=np.nan,
        distinguishable=told,
        change_advised=bool(told and better == ranked[0].preset and ratio >= settings.worth),
        frames_needed=0 if told else more,
        one_serves_all=True,
        by_light=(),
        distances_known=ground.distances.bursts if ground.distances else 0,
        experience_from_m=ground.distances.low_m if ground.distances else np.nan,
        experience_to_m=ground.distances.high_m if ground.distances else np.nan,
        limits=ground.exposures.limits if ground.exposures else None,
        flags=ground.flags,
        grid=pd.DataFrame(),
        coc_mm=coc_of(use.frames),
    )


def _counted(row: Any) -> ValuedSetting:
    get = row._asdict()
    return ValuedSetting(
        f_number=float(get["f_number"]),
        focus_distance_m=float(get["focus_distance_m"]),
        near_limit_m=float(get["near_limit_m"]),
        far_limit_m=float(get["far_limit_m"]),
        expected_hit_rate=float(get["shrunk_rate"]),
        low=float(get["low"]),
        high=float(get["high"]),
        median_shutter_s=np.nan,
        median_iso=np.nan,
        within_experience=True,
        preset=str(get["preset"]),
        observed_hit_rate=float(get["hit_rate"]),
        observed_low=float(get["low"]),
        observed_high=float(get["high"]),
        observed_keepers_per_hour=float(get["keepers_per_hour"]),
        bursts=int(get["bursts"]),
    )


def _against(
    pairs: pd.DataFrame, first: str, second: str
) -> tuple[str | None, float, float, float, int | None]:
    """Which of two presets was better, the difference of the first with its interval, and bursts needed."""
    for a, b, sign in ((first, second, 1.0), (second, first, -1.0)):
        own = pairs[(pairs["preset_a"] == a) & (pairs["preset_b"] == b)]
        if len(own):
            row = own.iloc[0]
            ends = sorted((sign * float(row["low"]), sign * float(row["high"])))
            better = row["better"] if isinstance(row["better"], str) else None
            return (
                better,
                sign * float(row["difference"]),
                ends[0],
                ends[1],
                None if pd.isna(row["more_bursts"]) else 2 * int(row["more_bursts"]),
            )
    return None, np.nan, np.nan, np.nan, None
