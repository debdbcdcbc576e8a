"""Presses at a line: with a preset set in advance to a place where subjects pass, how near, and how fast.

Below the longest time that a distance allows, defocus, diffraction and the median crossing's motion together
stay within the circle of confusion (root of the sum of squares, as in the frame table's columns).
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import CountedFrames
from auditor.evidence.distances_met import DistancesMet
from auditor.evidence.proportions import Floats
from auditor.evidence.ring_shift import known_shift_mm
from auditor.evidence.weighted_shares import weighted_shares
from auditor.evidence.weights import sampled_frames
from auditor.evidence.zones import effective_time_s
from auditor.frames import KEEPER
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification

EDGE_POINTS = 60


@dataclass(frozen=True, slots=True)
class LinePresses:
    """How presses with one preset at a line went."""

    preset: str
    line_m: float  # the ring's distance and its sharp zone
    near_limit_m: float
    far_limit_m: float
    speed_m_s: float  # of those who walk past
    bursts: int  # with a known distance
    median_m: float  # where the middle subject stood, put back to all bursts, and its interval
    low_m: float
    high_m: float
    before: tuple[float, float, float]  # share of frames nearer than the zone, with its interval, put back
    behind: tuple[float, float, float]  # and farther than it
    longest_s: float  # for somebody who walks past at the line; NaN where no time is short enough
    timed: int  # frames whose subject was lit for a known time
    slower: int  # those of them with a longer one
    frames: pd.DataFrame  # distance_m, exposure_time_s, kept of the timed ones with a distance
    edge: pd.DataFrame  # distance_m, longest_s: the longest time over distance, where there is one


def line_presses(
    counted: CountedFrames, met: DistancesMet, presets: Collection[str], speed_m_s: float, confidence: float
) -> tuple[LinePresses, ...]:
    """Describe the presses with each preset at a line of which counted frames have a distance.

    Reads the setting, its zone and criterion, ``preset, exposure_time_s, flash, flash_duration_s, side,
    subject_distance_m``.
    """
    frames = counted.frames[counted.frames["preset"].isin(presets)]
    frames = frames[np.isfinite(frames["focus_distance_m"]) & frames["near_limit_m"].notna()]
    rows = met.presets[met.presets["preset"].isin(set(presets) & set(frames["preset"]))]
    own = frames.groupby("preset").get_group
    return tuple(_presses(row, own(row.preset), speed_m_s, confidence) for row in rows.itertuples())


def longest_time_s(
    focal_length_mm: float,
    f_number: float,
    line_m: float,
    subject_distance_m: npt.ArrayLike,
    speed_m_s: float,
    coc_mm: float,
    shift_mm: float = 0.0,
) -> Floats:
    """Longest exposure time [s] for a walker at a distance [m], shape of the distances; NaN where none is.

    t = sqrt(c^2 - b^2 - d^2) / (smear a second), infinite for those who stand.
    """
    subject = np.asarray(subject_distance_m, dtype=float)
    size = magnification(lens_distance_m(subject, focal_length_mm), focal_length_mm)
    defocus = defocus_mm(focal_length_mm, f_number, line_m, subject, shift_mm=shift_mm)
    still = np.hypot(defocus, airy_mm(f_number, size))
    a_second = motion_mm(focal_length_mm, subject, speed_m_s, 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.sqrt(coc_mm**2 - still**2) / a_second)


def _presses(row: Any, frames: pd.DataFrame, speed_m_s: float, confidence: float) -> LinePresses:
    known, sampled = sampled_frames(frames)

    def share(side: str) -> tuple[float, float, float]:
        found = weighted_shares(known["side"] == side, np.zeros(len(known)), 1, sampled, confidence)
        return float(found.rate[0]), float(found.low[0]), float(found.high[0])

    names = ("focal_length_mm", "f_number", "focus_distance_m", "coc_mm", "near_limit_m", "far_limit_m")
    focal_mm, number, line_m, coc_mm, near_m, far_m = (float(frames[name].median()) for name in names)
    timed = frames.assign(exposure_time_s=effective_time_s(frames)).dropna(subset="exposure_time_s")
    shift_mm = float(np.median(known_shift_mm(frames)))
    longest_s = float(longest_time_s(focal_mm, number, line_m, line_m, speed_m_s, coc_mm, shift_mm))
    points = timed.dropna(subset="subject_distance_m").rename(columns={"subject_distance_m": "distance_m"})
    points = points.assign(kept=points["counted_as"] == KEEPER)
    along = np.geomspace(near_m, min(far_m, 4 * line_m), EDGE_POINTS)
    edge = longest_time_s(focal_mm, number, line_m, along, speed_m_s, coc_mm, shift_mm)
    return LinePresses(
        preset=str(row.preset),
        line_m=line_m,
        near_limit_m=near_m,
        far_limit_m=far_m,
        speed_m_s=speed_m_s,
        bursts=row.bursts,
        median_m=row.median_m,
        low_m=row.median_low_m,
        high_m=row.median_high_m,
        before=share("near"),
        behind=share("far"),
        longest_s=longest_s,
        timed=len(timed),
        slower=int((timed["exposure_time_s"] > longest_s * 1.05).sum()),
        frames=points[["distance_m", "exposure_time_s", "kept"]],
        edge=pd.DataFrame({"distance_m": along, "longest_s": edge}).dropna(),
    )
