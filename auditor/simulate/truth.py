"""What is true in an invented archive: how people walk, how the photographer works, what is kept.

Everything here is invented: the covered market, its visitors, the cameras and the lenses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from auditor.settings import WALKING_SPEED_M_S

MarkPlace = Literal["embedded", "sidecar", "selects"]


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens: its f-stops, its ring's engravings [m], and whether it tells the camera anything."""

    name: str
    focal_length_mm: float
    reports: bool
    f_stops: tuple[float, ...] = (2.8, 4, 5.6, 8, 11, 16)
    ring_m: tuple[float, ...] = (0.7, 0.8, 1, 1.2, 1.5, 2, 2.5, 3, 5, math.inf)


@dataclass(frozen=True, slots=True)
class PresetTruth:
    """A zone setting, and what it truly brought.

    Attributes
    ----------
    name : str
        As the audit names it.
    lens : Lens
    f_number : float
    focus_distance_m : float
        The engraving the ring was turned to, from the sensor plane.
    frames, bursts : int
        Frames and bursts taken, whether anyone looked at them later or not.
    frame_rate, hit_rate : float
        Mean true chance of a frame to be kept, and of a burst to hold a keeper; NaN before the simulation.
    """

    name: str
    lens: Lens
    f_number: float
    focus_distance_m: float
    frames: int = 0
    bursts: int = 0
    frame_rate: float = math.nan
    hit_rate: float = math.nan


@dataclass(frozen=True, slots=True)
class Outing:
    """One kind of walk.

    Attributes
    ----------
    name, camera : str
    stretches : tuple of (str, float)
        Presets in the order of use, with their share of the walk.
    marks : str
        Where the photographer's choice stands: ``embedded``, ``sidecar`` or ``selects``.
    looked_at : float
        Share of the walk that was looked at while choosing; the rest is an unculled tail.
    noted : float
        Share of the frames, drawn at random, whose subject distance was noted by eye.
    subseconds : bool
        Whether the camera writes fractions of a second.
    """

    name: str
    camera: str
    stretches: tuple[tuple[str, float], ...]
    marks: MarkPlace
    looked_at: float
    noted: float
    subseconds: bool


_NEW_28 = Lens("28 mm f/2.8", 28.0, reports=True)
_OLD_35 = Lens("old 35 mm", 35.0, reports=False)

MARKET_PRESETS = (
    PresetTruth("28 mm f/2.8, f/8 at 2.5 m", _NEW_28, 8.0, 2.5),
    PresetTruth("28 mm f/2.8, f/5.6 at 3 m", _NEW_28, 5.6, 3.0),
    PresetTruth("28 mm f/2.8, f/11 at 2 m", _NEW_28, 11.0, 2.0),
    PresetTruth("aisle", _OLD_35, 8.0, 2.5),
    PresetTruth("corner", _OLD_35, 5.6, 3.0),
    PresetTruth("counter", _OLD_35, 8.0, 1.5),
    PresetTruth("stairs", _OLD_35, 11.0, 2.0),
)
MARKET_OUTINGS = (
    Outing(
        "reporting-lens",
        "body A",
        tuple((preset.name, share) for preset, share in zip(MARKET_PRESETS, (0.35, 0.3, 0.35), strict=False)),
        marks="embedded",
        looked_at=0.88,
        noted=0.5,
        subseconds=True,
    ),
    Outing(
        "adapted-lens",
        "body B",
        (("aisle", 0.3), ("counter", 0.2), ("corner", 0.3), ("aisle", 0.2)),
        marks="sidecar",
        looked_at=0.88,
        noted=0.5,
        subseconds=False,
    ),
    Outing(
        "adapted-lens-selects",
        "body A",
        (("stairs", 0.35), ("aisle", 0.2), ("corner", 0.2), ("counter", 0.25)),
        marks="selects",
        looked_at=1.0,
        noted=0.8,
        subseconds=True,
    ),
)


@dataclass(frozen=True, slots=True)
class Truth:
    """The stated truth of a simulation.

    Attributes
    ----------
    tolerance_mm : float
        Blur diameter at which the chance of a keeper has fallen half way from ceiling to floor.
    ceiling, floor : float
        Chance of a keeper without blur, and with any amount of it.
    steepness : float
        Exponent of the fall in blur over tolerance.
    distance_median_m, distance_log_sd : float
        Log-normal distance of the people who come along, from the sensor plane.
    speed_m_s, speed_sd_m_s : float
        Normal walking speed; every direction is as likely.
    ring_error : float
        Relative standard deviation of the ring's true setting from its engraving, drawn once a stretch.
    glance_sd, note_sd : float
        Relative error of a distance judged before pressing, and of one noted afterwards.
    press_outside : float
        How often a subject that looks outside the zone is taken, for each one inside it.
    burst_share : float
        Share of presses that are bursts of two to five frames.
    burst_correlation : float
        Correlation of the fortunes of a burst's frames (Gaussian copula).
    presets : tuple of PresetTruth
    outings : tuple of Outing
        Walks in turn; the session after the last one is like the first.
    """

    tolerance_mm: float = 0.045
    ceiling: float = 0.45
    floor: float = 0.02
    steepness: float = 4.0
    distance_median_m: float = 2.6
    distance_log_sd: float = 0.45
    speed_m_s: float = WALKING_SPEED_M_S
    speed_sd_m_s: float = 0.31  # same source as the speed
    ring_error: float = 0.03
    glance_sd: float = 0.15
    note_sd: float = 0.15
    press_outside: float = 0.15
    burst_share: float = 0.1
    burst_correlation: float = 0.5
    presets: tuple[PresetTruth, ...] = MARKET_PRESETS
    outings: tuple[Outing, ...] = MARKET_OUTINGS


def keep_chance(blur_mm: npt.ArrayLike, truth: Truth) -> npt.NDArray[np.float64]:
    """Chance that a frame is kept, floor + (ceiling - floor) / (1 + (blur/tolerance)^steepness).

    Parameters
    ----------
    blur_mm : array_like
        Diameter of all blur together on the sensor [mm], any shape.
    truth : Truth

    Examples
    --------
    >>> keep_chance([0.0, 0.045], Truth(ceiling=0.5, floor=0.1)).round(6).tolist()
    [0.5, 0.3]
    """
    ratio = np.asarray(blur_mm, dtype="float64") / truth.tolerance_mm
    return truth.floor + (truth.ceiling - truth.floor) / (1.0 + ratio**truth.steepness)
