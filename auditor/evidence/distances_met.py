"""At which distances subjects stood when the photographer pressed, preset by preset.

People press when they believe the subject to be in the zone, so presets meet different distances, and what
worked at the one need not work at the other.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.evidence.bursts import CountedFrames
from auditor.evidence.proportions import Floats, weighted_quantile_interval
from auditor.evidence.weighted_shares import weighted_shares
from auditor.evidence.weights import SAMPLED_BY, sampled_frames

QUANTILES = {"p05_m": 0.05, "p25_m": 0.25, "median_m": 0.5, "p75_m": 0.75, "p95_m": 0.95}
FEWEST_BURSTS = 5  # a preset with fewer does not enter the test


@dataclass(frozen=True, slots=True)
class DistancesMet:
    """Distribution of the known subject distances, put back to all bursts, each counting once."""

    # `preset` (missing: all together, first row), `bursts, frames`, weighted :data:`QUANTILES`, the interval
    # `median_low_m, median_high_m`, and `in_zone`, the share of the `zone_frames` (with a zone) whose subject
    # stood in it, with `zone_low, zone_high`.
    presets: pd.DataFrame
    p_value: float  # of all presets meeting the same distances; NaN with fewer than two of them
    differ: bool  # whether the test says so at the level asked for


def distances_met(counted: CountedFrames, confidence: float = 0.95) -> DistancesMet:
    """Describe the distances met and test whether they differ between presets.

    The test is Kruskal's and Wallis' on the bursts' median distances (J. Am. Stat. Assoc. 47:583, 1952).
    Reads ``preset, subject_distance_m, in_zone, sample_weight, drawn, counted_as, session, burst``.
    """
    size = np.bincount(counted.press, minlength=1)[counted.press]
    frames = counted.frames[[*SAMPLED_BY, "in_zone"]].assign(press=counted.press, size=size)
    frames, sampled = sampled_frames(frames[frames["preset"].notna()])
    # Weight share method (Lavallée 2007, Indirect Sampling): a burst weighs its frames' sum over its size.
    bursts = (
        pd.DataFrame(
            {
                "preset": frames["preset"],
                "distance": frames["subject_distance_m"],
                "weight": sampled.weight / frames["size"],
            }
        )
        .groupby(frames["press"])
        .agg({"preset": "first", "distance": "median", "weight": "sum"})
    )
    names = sorted(bursts["preset"].unique())
    zoned = frames["in_zone"].notna().to_numpy(bool)
    inside = frames["in_zone"].fillna(False).to_numpy(bool)
    rows = []
    for name in [None, *names] if names else []:
        own = bursts if name is None else bursts[bursts["preset"] == name]
        mine = np.ones(len(frames), bool) if name is None else (frames["preset"] == name).to_numpy(bool)
        shares = weighted_shares(inside, np.where(mine & zoned, 0, -1), 1, sampled, confidence)
        rows.append(
            {"preset": name, "bursts": len(own), "frames": int(mine.sum())}
            | _quantiles(own["distance"].to_numpy(), own["weight"].to_numpy(), confidence)
            | {"in_zone": shares.rate[0], "zone_low": shares.low[0], "zone_high": shares.high[0]}
            | {"zone_frames": int((mine & zoned).sum())}
        )
    columns = [
        "preset", "bursts", "frames", *QUANTILES, "median_low_m", "median_high_m",
        "in_zone", "zone_low", "zone_high", "zone_frames",
    ]  # fmt: skip
    groups = [own["distance"].to_numpy() for _, own in bursts.groupby("preset") if len(own) >= FEWEST_BURSTS]
    p_value = _same_distances(groups)
    described = pd.DataFrame(rows, columns=columns).astype({"preset": "str"})
    return DistancesMet(described, p_value, bool(p_value < 1 - confidence))


def _quantiles(distance: Floats, weight: Floats, confidence: float) -> dict[str, float]:
    spread = np.quantile(distance, list(QUANTILES.values()), weights=weight, method="inverted_cdf")
    low, high = weighted_quantile_interval(distance, weight, 0.5, confidence)
    return dict(zip(QUANTILES, spread, strict=True)) | {"median_low_m": low, "median_high_m": high}


def _same_distances(groups: list[Floats]) -> float:
    if len(groups) < 2 or np.unique(np.concatenate(groups)).size < 2:
        return float("nan")
    from scipy.stats import kruskal  # scipy.stats is slow to import

    return float(kruskal(*groups).pvalue)
