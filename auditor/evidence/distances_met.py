"""At which distances subjects stood when the photographer pressed, preset by preset.

People press when they believe the subject to be in the zone, so presets meet different distances, and what
worked at the one need not work at the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.evidence.bursts import burst_codes, zone_focused
from auditor.evidence.proportions import clustered_interval, weighted_quantile_interval

QUANTILES = {"p05_m": 0.05, "p25_m": 0.25, "median_m": 0.5, "p75_m": 0.75, "p95_m": 0.95}
FEWEST_BURSTS = 5  # a preset with fewer does not enter the test


@dataclass(frozen=True, slots=True)
class DistancesMet:
    """Distribution of the known subject distances, bursts counting once.

    Attributes
    ----------
    presets : pandas.DataFrame
        ``preset`` (missing: all together, first row), ``bursts, frames``, weighted quantiles ``p05_m, p25_m,
        median_m, p75_m, p95_m``, the interval ``median_low_m, median_high_m``, and ``in_zone``, the share of
        the ``zone_frames`` (with a zone) whose subject stood in it, with ``zone_low, zone_high``.
    p_value : float
        Of all presets meeting the same distances; small when they differ. NaN with fewer than two presets.
    differ : bool
        Whether the test says so at the level asked for.
    """

    presets: pd.DataFrame
    p_value: float
    differ: bool


def distances_met(table: pd.DataFrame, confidence: float = 0.95) -> DistancesMet:
    """Describe the distances met and test whether they differ between presets.

    The test is Kruskal's and Wallis' on the bursts' median distances (J. Am. Stat. Assoc. 47:583, 1952).

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table; counted zone-focused frames with a subject distance and a preset are used.
    confidence : float
    """
    frames = zone_focused(table)
    distance = frames["subject_distance_m"].to_numpy(float)
    drawn = ~(frames["sample_weight"].to_numpy(float) <= 0)
    frames = frames[(distance > 0) & drawn & frames["preset"].notna().to_numpy()].reset_index(drop=True)
    frames = frames.assign(
        code=burst_codes(frames, "preset"),
        weight=frames["sample_weight"].fillna(1.0),
        inside=frames["in_zone"].astype("float64"),
    )
    bursts = frames.groupby("code", sort=True).agg(
        preset=("preset", "first"), distance=("subject_distance_m", "median"), weight=("weight", "mean")
    )
    parts = [(None, bursts, frames)]
    parts += [
        (name, own, frames[frames["preset"] == name]) for name, own in bursts.groupby("preset", sort=True)
    ]
    rows = [_row(*part, confidence) for part in parts] if len(bursts) else []
    columns = [
        "preset", "bursts", "frames", *QUANTILES, "median_low_m", "median_high_m",
        "in_zone", "zone_low", "zone_high", "zone_frames",
    ]  # fmt: skip
    described = pd.DataFrame(rows, columns=columns).astype({"preset": "str"})
    groups = [own["distance"].to_numpy() for _, own in bursts.groupby("preset") if len(own) >= FEWEST_BURSTS]
    p_value = _same_distances(groups)
    return DistancesMet(described, p_value, bool(p_value < 1 - confidence))


def _row(
    name: str | None, bursts: pd.DataFrame, frames: pd.DataFrame, confidence: float
) -> dict[str, object]:
    distance, weight = bursts["distance"].to_numpy(), bursts["weight"].to_numpy()
    spread = np.quantile(distance, list(QUANTILES.values()), weights=weight, method="inverted_cdf")
    low, high = weighted_quantile_interval(distance, weight, 0.5, confidence)
    zone = frames[frames["inside"].notna()].groupby("code")["inside"].agg(["sum", "count"])
    zone_low, zone_high = clustered_interval(zone["sum"], zone["count"], confidence)
    return {
        "preset": name,
        "bursts": len(bursts),
        "frames": len(frames),
        **dict(zip(QUANTILES, spread, strict=True)),
        "median_low_m": low,
        "median_high_m": high,
        "in_zone": frames["inside"].mean(),
        "zone_low": zone_low,
        "zone_high": zone_high,
        "zone_frames": int(zone["count"].sum()),
    }


def _same_distances(groups: list[np.ndarray]) -> float:
    if len(groups) < 2 or np.unique(np.concatenate(groups)).size < 2:
        return float("nan")
    from scipy.stats import kruskal  # scipy.stats is slow to import

    return float(kruskal(*groups).pvalue)
