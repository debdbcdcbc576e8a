"""Which frames count, and which of them belong to one burst."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.frames import COUNTED_BY, KEEPER, LEFT_OUT, captured_s

Codes = npt.NDArray[np.intp]
# What tolerance and causes are read off.
_BLURRED = (
    "file", "session", "burst", "preset", "counted_as", "lens", "focal_length_mm", "f_number",
    "focus_distance_m", "ring_shift_mm", "exposure_time_s", "flash", "flash_duration_s", "subject_distance_m",
    "subject_distance_rel_sd", "sensor_width_mm", "sensor_height_mm", "coc_mm", "blur_mm", "sharp",
    "sample_weight", "drawn",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CountedFrames:
    """What every count starts from, made once of a frame table by :func:`count_frames`."""

    table: pd.DataFrame  # every frame
    frames: pd.DataFrame  # the n counted ones that were zone-focused, with a fresh index
    kept: npt.NDArray[np.bool_]  # (n,)
    press: Codes  # (n,): each frame's burst, 0 and up; another preset is another burst
    blurred: pd.DataFrame  # of the frames those with a finite blur, in fewer columns; press, kept, burst_hit


def count_frames(table: pd.DataFrame) -> CountedFrames:
    """Choose the frames that count and number their bursts.

    Reads ``counted_as, in_preset, session, burst, preset, blur_mm, subject_distance_m``.
    """
    frames = zone_focused(table)
    press, kept = burst_codes(frames, "preset"), is_keeper(frames)
    blur = frames["blur_mm"].to_numpy(float)
    known = np.isfinite(blur) & (blur > 0) & (frames["subject_distance_m"].to_numpy(float) > 0)
    alike = burst_codes(frames)
    hit = (np.bincount(alike, kept, minlength=1) > 0)[alike]
    blurred = frames.filter(_BLURRED).iloc[known].reset_index(drop=True)
    blurred = blurred.assign(press=alike[known], kept=kept[known], burst_hit=hit[known])
    return CountedFrames(table, frames, kept, press, blurred)


def zone_focused(table: pd.DataFrame) -> pd.DataFrame:
    """Return the counted frames that were zone-focused, in the columns that count, with a fresh index."""
    return table.filter(COUNTED_BY)[is_counted(table) & in_preset(table)].reset_index(drop=True)


def is_counted(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell which frames count: everything but those left out, shape (n,)."""
    return np.asarray(table["counted_as"].notna() & (table["counted_as"] != LEFT_OUT), dtype=bool)


def in_preset(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell which frames have a whole preset and were zone-focused, shape (n,)."""
    return np.asarray(table["in_preset"].fillna(False), dtype=bool)


def is_keeper(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell for each frame whether it counts as a keeper, shape (n,)."""
    return np.asarray((table["counted_as"] == KEEPER).fillna(False), dtype=bool)


def count_presses(frames: pd.DataFrame) -> tuple[npt.NDArray[np.bool_], Codes, Codes]:
    """Whether each press (a burst at one preset) holds a keeper, its session's number, and its first frame.

    Reads ``session, burst, preset, counted_as`` of counted frames; shapes (presses,).
    """
    press = burst_codes(frames, "preset")
    _, first = np.unique(press, return_index=True)
    session = frames["session"].to_numpy(float, na_value=-1.0)[first]
    hit = np.bincount(press, is_keeper(frames)) > 0
    return hit, pd.factorize(session)[0].astype(np.intp), first


def burst_codes(table: pd.DataFrame, *further: str) -> Codes:
    """Return the number of each frame's burst, 0, 1, ... in order of appearance, shape (n,).

    Reads ``session, burst`` and the columns in ``further``, whose change splits a burst as well. A frame
    whose burst is unknown is a burst of its own.
    """
    burst, session = (table[name].to_numpy(float, na_value=np.nan) for name in ("burst", "session"))
    alone = np.isnan(burst)
    burst = np.where(alone, np.arange(len(table)), burst)
    code = combined_codes(alone, session, burst)
    return combined_codes(code, *(table[name] for name in further)) if further else code


def combined_codes(*columns: Any) -> Codes:
    """Number the combinations of some columns in order of appearance, shape (n,); unknown is a value too."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        own, names = pd.factorize(column, use_na_sentinel=False)
        code = pd.factorize(code * max(len(names), 1) + own)[0]
    return np.asarray(code, dtype=np.intp)


def number_runs(table: pd.DataFrame, group: Codes) -> Codes:
    """Number the runs, 0 and up, shape (n,): frames of one camera and session in one group, in a row.

    Another group's frame between them ends a run. Frames without a capture time come last. Reads ``camera,
    session, captured_at``.
    """
    camera = pd.factorize(table["camera"])[0]
    session = table["session"].to_numpy(dtype=float, na_value=-1.0)
    order = np.lexsort((captured_s(table), camera))
    key = np.stack([camera, session, group])[:, order]
    new = (np.diff(key, axis=1) != 0).any(axis=0)
    run = np.zeros(len(table), dtype=np.intp)
    run[order[1:]] = np.cumsum(new)
    return run
