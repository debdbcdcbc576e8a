"""For how many frames each frame with a subject distance stands.

Distances are known for some frames only, and mostly for a drawn sample that holds keepers more readily than
others. Within a preset and a mark (keeper, not kept) the frames with a distance stand for all that count, so
shares among them are put back to all frames. It does not matter how a distance came.
"""

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import Codes, CountedFrames, burst_codes, combined_codes, in_preset, is_counted
from auditor.evidence.proportions import Floats
from auditor.evidence.weighted_shares import Sampled

MOST_STAND_OUT = 0.5  # of a preset's counted frames


def add_weights(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with ``sample_weight`` made from its distances, and with ``drawn``.

    The weight is counted frames over counted frames with a distance, within preset and mark. A frame with a
    distance that nobody drew speaks for those of its burst and mark that have none (people note one frame of
    a burst); a drawn frame was drawn for itself. Drawn frames that still wait for a distance keep the weight
    that came with the sample; all others have none. Reads ``preset, in_preset, counted_as, session, burst,
    subject_distance_m`` and ``sample_weight`` as it came.
    """
    came_with = table["sample_weight"].to_numpy(float)
    drawn = was_drawn(table)
    known = has_distance(table)
    weight = np.where(known, np.nan, came_with)
    rows = np.flatnonzero(is_counted(table) & in_preset(table))
    cells = _cells(table.iloc[rows])
    speaks = known[rows]
    burst = burst_codes(table.iloc[rows].assign(_cell=cells), "_cell")
    carried = np.where(drawn[rows], 1.0, stands_for(burst, speaks))
    frames = np.bincount(cells, minlength=1)
    heard = np.bincount(cells, carried * speaks, minlength=frames.size)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = np.where(speaks, carried * (frames / heard)[cells], np.nan)
    # Where most frames of a preset lie in cells that nobody speaks for, the preset stays out.
    silent = np.bincount(cells, speaks, minlength=1)[cells] == 0
    preset = pd.factorize(table["preset"].iloc[rows].fillna(""))[0]
    unheard_of = np.bincount(preset, silent, minlength=1) > MOST_STAND_OUT * np.bincount(preset, minlength=1)
    own[speaks & unheard_of[preset]] = np.nan
    weight[rows] = np.where(speaks, own, weight[rows])
    return table.assign(sample_weight=weight, drawn=pd.array(drawn, dtype="boolean"))


def has_distance(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell which frames have a subject distance, shape (n,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray(table["subject_distance_m"].to_numpy(float) > 0)


def was_drawn(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Tell which frames were drawn by chance, shape (n,): in a table not weighed yet, those with a weight."""
    if not table["drawn"].notna().any():
        return np.asarray(table["sample_weight"].notna(), dtype=bool)
    return np.asarray(table["drawn"].fillna(False), dtype=bool)


def weights_of(frames: pd.DataFrame) -> Floats:
    """Return for how many frames each one stands, shape (n,): 0 for those that stand out.

    Frames of a table that was never weighed stand for themselves.
    """
    weight = frames["sample_weight"].to_numpy(float)
    known = has_distance(frames)
    if not np.isfinite(weight[known]).any() and not frames["drawn"].notna().any():
        return known.astype(float)
    return np.where(known & np.isfinite(weight), np.maximum(weight, 0.0), 0.0)


def sampled_frames(frames: pd.DataFrame) -> tuple[pd.DataFrame, Sampled]:
    """Return those of counted frames that stand for others, with a fresh index, and how they were drawn.

    Reads ``preset, counted_as, session, burst, subject_distance_m, sample_weight, drawn``.
    """
    weight = weights_of(frames)
    rows = weight > 0
    chosen = frames[rows].reset_index(drop=True)
    return chosen, Sampled(weight[rows], _cells(chosen), burst_codes(chosen))


def unheard(counted: CountedFrames) -> pd.DataFrame:
    """Return the cells of preset and mark whose frames stay out of every share over distance.

    Columns ``preset, counted_as, frames``; empty where no frame has a distance, or every cell is spoken for.
    """
    weight = weights_of(counted.frames)
    spoken = counted.frames.assign(heard=weight > 0).groupby(["preset", "counted_as"], sort=True)["heard"]
    cells = spoken.agg(["size", "any"]).reset_index()
    silent = cells[~cells["any"]] if (weight > 0).any() else cells.head(0)
    return silent.drop(columns="any").rename(columns={"size": "frames"}).reset_index(drop=True)


def _cells(frames: pd.DataFrame) -> Codes:
    """Return the number of each frame's preset and mark, shape (n,)."""
    return combined_codes(frames["preset"].fillna(""), frames["counted_as"].fillna(""))


def stands_for(cells: Codes, speaks: npt.NDArray[np.bool_]) -> Floats:
    """Frames of each frame's cell over those of them that speak, shape (n,)."""
    size, heard = np.bincount(cells, minlength=1), np.bincount(cells, speaks, minlength=1)
    return np.asarray((size / np.maximum(heard, 1))[cells])
