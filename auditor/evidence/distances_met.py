"""At which distances subjects stood when the photographer pressed, preset by preset.

People press when they believe the subject to be in the zone, so presets meet different distances, and what
worked at the one need not work at the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.evidence.bursts import burst_codes, zone_focused
from auditor.evidence.proportions import weighted_quantile_interval
from auditor.evidence.weighted_shares import Sampled, weighted_shares
from auditor.evidence.weights import sampled_frames

QUANTILES = {"p05_m": 0.05, "p25_m": 0.25, "median_m": 0.5, "p75_m": 0.75, "p95_m": 0.95}
FEWEST_BURSTS = 5  # a preset with fewer does not enter the test


@dataclass(frozen=True, slots=True)
class DistancesMet:
    """Distribution of the known subject distances, put back to all bursts, each counting once.

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
    frames = frames[frames["preset"].notna()]
    code = burst_codes(frames, "preset")
    frames = frames.assign(code=code, size=np.bincount(code, minlength=1)[code])
    frames, sampled = sampled_frames(frames)
    frames = frames.assign(weight=sampled.weight / frames["size"], inside=frames["in_zone"].astype("float64"))
    # Weight share method (Lavallée 2007, Indirect Sampling): a burst weighs its frames' sum over its size.
    bursts = frames.groupby("code", sort=True).agg(
        preset=("preset", "first"), distance=("subject_distance_m", "median"), weight=("weight", "sum")
    )
    parts = [(None, bursts), *bursts.groupby("preset", sort=True)]
    rows = [_row(name, own, frames, sampled, confidence) for name, own in parts] if len(bursts) else []
    columns = [
        "preset", "bursts", "frames", *QUANTILES, "median_low_m", "median_high_m",
        "in_zone", "zone_low", "zone_high", "zone_frames",
    ]  # fmt: skip
    described = pd.DataFrame(rows, columns=columns).astype({"preset": "str"})
    groups = [own["distance"].to_numpy() for _, own in bursts.groupby("preset") if len(own) >= FEWEST_BURSTS]
    p_value = _same_distances(groups)
    return DistancesMet(described, p_value, bool(p_value < 1 - confidence))


def _row(
    name: str | None, bursts: pd.DataFrame, frames: pd.DataFrame, sampled: Sampled, confidence: float
) -> dict[str, object]:
    distance, weight = bursts["distance"].to_numpy(), bursts["weight"].to_numpy()
    spread = np.quantile(distance, list(QUANTILES.values()), weights=weight, method="inverted_cdf")
    low, high = weighted_quantile_interval(distance, weight, 0.5, confidence)
    own = np.ones(len(frames), dtype=bool) if name is None else (frames["preset"] == name).to_numpy(bool)
    zoned = own & frames["inside"].notna().to_numpy()
    inside = weighted_shares(frames["inside"] == 1, np.where(zoned, 0, -1), 1, sampled, confidence)
    return {
        "preset": name,
        "bursts": len(bursts),
        "frames": int(own.sum()),
        **dict(zip(QUANTILES, spread, strict=True)),
        "median_low_m": low,
        "median_high_m": high,
        "in_zone": float(inside.rate[0]),
        "zone_low": float(inside.low[0]),
        "zone_high": float(inside.high[0]),
        "zone_frames": int(zoned.sum()),
    }


def _same_distances(groups: list[np.ndarray]) -> float:
    if len(groups) < 2 or np.unique(np.concatenate(groups)).size < 2:
        return float("nan")
    from scipy.stats import kruskal  # scipy.stats is slow to import

    return float(kruskal(*groups).pvalue)
