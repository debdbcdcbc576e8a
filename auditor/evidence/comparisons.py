"""Which preset was better, told only where the photographer could have chosen either.

Presets of one lens are compared within sessions and, inside a session, within steps of one exposure value of
light, because the preset in use hangs on both and so do the keepers. What happens to be in front of the lens
also differs from one run of a preset to the next: a difference must show over runs, too, to be called one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import burst_codes, is_keeper, number_runs, zone_focused
from auditor.evidence.mantel_haenszel import (
    bursts_to_show,
    clustered_difference,
    difference_by_runs,
    stratified_difference,
)
from auditor.evidence.proportions import Floats, benjamini_hochberg, newcombe_difference
from auditor.optics.exposure import exposure_value
from auditor.settings import Settings

COMPARED = "compared"
DIFFERENT_OUTINGS = "different_outings"
DIFFERENT_LIGHT = "different_light"
SAME_SETTING = "same_setting"
POWER = 0.8
LOOSEST_CLAIM = 0.05  # level at which a preset is called better, whatever the level of the intervals
FEWEST_BURSTS = 5  # of each preset in shared strata; fewer are not tested

PAIR_COLUMNS = (
    "lens", "preset_a", "preset_b", "status", "bursts_a", "bursts_b", "shared_a", "shared_b",
    "rate_a", "rate_b", "difference", "low", "high", "plain_low", "plain_high",
    "frame_difference", "frame_low", "frame_high", "p_value", "p_adjusted", "better", "more_bursts",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Comparisons:
    """Pairs of presets of one lens.

    Attributes
    ----------
    pairs : pandas.DataFrame
        One row per pair: ``status`` (``compared``, ``different_outings``, ``different_light`` or
        ``same_setting``, which is not tested), all bursts
        and those in shared strata, the plain hit rates with Newcombe's interval of their difference, the
        difference within sessions and light (``difference``, ``low``, ``high``, shares of bursts; beside it
        of frames; at least as wide as the runs of a preset differ), ``p_value`` (the larger one of bursts and
        of runs), ``p_adjusted`` over all pairs, ``better`` (a preset's name, or missing) and ``more_bursts``
        (of each, to show the difference seen; 0 where they would do already, missing where the difference is
        not worth acting on).
    level : float
        Level under which ``p_adjusted`` is called a difference.
    """

    pairs: pd.DataFrame
    level: float


def compare_presets(table: pd.DataFrame, settings: Settings) -> Comparisons:
    """Compare every two presets of one lens, within sessions and within light.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table; zone-focused counted frames with a preset are used.
    settings : Settings
        ``confidence`` and ``worth``.
    """
    frames = zone_focused(table)
    frames = frames[frames["preset"].notna()].reset_index(drop=True)
    frames = frames.assign(
        code=burst_codes(frames, "preset"),
        kept=is_keeper(frames),
        run=number_runs(frames, pd.factorize(frames["preset"])[0]),
        ev=np.floor(scene_ev(frames)),
        glass=glass(frames),
    )
    session = frames["session"].to_numpy(dtype=float, na_value=-1.0)
    frames = frames.assign(outing=pd.factorize(session)[0])
    bursts = frames.groupby("code", sort=True).agg(
        hit=("kept", "any"), preset=("preset", "first"), glass=("glass", "first"), outing=("outing", "first"),
        ev=("ev", "median"), run=("run", "first"),
    )  # fmt: skip
    light = pd.DataFrame({"outing": bursts["outing"], "ev": np.floor(bursts["ev"]).fillna(-99.0)})
    bursts["stratum"] = light.groupby(["outing", "ev"]).ngroup().to_numpy()
    frames["stratum"] = bursts["stratum"].to_numpy()[frames["code"].to_numpy()]
    rows = []
    for lens, of_lens in bursts.groupby("glass", sort=True):
        names = of_lens["preset"].drop_duplicates().sort_values()
        own = frames[frames["glass"] == lens]
        rows += [_pair(str(lens), a, b, of_lens, own, settings.confidence) for a, b in combinations(names, 2)]
    pairs = pd.DataFrame(rows, columns=list(PAIR_COLUMNS))
    return Comparisons(_judged(pairs, settings), claim_level(settings))


def claim_level(settings: Settings) -> float:
    """Level of claims: narrower intervals may be wished for, more false claims may not."""
    return min(1 - settings.confidence, LOOSEST_CLAIM)


def glass(frames: pd.DataFrame) -> pd.Series:
    """Return each frame's lens: its name, else its focal length in words."""
    focal = frames["focal_length_mm"].round(0).map("{:g} mm".format)
    return frames["lens"].where(frames["lens"].notna(), focal)


def scene_ev(frames: pd.DataFrame) -> Floats:
    """Return each frame's light as exposure value at ISO 100, shape (n,); NaN unknown, as with a flash."""
    ev = exposure_value(*(frames[name].to_numpy(float) for name in ("f_number", "exposure_time_s", "iso")))
    return np.where(frames["flash"].fillna(False).to_numpy(bool), np.nan, ev)


def _pair(
    lens: str, a: str, b: str, bursts: pd.DataFrame, frames: pd.DataFrame, confidence: float
) -> dict[str, object]:
    own = bursts[bursts["preset"].isin([a, b])]
    is_a = (own["preset"] == a).to_numpy()
    hit = own["hit"].to_numpy(dtype=bool)
    _, stratum = np.unique(own["stratum"].to_numpy(), return_inverse=True)
    n_a, hits_a = np.bincount(stratum, is_a), np.bincount(stratum, hit & is_a)
    n_b, hits_b = np.bincount(stratum, ~is_a), np.bincount(stratum, hit & ~is_a)
    shared = (n_a > 0) & (n_b > 0)
    within = stratified_difference(hits_a, n_a, hits_b, n_b, confidence)
    runs = (
        own.assign(is_a=is_a, hit=hit)
        .groupby("run")
        .agg(hits=("hit", "sum"), n=("hit", "size"), is_a=("is_a", "first"), outing=("outing", "first"))
    )
    by_runs = difference_by_runs(runs["hits"], runs["n"], runs["is_a"], runs["outing"], confidence)
    wider = 0.0 if np.isnan(by_runs.low) else (by_runs.high - by_runs.low) / 2
    low = max(min(within.low, within.difference - wider), -1.0)
    high = min(max(within.high, within.difference + wider), 1.0)
    plain_low, plain_high = newcombe_difference(hits_a.sum(), n_a.sum(), hits_b.sum(), n_b.sum(), confidence)
    of_frames = frames[frames["preset"].isin([a, b])]
    by_frames = clustered_difference(
        of_frames["kept"],
        of_frames["preset"] == a,
        pd.factorize(of_frames["stratum"])[0],
        pd.factorize(of_frames["code"])[0],
        confidence,
    )
    enough = min(n_a[shared].sum(), n_b[shared].sum()) >= FEWEST_BURSTS
    same = _same_setting(of_frames, a, b)
    status = SAME_SETTING if same else _status(own, is_a, shared)
    return {
        "lens": lens, "preset_a": a, "preset_b": b, "status": status,
        "bursts_a": int(n_a.sum()), "bursts_b": int(n_b.sum()),
        "shared_a": int(n_a[shared].sum()), "shared_b": int(n_b[shared].sum()),
        "rate_a": hits_a.sum() / n_a.sum(), "rate_b": hits_b.sum() / n_b.sum(),
        "difference": within.difference, "low": low, "high": high,
        "plain_low": plain_low, "plain_high": plain_high,
        "frame_difference": by_frames.difference, "frame_low": by_frames.low, "frame_high": by_frames.high,
        "p_value": float(np.maximum(within.p_value, by_runs.p_value)) if enough and not same else np.nan,
    }  # fmt: skip


def _same_setting(frames: pd.DataFrame, a: str, b: str) -> bool:
    """Whether two names stand for one setting."""
    settings = frames.groupby("preset")[["focal_length_mm", "f_number", "focus_distance_m"]].median()
    one, other = (settings.loc[name].to_numpy("float64") for name in (a, b))
    return bool(np.isclose(one, other, rtol=0.005).all())


def _status(own: pd.DataFrame, is_a: npt.NDArray[np.bool_], shared: npt.NDArray[np.bool_]) -> str:
    if shared.any():
        return COMPARED
    outings = own["outing"].to_numpy()
    together = np.intersect1d(outings[is_a], outings[~is_a]).size > 0
    return DIFFERENT_LIGHT if together else DIFFERENT_OUTINGS


def _judged(pairs: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    level = claim_level(settings)
    adjusted = benjamini_hochberg(pairs["p_value"].to_numpy(float))
    sign = np.sign(pairs["difference"].to_numpy(float))
    agreed = sign == np.sign(pairs["frame_difference"].to_numpy(float))
    told = (adjusted < level) & agreed & (sign != 0)
    better = np.where(sign > 0, pairs["preset_a"].to_numpy(object), pairs["preset_b"].to_numpy(object))
    tests = max(int((pairs["status"] == COMPARED).sum()), 1)
    more: list[int | None] = []
    for row in pairs.itertuples(index=False):
        bursts = row.bursts_a + row.bursts_b
        rate = (row.rate_a * row.bursts_a + row.rate_b * row.bursts_b) / bursts
        gap = abs(row.difference)
        if not gap >= settings.worth * rate or not rate:
            more.append(None)
            continue
        needed = bursts_to_show(rate, 100 * gap, level / tests, POWER)
        # Unequal numbers of shared bursts tell as much as two equal ones of their harmonic mean.
        pair = row.shared_a + row.shared_b
        present = 2 * row.shared_a * row.shared_b / pair if pair else 0.0
        more.append(max(0, int(np.ceil(needed - present))))
    return pairs.assign(
        p_adjusted=adjusted,
        better=pd.Series(np.where(told, better, None), index=pairs.index, dtype="str"),
        more_bursts=pd.array(more, dtype="Int64"),
    )
