"""The tables that charts and pictures are drawn from: selected, labelled, binned, so that they only draw."""

from typing import NamedTuple

import numpy as np
import pandas as pd

from auditor.evidence.presets import OTHER, pool_small
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.weights import SAMPLED_BY, weights_of
from auditor.evidence.zone_check import rates_in_and_out
from auditor.frames import KEEPER, was_drawn
from auditor.journey import Audit
from auditor.show.decided import ring_units
from auditor.show.words import distances as distance_words
from auditor.show.words import presets as preset_words
from auditor.show.words.figures import far_limit, millimetres
from auditor.units import METRES_PER_FOOT, format_distance

LABEL = 52  # characters
MOST_LANES = 12  # lanes in the distance chart; the table holds the rest
BINS_PER_DOUBLING = 6
ENGRAVINGS = {
    "m": (0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 7, 10, 20, 30, 50, 100),
    "ft": (0.7, 1, 1.5, 2, 3, 4, 5, 7, 10, 15, 20, 30, 60, 100, 200, 300),
}

CURVE_POINTS = 80
BLUR_TICKS_MM = (0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)


def presets_for_reading(audit: Audit) -> pd.DataFrame:
    """Presets as shown: small ones pooled unless nothing counts; with source of name and unit of ring."""
    shown = audit.presets
    if shown["frames"].any():
        shown = pool_small(shown, audit.counted, audit.settings.confidence)
    sources = audit.table.groupby("preset")["preset_source"].first()
    shown = shown.assign(
        preset_source=shown["preset"].map(sources), ring_unit=shown["preset"].map(ring_units(audit))
    )
    labels = [preset_words.preset_label(row, row.ring_unit, LABEL) for row in shown.itertuples()]
    return shown.assign(label=labels)


def preset_chart_rows(audit: Audit) -> pd.DataFrame:
    """Rows of the preset chart, ``label`` and ``count_label`` among them; presets with nothing counted go."""
    shown = presets_for_reading(audit)
    shown = shown[shown["bursts"] > 0].reset_index(drop=True)
    return shown.assign(count_label=list(map(preset_words.burst_count, shown["hits"], shown["bursts"])))


def share_axis_end(highest: pd.Series) -> float:
    """Right end of an axis of shares: the quarter above every interval."""
    return float(min(1.0, np.ceil(highest.max() * 4 + 0.1) / 4))


def zone_rates(frames: pd.DataFrame, confidence: float) -> dict[str, float]:
    """Frames inside and outside their sharp zone, and the shares kept there, put back to all or not."""
    kept = (frames["counted_as"] == KEEPER).to_numpy()
    inside = frames["in_zone"].fillna(False).to_numpy(bool)
    outside = ~frames["in_zone"].fillna(True).to_numpy(bool)
    known, weight = inside | outside, weights_of(frames)
    return {
        "in_kept": int((inside & kept).sum()),
        "in_frames": int(inside.sum()),
        "out_kept": int((outside & kept).sum()),
        "out_frames": int(outside.sum()),
        "no_distance": int((~known).sum()),
        "put_back": bool((np.abs(weight[known] - 1) > 1e-9).any()),
        "drawn": bool(was_drawn(frames).any()),
    } | rates_in_and_out(frames.loc[known, SAMPLED_BY], inside[known], confidence)


def distance_lanes(audit: Audit) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lanes, of the most used presets, and bars for :func:`auditor.show.charts.distances.draw_distances`."""
    units, shown = audit.settings.units, presets_for_reading(audit)
    shown = shown[(shown["preset"] != OTHER) & shown["near_limit_m"].notna()].head(MOST_LANES)
    shown = shown.reset_index(drop=True)
    frames = audit.counted.frames[[*SAMPLED_BY, "in_zone"]]
    frames = frames[frames["preset"].isin(shown["preset"])]
    lo, hi = _axis_ends(shown, frames["subject_distance_m"].dropna().to_numpy())
    edges = np.geomspace(lo, hi, max(2, round(BINS_PER_DOUBLING * np.log2(hi / lo)) + 1))
    facts, bars = [], []
    for place, row in enumerate(shown.itertuples()):
        own = frames[frames["preset"] == row.preset]
        bars.append(_bars(own, edges).assign(lane=place))
        facts.append(
            {
                "tallest": float(bars[-1][["kept", "not_kept"]].max().max()) if len(bars[-1]) else 1.0,
                "from_m": lo,
                "to_m": hi,
                "count_label": distance_words.lane_count(zone_rates(own, audit.settings.confidence)),
                "near_label": format_distance(row.near_limit_m, units),
                "far_label": far_limit(row.far_limit_m, row.focus_distance_m, units),
            }
        )
    lanes = pd.concat([shown, pd.DataFrame(facts)], axis=1)
    return lanes, pd.concat(bars, ignore_index=True) if bars else pd.DataFrame()


def _axis_ends(shown: pd.DataFrame, distances_m: np.ndarray) -> tuple[float, float]:
    """Ends of the axis: all distances met and, with a margin, the zones as far as they are finite."""
    near = shown["near_limit_m"].to_numpy()
    ends = np.concatenate([shown["far_limit_m"], shown["focus_distance_m"]])
    ends = np.minimum(ends[np.isfinite(ends)], 15.0)  # a far limit beyond every subject says nothing here
    lo = 0.75 * min(near.min(initial=1.0), distances_m.min(initial=np.inf))
    hi = 1.25 * max(ends.max(initial=4.0), distances_m.max(initial=0.0))
    return float(max(lo, 0.15)), float(min(hi, 150.0))


def _bars(frames: pd.DataFrame, edges: np.ndarray) -> pd.DataFrame:
    """Keepers and frames not kept between edges [m], put back to all; what lies beyond joins the last bar."""
    weight = weights_of(frames)
    known, weight = frames[weight > 0], weight[weight > 0]
    kept = (known["counted_as"] == KEEPER).to_numpy()
    place = np.clip(known["subject_distance_m"].to_numpy(), edges[0], edges[-1] * 0.9999)
    counts = pd.DataFrame(
        {
            "from_m": edges[:-1],
            "to_m": edges[1:],
            "kept": np.histogram(place[kept], edges, weights=weight[kept])[0],
            "not_kept": np.histogram(place[~kept], edges, weights=weight[~kept])[0],
        }
    )
    return counts[(counts["kept"] > 0) | (counts["not_kept"] > 0)]


def distance_ticks(from_m: float, to_m: float, units: str) -> pd.DataFrame:
    """Ticks of a distance axis, as a ring is engraved."""
    metres = 1.0 if units == "m" else METRES_PER_FOOT
    inside = [value for value in ENGRAVINGS[units] if from_m < value * metres < to_m]
    labels = [f"{value:g}" for value in inside]
    if labels:
        labels[-1] += f" {units}"
    return pd.DataFrame({"at_m": [value * metres for value in inside], "label": labels})


class BlurPicture(NamedTuple):
    """Curve, observed groups (both with ``blur_mm, rate, low, high``), and labels at diameters [mm]."""

    curve: pd.DataFrame
    bins: pd.DataFrame
    marks: list[tuple[float, str]]
    ticks: list[tuple[float, str]]


def blur_picture(tolerance: Tolerance) -> BlurPicture | None:
    """Gather the picture: the axis holds all groups, the tolerance and the handbook's value."""
    if not tolerance.fitted or not len(tolerance.calibration):
        return None
    eye = tolerance.eye
    handbook = eye.blur_mm / tolerance.times_handbook
    ends = [*tolerance.calibration["blur_mm"], eye.blur_mm, handbook]
    low, high = 0.75 * min(ends), 1.4 * max(ends)
    marks = (("tolerance", eye.blur_mm), ("handbook", handbook))
    inside = [value for value in BLUR_TICKS_MM if low < value < high]
    return BlurPicture(
        blur_curve(tolerance, np.geomspace(low, high, CURVE_POINTS)),
        tolerance.calibration,
        [(blur_mm, f"{name} {millimetres(blur_mm)}") for name, blur_mm in marks],
        [(value, f"{value:g}{' mm' if value == inside[-1] else ''}") for value in inside],
    )


def blur_curve(tolerance: Tolerance, blur_mm: np.ndarray) -> pd.DataFrame:
    """Chance to be called sharp, or kept, with the band of the curves as likely as the data say."""
    chance, tail = tolerance.chance(blur_mm), (1 - tolerance.confidence) / 2
    low, high = np.quantile(chance, [tail, 1 - tail], axis=0)
    return pd.DataFrame({"blur_mm": blur_mm, "rate": chance.mean(axis=0), "low": low, "high": high})
