"""Blur that was measured in the pictures against blur that optics predicts, and who was measured at all.

Faces are missed more often the more they are blurred, so whether a frame is measured hangs on its outcome:
the share measured among keepers stands beside that among the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.burst_blur import blur_nodes, error_of_guess, frame_optics
from auditor.evidence.bursts import counted_frames, is_keeper
from auditor.evidence.proportions import Floats, newcombe_difference
from auditor.optics.blur import AIRY_FACTOR, MTF50_FACTOR
from auditor.settings import Settings

READING_SD = 0.15  # of a measured blur, relative (measured on faces blurred by known discs: 0.10 to 0.15)
TAIL = 0.05  # of the predicted blur's distribution on either side, and of the reading's
_READING_TAIL = 1.645
BLURRED_FLOORS = 6.5 / 4.0  # floors of the reading above which a face is surely not sharp

AGREES, MORE, LESS, HIDDEN = "as predicted", "more than predicted", "less than predicted", "too small to show"
SHARP, NOT_SHARP, NOT_TOLD = "sharp", "not sharp", "not told"
FINDINGS: Final = (AGREES, MORE, LESS, HIDDEN)


@dataclass(frozen=True, slots=True)
class MeasuredBlur:
    """What the measured blur says beside the predicted one.

    Attributes
    ----------
    frames : pandas.DataFrame
        One row for each frame with a measured and a predicted blur: ``row`` (its number in the frame table),
        ``file``, ``preset``, ``side``, ``subject_distance_m``, ``predicted_mm``, ``predicted_low_mm``,
        ``predicted_high_mm``, ``measured_mm``, ``floor_mm``, ``cause``, ``finding`` (of :data:`FINDINGS`).
    sharpness : numpy.ndarray of str, shape (n,)
        For every row of the frame table :data:`SHARP`, :data:`NOT_SHARP`, :data:`NOT_TOLD`, or empty where
        no face was measured: a provisional verdict, never one of the photographer's marks.
    presets : pandas.DataFrame
        ``preset``, ``measured``, then the counts ``sharp``, ``not_sharp``, ``not_told``, ``moved``,
        ``missed_focus``, ``as_predicted``, ``more``, ``less``.
    keepers, keepers_measured, others, others_measured : int
        Counted frames, and those of them with a measured face.
    difference, low, high : float
        Share measured among keepers less that among the others, with its interval; NaN without both.
    """

    frames: pd.DataFrame
    sharpness: npt.NDArray[np.object_]
    presets: pd.DataFrame
    keepers: int
    keepers_measured: int
    others: int
    others_measured: int
    difference: float
    low: float
    high: float


def compare_blur(table: pd.DataFrame, settings: Settings) -> MeasuredBlur | None:
    """Set the measured blur of each frame against the predicted one.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table with its optics columns and those of measured pictures.
    settings : Settings
        ``speed_m_s``, ``guess_sd`` and ``confidence``.

    Returns
    -------
    MeasuredBlur or None
        None where no picture was measured.
    """
    if "measured_blur_mm" not in table or not table["measured_blur_mm"].notna().any():
        return None
    sharpness = judge_sharpness(table)
    frames = _compared(table, settings)
    counted = counted_frames(table)
    kept = is_keeper(counted)
    seen = counted["measured_blur_mm"].notna().to_numpy()
    difference, low, high = float("nan"), float("nan"), float("nan")
    if kept.any() and not kept.all():
        difference = float(seen[kept].mean() - seen[~kept].mean())
        ends = newcombe_difference(
            seen[kept].sum(), kept.sum(), seen[~kept].sum(), (~kept).sum(), settings.confidence
        )
        low, high = (float(end) for end in ends)
    return MeasuredBlur(
        frames=frames,
        sharpness=sharpness,
        presets=_by_preset(table, sharpness, frames),
        keepers=int(kept.sum()),
        keepers_measured=int(seen[kept].sum()),
        others=int((~kept).sum()),
        others_measured=int(seen[~kept].sum()),
        difference=difference,
        low=low,
        high=high,
    )


def judge_sharpness(table: pd.DataFrame) -> npt.NDArray[np.object_]:
    """Say of each frame whether its face is sharp by the circle of confusion, where the reading can tell."""
    measured, floor, coc = (
        table[name].to_numpy("float64") for name in ("measured_blur_mm", "measured_blur_floor_mm", "coc_mm")
    )
    told = np.full(len(table), None, dtype=object)
    with np.errstate(invalid="ignore"):
        told[np.isfinite(measured)] = NOT_TOLD
        told[(measured <= coc) & (floor <= coc)] = SHARP
        told[(measured > coc) & (measured > BLURRED_FLOORS * floor)] = NOT_SHARP
    return told


def predicted_blur(
    frames: pd.DataFrame, settings: Settings, share: tuple[float, ...] = (TAIL, 0.5, 1 - TAIL)
) -> Floats:
    """Quantiles of the blur that is possible, given how well the distance is known and any direction.

    Diffraction counts as the disc of equal contrast, which is what a reading of edges sees.

    Returns
    -------
    numpy.ndarray, shape (n, len(share))
        In mm.
    """
    distance = np.log(frames["subject_distance_m"].to_numpy("float64"))
    nodes = blur_nodes(frame_optics(frames), distance, error_of_guess(frames, settings), settings.speed_m_s)
    _, defocus, diffraction, motion, weight = nodes
    blur = np.sqrt(defocus**2 + (diffraction * MTF50_FACTOR / AIRY_FACTOR) ** 2 + motion**2)
    flat, weights = blur.reshape(len(frames), -1), np.broadcast_to(weight, blur.shape[1:]).ravel()
    order = np.argsort(flat, axis=1)
    summed = np.cumsum(weights[order], axis=1) - weights[order] / 2
    ordered = np.take_along_axis(flat, order, axis=1)
    return np.array([np.interp(share, at, values) for at, values in zip(summed, ordered, strict=True)])


def comparable(table: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Rows whose blur was measured and can be predicted, shape (n,)."""
    needed = ["measured_blur_mm", "blur_mm", "subject_distance_m"]
    finite = np.isfinite(table[needed].to_numpy("float64")).all(axis=1)
    return np.asarray(finite & table["in_preset"].fillna(False).to_numpy(bool))


def _compared(table: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    rows = np.flatnonzero(comparable(table))
    chosen = table.iloc[rows]
    low, middle, high = predicted_blur(chosen, settings).reshape(-1, 3).T
    measured, floor = (
        chosen[name].to_numpy("float64") for name in ("measured_blur_mm", "measured_blur_floor_mm")
    )
    apart = np.exp(_READING_TAIL * READING_SD)
    finding = np.full(len(rows), AGREES, dtype=object)
    finding[(measured < floor) & (low < floor)] = HIDDEN
    finding[(measured >= floor) & (measured > high * apart)] = MORE
    finding[(low > floor) & (np.maximum(measured, floor) < low / apart)] = LESS
    return pd.DataFrame(
        {
            "row": rows,
            "file": chosen["file"].to_numpy(object),
            "preset": chosen["preset"].to_numpy(object),
            "side": chosen["side"].to_numpy(object),
            "subject_distance_m": chosen["subject_distance_m"].to_numpy("float64"),
            "predicted_mm": middle,
            "predicted_low_mm": low,
            "predicted_high_mm": high,
            "measured_mm": measured,
            "floor_mm": floor,
            "cause": chosen["measured_cause"].to_numpy(object),
            "finding": finding,
        }
    )


def _by_preset(table: pd.DataFrame, sharpness: npt.NDArray[np.object_], frames: pd.DataFrame) -> pd.DataFrame:
    measured = table["measured_blur_mm"].notna().to_numpy()
    rows = table[measured]
    cause = rows["measured_cause"].to_numpy(object)
    finding = pd.Series(None, index=range(len(table)), dtype=object)
    finding[frames["row"]] = frames["finding"].to_numpy()
    found, sharp = finding.to_numpy()[measured], sharpness[measured]
    counts = {
        "measured": np.ones(len(rows), dtype=int),
        "sharp": sharp == SHARP,
        "not_sharp": sharp == NOT_SHARP,
        "not_told": sharp == NOT_TOLD,
        "moved": cause == "moved",
        "missed_focus": cause == "missed focus",
        "as_predicted": (found == AGREES) | (found == HIDDEN),
        "more": found == MORE,
        "less": found == LESS,
    }
    listed = pd.DataFrame({"preset": rows["preset"].to_numpy(object)} | counts)
    return listed.groupby("preset", sort=True, as_index=False).sum()
