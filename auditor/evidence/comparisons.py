"""Which preset was better, said only where the photographer could have chosen either.

Presets of one lens are compared within sessions and, inside a session, within steps of one exposure value of
light, because both sway the choice of preset and the number of keepers. What happens to be in front of the
lens also differs from one run of a preset to the next: a difference must show over runs, too.
"""

from itertools import combinations

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import Codes, CountedFrames, number_runs
from auditor.evidence.mantel_haenszel import bursts_to_show, difference_by_runs, stratified_difference
from auditor.evidence.proportions import Floats, benjamini_hochberg
from auditor.frames import equal_as_one
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
    "rate_a", "rate_b", "difference", "low", "high", "frame_difference", "p_value", "p_adjusted", "better",
    "more_bursts",
)  # fmt: skip


def compare_presets(counted: CountedFrames, settings: Settings) -> pd.DataFrame:
    """Compare every two presets of one lens, within sessions and within light; one row per pair.

    :data:`PAIR_COLUMNS`: ``status`` is ``compared``, ``different_outings``, ``different_light`` or
    ``same_setting``; then all bursts and those in shared strata, the plain hit rates, the ``difference``
    within sessions and light with ``low, high`` (shares of bursts, at least as wide as the runs of a preset
    differ) and that of frames; ``p_value`` is the larger one of bursts and of runs, ``p_adjusted`` over all
    pairs; ``better`` a preset's name or missing; ``more_bursts`` those of each that would show the difference
    seen (missing where it is not worth acting on).

    Reads ``preset, session, camera, captured_at, lens, focal_length_mm, f_number, focus_distance_m,
    exposure_time_s, iso, flash``, and the settings ``confidence`` and ``worth``.
    """
    frames = counted.frames
    code, first = np.unique(counted.press, return_index=True)
    preset = equal_as_one(frames["preset"])
    run = number_runs(frames, pd.factorize(preset)[0].astype(np.intp))
    outing = pd.factorize(frames["session"].to_numpy(float, na_value=-1.0))[0]
    ev = pd.Series(np.floor(scene_ev(frames))).groupby(counted.press).median().to_numpy()
    light = np.nan_to_num(np.floor(ev), nan=-99.0)
    kept = np.bincount(counted.press, counted.kept, minlength=len(code))
    presses = pd.DataFrame(
        {
            "lens": glass(frames[["lens", "focal_length_mm"]].iloc[first]).to_numpy(object),
            "preset": preset[first],
            "hit": kept > 0,
            "kept": kept,
            "size": np.bincount(counted.press, minlength=len(code)),
            "outing": outing[first],
            "stratum": np.unique(np.stack([outing[first], light]), axis=1, return_inverse=True)[1].ravel(),
            "run": run[first],
        }
    ).dropna(subset="preset")
    names = ["focal_length_mm", "f_number", "focus_distance_m"]
    of_preset = frames.groupby("preset")[names].median()
    rows = []
    for lens, own in presses.groupby("lens"):
        for a, b in combinations(sorted(own["preset"].unique()), 2):
            same = bool(np.isclose(of_preset.loc[a], of_preset.loc[b], rtol=0.005).all())
            both = own[own["preset"].isin([a, b])]
            rows.append({"lens": str(lens)} | _pair(a, b, both, settings.confidence, same=same))
    pairs = pd.DataFrame(rows, columns=list(PAIR_COLUMNS))
    return _judged(pairs, settings)


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


def _pair(a: str, b: str, own: pd.DataFrame, confidence: float, *, same: bool) -> dict[str, object]:
    is_a, hit, kept, size, outing = (
        own[name].to_numpy() for name in ("preset", "hit", "kept", "size", "outing")
    )
    is_a = is_a == a
    _, stratum = np.unique(own["stratum"], return_inverse=True)
    strata = int(stratum.max()) + 1

    def by_stratum(values: npt.ArrayLike) -> Floats:
        return np.bincount(stratum, values, minlength=strata).astype(float)

    n_a, n_b, hits_a, hits_b = (by_stratum(v) for v in (is_a, ~is_a, hit & is_a, hit & ~is_a))
    shared = (n_a > 0) & (n_b > 0)
    within = stratified_difference(hits_a, n_a, hits_b, n_b, confidence)
    kept_a, size_a, kept_b, size_b = (
        by_stratum(v) for v in (kept * is_a, size * is_a, kept * ~is_a, size * ~is_a)
    )
    of_frames = stratified_difference(kept_a, size_a, kept_b, size_b)
    _, first, run = np.unique(own["run"], return_index=True, return_inverse=True)
    by_runs = difference_by_runs(
        np.bincount(run, hit), np.bincount(run), is_a[first], outing[first], confidence
    )
    wider = 0.0 if np.isnan(by_runs.low) else (by_runs.high - by_runs.low) / 2
    enough = min(n_a[shared].sum(), n_b[shared].sum()) >= FEWEST_BURSTS
    return {
        "preset_a": a, "preset_b": b, "status": SAME_SETTING if same else _status(outing, is_a, shared),
        "bursts_a": int(n_a.sum()), "bursts_b": int(n_b.sum()),
        "shared_a": int(n_a[shared].sum()), "shared_b": int(n_b[shared].sum()),
        "rate_a": hits_a.sum() / n_a.sum(), "rate_b": hits_b.sum() / n_b.sum(),
        "difference": within.difference,
        "low": max(min(within.low, within.difference - wider), -1.0),
        "high": min(max(within.high, within.difference + wider), 1.0),
        "frame_difference": of_frames.difference,
        "p_value": float(np.maximum(within.p_value, by_runs.p_value)) if enough and not same else np.nan,
    }  # fmt: skip


def _status(outing: Codes, is_a: npt.NDArray[np.bool_], shared: npt.NDArray[np.bool_]) -> str:
    if shared.any():
        return COMPARED
    together = np.intersect1d(outing[is_a], outing[~is_a]).size > 0
    return DIFFERENT_LIGHT if together else DIFFERENT_OUTINGS


def _judged(pairs: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    level = claim_level(settings)
    adjusted = benjamini_hochberg(pairs["p_value"].to_numpy(float))
    sign = np.sign(pairs["difference"].to_numpy(float))
    agreed = sign == np.sign(pairs["frame_difference"].to_numpy(float))
    claimed = (adjusted < level) & agreed & (sign != 0)
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
        # Unequal numbers of shared bursts show as much as two equal ones of their harmonic mean.
        pair = row.shared_a + row.shared_b
        present = 2 * row.shared_a * row.shared_b / pair if pair else 0.0
        more.append(max(0, int(np.ceil(needed - present))))
    return pairs.assign(
        p_adjusted=adjusted,
        better=pd.Series(np.where(claimed, better, None), index=pairs.index, dtype="str"),
        more_bursts=pd.array(more, dtype="Int64"),
    )
