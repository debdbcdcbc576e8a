"""Which zone setting each frame was taken with, which frames belong to one burst, and what each brought.

Declared presets keep their names. Other frames are grouped by lens, focal length, f-number and focus
distance, snapped to the lens's ring engravings; snapping only names the group.
"""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from auditor.evidence.bursts import Codes, CountedFrames, in_preset, is_keeper
from auditor.evidence.rates import RATE_COLUMNS, hit_rates
from auditor.evidence.sharpness import SHARP_COLUMNS, JudgedFrames, sharp_rates
from auditor.evidence.weighted_shares import weighted_shares
from auditor.evidence.weights import SAMPLED_BY, sampled_frames
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
AUTOFOCUS_PAIRS = 4  # with fewer neighbouring bursts nothing is concluded


def snap_to_ring(focus_distance_m: np.ndarray, ring_m: Iterable[float]) -> np.ndarray:
    """Nearest engraving, by reciprocal distance since that is how rings are spaced; NaN stays NaN.

    >>> snap_to_ring(np.array([2.4, 40.0]), USUAL_RING_M).tolist()
    [2.5, inf]
    """
    engravings = np.array(sorted(ring_m))
    with np.errstate(divide="ignore"):
        wanted, place = np.unique(1.0 / np.asarray(focus_distance_m, dtype="float64"), return_inverse=True)
    nearest = np.abs(wanted[:, None] - 1.0 / engravings).argmin(axis=1)
    return np.where(np.isnan(wanted), np.nan, engravings[nearest])[place]


def find_autofocused(table: pd.DataFrame) -> np.ndarray:
    """Frames of a lens that was autofocused rather than zone-focused, shape (n,) of bool.

    A lens counts as autofocused in a session when its recorded focus distance changes by more than a tenth
    between most neighbouring bursts and no stretch or note covers it. Reads ``focus_distance_source,
    focus_distance_m, stated_preset, captured_at, session, camera, lens``.
    """
    autofocused = np.zeros(len(table), dtype=bool)
    recorded = table["focus_distance_source"].isin(["exif", "xmp"]) & table["stated_preset"].isna()
    recorded &= table["focus_distance_m"].notna() & table["captured_at"].notna()
    chosen = table.loc[recorded, ["session", "camera", "lens", "captured_at", "focus_distance_m"]]
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
    """Return the table, which has a fresh index, with ``preset``, ``preset_source`` and ``in_preset`` filled.

    ``rings``: rows whose lens has engravings of its own [m]; every other row uses the usual ones. Reads
    ``stated_preset, stated_preset_source, lens``, the setting, and what :func:`find_autofocused` reads.
    """
    complete = table[["focal_length_mm", "f_number", "focus_distance_m"]].notna().all(axis=1).to_numpy()
    focused = complete & ~find_autofocused(table)
    focus = table["focus_distance_m"].to_numpy("float64")
    snapped = snap_to_ring(focus, USUAL_RING_M)
    for rows, engravings in rings:
        snapped[rows] = snap_to_ring(focus[rows], engravings)
    stated = table["stated_preset"].notna().to_numpy()
    grouped = focused & ~stated
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
        in_preset=pd.Series(focused, index=table.index, dtype="boolean"),
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
        same = (np.diff(np.stack([cameras, presets])[:, order]) == 0).all(axis=0)
        together = same & (np.diff(times[order]) <= BURST_GAP_S)
    label = np.concatenate([[0], np.cumsum(~together)]) if len(table) else np.zeros(0, dtype=int)
    burst = np.empty(len(table), dtype="int64")
    burst[order] = label
    # Number in order of first appearance in time, so that neighbours have neighbouring numbers.
    first = pd.Series(np.where(np.isnan(times), np.inf, times)).groupby(burst).min()
    rank = first.rank(method="first").astype("int64")
    return table.assign(burst=pd.array(rank.loc[burst].to_numpy(), dtype="Int64"))


def count_presets(counted: CountedFrames, judged: JudgedFrames, confidence: float) -> pd.DataFrame:
    """Hit rate and sharp share of each preset, with intervals, the most used one first.

    Columns of the contract's ``presets``, then ``frames_taken``; presets of which no frame counts have 0
    frames and unknown rates. Reads ``in_preset, preset, lens``, the setting and its zone, and what
    :func:`hit_rates` reads.
    """
    used = counted.table.loc[in_preset(counted.table), ["preset", "lens", *_SETTINGS]]
    taken = used.groupby("preset", sort=False)
    settings = taken[list(_SETTINGS)].median().assign(frames_taken=taken.size())
    settings["lens"] = taken["lens"].first()  # a preset is of one lens
    rates = hit_rates(counted.frames, "preset", confidence).set_index("preset")
    group, names = pd.factorize(judged.frames["preset"], sort=True)
    sharp = sharp_rates(judged, group.astype(np.intp), len(names), confidence)
    sharp = sharp.set_index(pd.Index(names, name="preset", dtype="object"))
    result = settings.join(rates).join(sharp).reset_index()
    counts = [*_COUNTS, "sharp", "sharp_judged"]
    result[counts] = result[counts].fillna(0).astype("int64")
    # Presses an hour, of which that share is sharp: the time is the one that keepers are counted over.
    with np.errstate(divide="ignore", invalid="ignore"):
        hours = result["keepers"] / result["keepers_per_hour"]
        result["sharp_per_hour"] = result["sharp_rate"] * result["bursts"] / hours
    further = [*SHARP_COLUMNS, "sharp_per_hour", "frames_taken"]
    result = result.reindex(columns=["preset", "lens", *_SETTINGS, *RATE_COLUMNS, *further])
    return result.sort_values("frames", ascending=False, kind="stable").reset_index(drop=True)


_SETTINGS = ("focal_length_mm", "f_number", "focus_distance_m", "near_limit_m", "far_limit_m")
_COUNTS = ("bursts", "hits", "frames", "keepers")


def count_distances(
    counted: CountedFrames, judged: JudgedFrames, confidence: float, units: str = "m"
) -> pd.DataFrame:
    """Share of frames kept in each distance band, over all presets (``preset`` missing) and for each preset.

    Columns ``preset, from_m, to_m``; ``frames, keepers`` as they are; ``frame_rate, frame_low, frame_high``,
    put back to all frames; those judged sharp; and ``times_overall``, the rate over that at all distances of
    the same row. Bands without a frame are left out; a band holds its lower edge. Reads
    ``subject_distance_m, preset, counted_as, sample_weight, drawn, session, burst``.
    """
    edges = np.array(BANDS_M) if units == "m" else np.array(BANDS_FT) * METRES_PER_FOOT
    drawn, sampled = sampled_frames(counted.frames[SAMPLED_BY])
    kept, distance = is_keeper(drawn), drawn["subject_distance_m"].to_numpy(float)
    of_judged = judged.frames["subject_distance_m"].to_numpy(float)
    band, judged_band = (_band_of(metres, edges) for metres in (distance, of_judged))
    parts = []
    for preset in (None, *pd.concat([drawn["preset"], judged.frames["preset"]]).dropna().unique()):
        own = np.ones(len(drawn), bool) if preset is None else (drawn["preset"] == preset).to_numpy(bool)
        mine = judged_band if preset is None else np.where(judged.frames["preset"] == preset, judged_band, -1)
        group = np.where(own, band, -1)
        shares = weighted_shares(kept, group, len(edges) - 1, sampled, confidence)
        overall = weighted_shares(kept, np.where(own, 0, -1), 1, sampled, confidence).rate
        size, keepers = (np.bincount(band[rows], minlength=len(edges) - 1) for rows in (own, own & kept))
        with np.errstate(divide="ignore", invalid="ignore"):
            times = shares.rate / overall  # unknown where nothing was kept at all: 0 / 0
        rows = pd.DataFrame(
            {"preset": preset, "from_m": edges[:-1], "to_m": edges[1:], "frames": size, "keepers": keepers}
            | {"frame_rate": shares.rate, "frame_low": shares.low, "frame_high": shares.high}
            | dict(sharp_rates(judged, mine, len(edges) - 1, confidence))
            | {"times_overall": times}
        )
        parts.append(rows[(size > 0) | (rows["sharp_judged"] > 0)])
    return pd.concat(parts, ignore_index=True).astype({"preset": "str"})


def _band_of(distance_m: np.ndarray, edges: np.ndarray) -> Codes:
    """Band of each distance, -1 where it is unknown."""
    band = np.clip(np.searchsorted(edges, distance_m, side="right") - 1, 0, len(edges) - 2)
    return np.where(distance_m > 0, band, -1)


def pool_small(presets: pd.DataFrame, counted: CountedFrames, confidence: float) -> pd.DataFrame:
    """Preset table for reading: those with fewer than five counted frames are pooled as ``other``."""
    small = presets["frames"] < SMALLEST_PRESET
    if small.sum() < 2:
        return presets
    marked = counted.frames[counted.frames["preset"].isin(presets.loc[small, "preset"])]
    pooled = hit_rates(marked.assign(preset=OTHER), "preset", confidence)
    if not len(pooled):
        pooled = pd.DataFrame([{"preset": OTHER, **dict.fromkeys(_COUNTS, 0)}])
    pooled["frames_taken"] = int(presets.loc[small, "frames_taken"].sum())
    return pd.concat([presets[~small], pooled], ignore_index=True)


def count_sessions(counted: CountedFrames, confidence: float) -> pd.DataFrame:
    """Frames and hit rate of each session, in order of time; rates are unknown where no frame counts.

    Columns ``session, starts_at, ends_at, frames_taken``, :data:`RATE_COLUMNS`, then ``first_file`` and
    ``last_file``, its frames' names, which tell rolls without times apart. Reads ``session, captured_at,
    file`` and what :func:`hit_rates` reads.
    """
    grouped = counted.table.groupby("session", sort=True)
    taken, names = grouped["captured_at"], grouped["file"]
    spans = pd.DataFrame({"starts_at": taken.min(), "ends_at": taken.max(), "frames_taken": taken.size()})
    rates = hit_rates(counted.frames, "session", confidence).set_index("session")
    result = spans.join(rates).assign(first_file=names.first(), last_file=names.last()).reset_index()
    result[list(_COUNTS)] = result[list(_COUNTS)].fillna(0).astype("int64")
    return result


def count_flash(counted: CountedFrames, confidence: float) -> pd.DataFrame:
    """Hit rates without a flash and with one, where both occur; no row otherwise, or where files say nothing.

    Columns ``flash`` and :data:`RATE_COLUMNS`. Reads ``flash`` and what :func:`hit_rates` reads.
    """
    rates = hit_rates(counted.frames, "flash", confidence)
    return rates if len(rates) == 2 else rates.head(0)


def count_all(counted: CountedFrames, confidence: float) -> dict[str, float]:
    """Rates of everything that counts, keys as :data:`RATE_COLUMNS`; zeros and NaN where nothing does."""
    rates = hit_rates(counted.frames.assign(all=True), "all", confidence)
    if not len(rates):
        return dict.fromkeys(RATE_COLUMNS, float("nan")) | dict.fromkeys(_COUNTS, 0)
    return {name: rates[name].iloc[0].item() for name in RATE_COLUMNS}
