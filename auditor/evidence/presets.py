"""Which zone setting each frame was taken with, which frames belong to one burst, and what each brought.

Declared presets keep their names. Other frames are grouped by lens, focal length, f-number and focus
distance, snapped to the lens's ring engravings; snapping only names the group.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from auditor.evidence.bursts import is_keeper, zone_focused
from auditor.evidence.rates import hit_rates
from auditor.evidence.sharpness import SHARP_COLUMNS, judged_frames, sharp_rates
from auditor.evidence.shrinkage import shrunken_rates
from auditor.evidence.weighted_shares import Sampled, weighted_shares
from auditor.evidence.weights import sampled_frames
from auditor.frames import captured_s
from auditor.optics.rings import USUAL_RING_M
from auditor.units import METRES_PER_FOOT, format_distance, format_f_number

BURST_GAP_S = 2.0
SMALLEST_PRESET = 5  # frames; smaller ones are pooled as "other" in tables and charts
OTHER = "other"
BANDS_M = (0.0, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, np.inf)
BANDS_FT = (0.0, 3.0, 5.0, 7.0, 10.0, 15.0, 30.0, np.inf)
AUTOFOCUS_STEP = 0.10  # relative change between neighbouring bursts that an untouched ring does not make
SAME_SETTING = 0.03  # relative; recorded values are rounded, third stops differ by 12 %
AUTOFOCUS_PAIRS = 4  # fewer neighbouring bursts than this tell nothing


def snap_to_ring(focus_distance_m: np.ndarray, ring_m: Iterable[float]) -> np.ndarray:
    """Nearest engraving, by reciprocal distance since that is how rings are spaced; NaN stays NaN.

    Examples
    --------
    >>> snap_to_ring(np.array([2.4, 40.0]), USUAL_RING_M).tolist()
    [2.5, inf]
    """
    engravings = np.array(sorted(ring_m))
    reciprocal = 1.0 / engravings
    with np.errstate(divide="ignore"):
        wanted = 1.0 / np.asarray(focus_distance_m, dtype="float64")
    nearest = np.abs(wanted[:, None] - reciprocal).argmin(axis=1)
    return np.where(np.isnan(wanted), np.nan, engravings[nearest])


def find_autofocused(table: pd.DataFrame) -> np.ndarray:
    """Frames of a lens that was autofocused rather than zone-focused, shape (n,) of bool.

    A lens counts as autofocused in a session when its recorded focus distance changes by more than a tenth
    between most neighbouring bursts and no stretch or note covers it.
    """
    autofocused = np.zeros(len(table), dtype=bool)
    recorded = table["focus_distance_source"].isin(["exif", "xmp"]) & table["stated_preset"].isna()
    recorded &= table["focus_distance_m"].notna() & table["captured_at"].notna()
    chosen = table[recorded]
    if not len(chosen):
        return autofocused
    keys = [chosen["session"], chosen["camera"].fillna(""), chosen["lens"].fillna("")]
    times = captured_s(chosen)
    lens = chosen.groupby(keys, sort=False).ngroup().to_numpy()
    order = np.lexsort((times, lens))
    lens, times = lens[order], times[order]
    starts = (np.diff(lens, prepend=-1) != 0) | (np.diff(times, prepend=-np.inf) > BURST_GAP_S)
    with np.errstate(divide="ignore"):
        vergence = 1.0 / chosen["focus_distance_m"].to_numpy()[order][starts]
    changed = np.abs(np.diff(vergence)) > AUTOFOCUS_STEP * np.fmax(vergence[1:], vergence[:-1])
    pair_of = lens[starts][1:]
    same = pair_of == lens[starts][:-1]
    pairs = np.bincount(pair_of[same], minlength=lens[-1] + 1)
    changes = np.bincount(pair_of[same & changed], minlength=lens[-1] + 1)
    moving = (pairs >= AUTOFOCUS_PAIRS) & (changes > 0.5 * pairs)
    autofocused[np.flatnonzero(recorded.to_numpy())[order]] = moving[lens]
    return autofocused


def name_presets(table: pd.DataFrame, rings: Iterable[tuple[np.ndarray, Iterable[float]]]) -> pd.DataFrame:
    """Return the table with ``preset``, ``preset_source`` and ``in_preset`` filled.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table with a fresh index; declared presets stand in ``stated_preset``.
    rings : iterable of (rows, engravings)
        Rows whose lens has engravings of its own [m]; every other row uses the usual ones.
    """
    complete = table[["focal_length_mm", "f_number", "focus_distance_m"]].notna().all(axis=1).to_numpy()
    in_preset = complete & ~find_autofocused(table)
    focus = table["focus_distance_m"].to_numpy("float64")
    snapped = snap_to_ring(focus, USUAL_RING_M)
    for rows, engravings in rings:
        snapped[rows] = snap_to_ring(focus[rows], engravings)
    stated = table["stated_preset"].notna().to_numpy()
    grouped = in_preset & ~stated
    recorded = table["focus_distance_source"].isin(["exif", "xmp"]).to_numpy(bool)
    names = _split_names(table, stated & complete, np.where(recorded, snapped, focus))
    names[~(stated & complete)] = None
    parts = table.loc[grouped, ["lens", "focal_length_mm", "f_number"]].assign(snapped=snapped[grouped])
    kind = parts.groupby(list(parts.columns), sort=False, dropna=False).ngroup().to_numpy()
    unique = parts.drop_duplicates()
    shown = np.array([_group_name(*key) for key in unique.itertuples(index=False, name=None)], dtype=object)
    names[grouped] = shown[kind]
    preset = pd.Series(names, index=table.index, dtype="str")
    return table.assign(
        preset=preset,
        preset_source=table["stated_preset_source"].where(~grouped, "grouped").where(preset.notna()),
        in_preset=pd.Series(in_preset, index=table.index, dtype="boolean"),
    )


def _split_names(table: pd.DataFrame, chosen: np.ndarray, focus_m: np.ndarray) -> np.ndarray:
    """Declared names; one under which several settings lie is split, so that no zone is of several."""
    own = table.loc[chosen, ["stated_preset", "lens", "focal_length_mm", "f_number"]].assign(
        focus_distance_m=focus_m[chosen]
    )
    kinds = pd.DataFrame({"lens": own["lens"].fillna("")}).assign(
        **{name: _same_settings(own[name].to_numpy("float64")) for name in own.columns[2:]}
    )
    names = table["stated_preset"].to_numpy(object, copy=True)
    several = kinds.groupby(own["stated_preset"]).agg(pd.Series.nunique) > 1
    for name, differs in several[several.any(axis=1)].iterrows():
        rows = (own["stated_preset"] == name).to_numpy()
        keys = kinds.loc[rows, differs[differs].index.tolist()]
        for _, part in own[rows].groupby([keys[key] for key in keys], sort=False):
            middle = part.median(numeric_only=True)
            names[part.index] = f"{name} ({_what_differs(part.iloc[0], middle, differs)})"
    return np.asarray(names)


def _what_differs(frame: pd.Series, middle: pd.Series, differs: pd.Series) -> str:
    """The settings by which one part of a declared preset differs from the others."""
    focal = f"{middle['focal_length_mm']:.3g} mm"
    lens = frame["lens"] if isinstance(frame["lens"], str) else focal
    words = {
        "lens": lens,
        "focal_length_mm": "" if differs["lens"] and focal.split()[0] in lens else focal,
        "f_number": format_f_number(middle["f_number"]),
        "focus_distance_m": f"at {format_distance(middle['focus_distance_m'])}",
    }
    return ", ".join(word for key, word in words.items() if differs[key] and word)


def _same_settings(values: np.ndarray) -> np.ndarray:
    """Number of the setting that each value is; those with no gap of 3 % between them are one."""
    unique, codes = np.unique(values, return_inverse=True)
    if not len(unique):
        return np.asarray(codes)
    steps = np.diff(np.log(np.minimum(unique, 1e9))) > SAME_SETTING
    return np.asarray(np.concatenate([[0], np.cumsum(steps)])[codes])


def _group_name(lens: object, focal_length_mm: float, f_number: float, snapped_m: float) -> str:
    body = lens if isinstance(lens, str) else f"{focal_length_mm:.3g} mm"
    if isinstance(lens, str) and f"{focal_length_mm:.3g}" not in lens:
        body = f"{lens} {focal_length_mm:.3g} mm"
    return f"{body}, {format_f_number(f_number)} at {format_distance(snapped_m)}"


def number_bursts(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with bursts numbered: one camera, one preset, each within 2 s of the one before."""
    times = captured_s(table)
    cameras = pd.factorize(table["camera"].fillna(""))[0]
    presets = pd.factorize(table["preset"].fillna(""))[0]
    order = np.lexsort((times, presets, cameras))
    with np.errstate(invalid="ignore"):
        together = (
            (np.diff(cameras[order]) == 0)
            & (np.diff(presets[order]) == 0)
            & (np.diff(times[order]) <= BURST_GAP_S)
        )
    label = np.concatenate([[0], np.cumsum(~together)]) if len(table) else np.zeros(0, dtype=int)
    burst = np.empty(len(table), dtype="int64")
    burst[order] = label
    # Number in order of first appearance in time, so that neighbours have neighbouring numbers.
    first = pd.Series(np.where(np.isnan(times), np.inf, times)).groupby(burst).min()
    rank = first.rank(method="first").astype("int64")
    return table.assign(burst=pd.array(rank.loc[burst].to_numpy(), dtype="Int64"))


def count_presets(table: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Hit rate of each preset by bursts and by frames, with intervals, the most used one first.

    Parameters
    ----------
    table : pandas.DataFrame
        Whole frame table, with presets and bursts.
    confidence : float
        Level of the intervals.

    Returns
    -------
    pandas.DataFrame
        The columns of the contract's ``presets``, then ``frames_taken`` and ``shrunk_rate``. Presets of
        which no frame counts have 0 frames and unknown rates.
    """
    used = table[table["in_preset"].fillna(False).astype(bool)]
    taken = used.groupby("preset", sort=False)
    settings = taken[list(_SETTINGS)].median().assign(frames_taken=taken.size())
    settings["lens"] = taken["lens"].first()  # a preset is of one lens
    rates = hit_rates(zone_focused(table), ["preset"], confidence).set_index("preset")
    rates["shrunk_rate"] = shrunken_rates(rates["hits"], rates["bursts"])  # costs more than all the rest
    result = settings.join(rates).join(_sharp_of_presets(table, confidence)).reset_index()
    counts = [*_COUNTS, "sharp", "sharp_judged"]
    result[counts] = result[counts].fillna(0).astype("int64")
    # Presses an hour, of which that share is sharp: the time is the one that keepers are counted over.
    with np.errstate(divide="ignore", invalid="ignore"):
        hours = result["keepers"] / result["keepers_per_hour"]
        result["sharp_per_hour"] = result["sharp_rate"] * result["bursts"] / hours
    further = [*SHARP_COLUMNS, "sharp_per_hour", "frames_taken", "shrunk_rate"]
    result = result.reindex(columns=["preset", "lens", *_SETTINGS, *RATE_COLUMNS, *further])
    return result.sort_values("frames", ascending=False, kind="stable").reset_index(drop=True)


def _sharp_of_presets(table: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Sharp ones of those judged, by preset."""
    chosen, sampled = judged_frames(table)
    group, names = pd.factorize(chosen["preset"], sort=True)
    rates = sharp_rates(chosen, sampled, group.astype(np.intp), len(names), confidence)
    return rates.set_index(pd.Index(names, name="preset", dtype="object"))


_SETTINGS = ("focal_length_mm", "f_number", "focus_distance_m", "near_limit_m", "far_limit_m")
_COUNTS = ("bursts", "hits", "frames", "keepers")
RATE_COLUMNS = (
    "bursts", "hits", "hit_rate", "low", "high", "frames", "keepers", "frame_rate", "frame_low", "frame_high",
    "keepers_per_hour", "per_hour_low", "per_hour_high",
)  # fmt: skip


def count_distances(table: pd.DataFrame, confidence: float, units: str = "m") -> pd.DataFrame:
    """Share of frames kept in each distance band, over all presets (``preset`` missing) and for each preset.

    Returns
    -------
    pandas.DataFrame
        ``preset, from_m, to_m``; ``frames, keepers`` as they are; ``frame_rate, frame_low, frame_high``, put
        back to all frames; and ``times_overall``, the rate over that at all distances of the same row. Bands
        without a frame are left out. A band holds its lower edge.
    """
    edges = np.array(BANDS_M) if units == "m" else np.array(BANDS_FT) * METRES_PER_FOOT
    drawn, sampled = sampled_frames(zone_focused(table))
    band = np.searchsorted(edges, drawn["subject_distance_m"].to_numpy(), side="right") - 1
    drawn = drawn.assign(band=np.minimum(band, len(edges) - 2), kept=is_keeper(drawn))
    together = _bands(drawn.assign(preset=""), sampled, confidence).assign(preset=None)
    apart = _bands(drawn, sampled, confidence)
    order = {name: number for number, name in enumerate(dict.fromkeys(drawn["preset"]))}
    apart = apart.sort_values("preset", key=lambda names: names.map(order), kind="stable")
    bands = pd.concat([together, apart], ignore_index=True)
    numbers = bands["band"].to_numpy(dtype=int)
    bands = bands.assign(from_m=edges[numbers], to_m=edges[numbers + 1])
    bands = bands.merge(_sharp_of_bands(table, edges, confidence), on=["preset", "from_m"], how="left")
    bands[["sharp", "sharp_judged"]] = bands[["sharp", "sharp_judged"]].fillna(0).astype("int64")
    columns = [
        "preset", "from_m", "to_m", "frames", "keepers", "frame_rate", "frame_low", "frame_high",
        *SHARP_COLUMNS, "times_overall",
    ]  # fmt: skip
    return bands.reindex(columns=columns).astype({"preset": "str"})


def _sharp_of_bands(table: pd.DataFrame, edges: np.ndarray, confidence: float) -> pd.DataFrame:
    """Sharp ones of those judged, by distance band: of all presets (``preset`` missing) and of each."""
    chosen, sampled = judged_frames(table)
    distance = chosen["subject_distance_m"].to_numpy(float)
    band = np.clip(np.searchsorted(edges, distance, side="right") - 1, 0, len(edges) - 2)
    own, names = pd.factorize(chosen["preset"])
    known = distance > 0
    masks = [(None, known), *((name, known & (own == code)) for code, name in enumerate(names))]
    parts = []
    for preset, mask in masks:
        group = np.where(mask, band, -1).astype(np.intp)
        rates = sharp_rates(chosen, sampled, group, len(edges) - 1, confidence)
        parts.append(rates.assign(preset=preset, from_m=edges[:-1])[rates["sharp_judged"] > 0])
    return pd.concat(parts, ignore_index=True).astype({"preset": "object"})


def _bands(drawn: pd.DataFrame, sampled: Sampled, confidence: float) -> pd.DataFrame:
    """Count frames and keepers of each preset's bands, and the shares kept."""
    grouped = drawn.groupby(["preset", "band"], sort=True)
    counts = grouped["kept"].agg(frames="size", keepers="sum").reset_index()
    shares = weighted_shares(drawn["kept"], grouped.ngroup(), len(counts), sampled, confidence)
    own, names = pd.factorize(drawn["preset"])
    whole = weighted_shares(drawn["kept"], own, len(names), sampled, confidence)
    overall = counts["preset"].map(dict(zip(names, whole.rate, strict=True))).to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        times = np.where(overall > 0, shares.rate / overall, np.nan)
    return counts.assign(
        frame_rate=shares.rate, frame_low=shares.low, frame_high=shares.high, times_overall=times
    )


def pool_small(presets: pd.DataFrame, table: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Preset table for reading: those with fewer than five counted frames are pooled as ``other``."""
    small = presets["frames"] < SMALLEST_PRESET
    if small.sum() < 2:
        return presets
    marked = zone_focused(table)
    marked = marked[marked["preset"].isin(presets.loc[small, "preset"])]
    pooled = hit_rates(marked.assign(preset=OTHER), ["preset"], confidence)
    if not len(pooled):
        pooled = pd.DataFrame([{"preset": OTHER, **dict.fromkeys(_COUNTS, 0)}])
    pooled["frames_taken"] = int(presets.loc[small, "frames_taken"].sum())
    return pd.concat([presets[~small], pooled], ignore_index=True)


def count_sessions(table: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Frames and hit rate of each session, in order of time.

    Returns
    -------
    pandas.DataFrame
        ``session, starts_at, ends_at, frames_taken`` and the rates; unknown where no frame counts. Then
        ``first_file`` and ``last_file``, its frames' names, which tell rolls without times apart.
    """
    grouped = table.groupby("session", sort=True)
    taken, names = grouped["captured_at"], grouped["file"]
    spans = pd.DataFrame({"starts_at": taken.min(), "ends_at": taken.max(), "frames_taken": taken.size()})
    rates = hit_rates(zone_focused(table), ["session"], confidence).set_index("session")
    result = (
        spans.join(rates[list(RATE_COLUMNS)])
        .assign(first_file=names.first(), last_file=names.last())
        .reset_index()
    )
    result[list(_COUNTS)] = result[list(_COUNTS)].fillna(0).astype("int64")
    return result


def count_all(table: pd.DataFrame, confidence: float) -> dict[str, float]:
    """Rates of everything that counts, keys as :data:`RATE_COLUMNS`; zeros and NaN where nothing does."""
    rates = hit_rates(zone_focused(table).assign(all=True), ["all"], confidence)
    if not len(rates):
        return dict.fromkeys(RATE_COLUMNS, float("nan")) | dict.fromkeys(_COUNTS, 0)
    return {name: rates[name].iloc[0].item() for name in RATE_COLUMNS}
