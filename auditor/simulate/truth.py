"""What is true in an invented archive: how people walk, how the photographer works, what is kept.

Everything here is invented: the covered market, its visitors, the cameras and the lenses.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from auditor.settings import WALKING_SPEED_M_S

MarkPlace = Literal["embedded", "sidecar", "selects"]


@dataclass(frozen=True, slots=True)
class LensTruth:
    """A lens: its f-stops, its ring's engravings [m], and whether it tells the camera anything."""

    name: str
    focal_length_mm: float
    reports: bool
    f_stops: tuple[float, ...] = (2.8, 4, 5.6, 8, 11, 16)
    ring_m: tuple[float, ...] = (0.7, 0.8, 1, 1.2, 1.5, 2, 2.5, 3, 5, math.inf)


@dataclass(frozen=True, slots=True)
class PresetTruth:
    """A zone setting, and what it truly brought."""

    name: str  # as the audit names it
    lens: LensTruth
    f_number: float
    focus_distance_m: float  # the engraving the ring was turned to, from the sensor plane
    kind: Literal["free", "line"] = "free"  # set for whoever comes, or to one place where people pass
    frames: int = 0  # taken, whether anyone looked at them later or not
    bursts: int = 0
    frame_rate: float = math.nan  # mean true chance of a frame to be kept; NaN before the simulation
    hit_rate: float = math.nan  # of a burst to hold a keeper
    sharp_rate: float = math.nan  # of a frame to be sharp enough for this photographer


@dataclass(frozen=True, slots=True)
class Outing:
    """One kind of walk."""

    name: str
    camera: str
    stretches: tuple[tuple[str, float], ...]  # presets in the order of use, with their share of the walk
    marks: MarkPlace  # where the photographer's choice stands: `embedded`, `sidecar` or `selects`
    # share of the frames, drawn at random, that were measured afterwards: first a verdict on sharpness,
    # then a guess, then the distance
    measured: float
    looked_at: float = 0.88  # share of the walk that was looked at while choosing; the rest is a tail
    mood: float = 0.0  # added to the logit of a keeper's chance on such a walk
    subseconds: bool = True  # whether the camera writes fractions of a second
    markers: bool = True  # whether a dark frame, the palm over the lens, marks each change of the preset
    # places in `stretches` where whoever came was pressed at, without regard for the zone
    anyone: tuple[int, ...] = ()


_NEW_28 = LensTruth("28 mm f/2.8", 28.0, reports=True)
_OLD_35 = LensTruth("old 35 mm", 35.0, reports=False)

MARKET_PRESETS = (
    PresetTruth("28 mm f/2.8, f/8 at 2.5 m", _NEW_28, 8.0, 2.5),
    PresetTruth("28 mm f/2.8, f/5.6 at 3 m", _NEW_28, 5.6, 3.0),
    PresetTruth("28 mm f/2.8, f/11 at 2 m", _NEW_28, 11.0, 2.0),
    PresetTruth("aisle", _OLD_35, 8.0, 2.5),
    PresetTruth("corner", _OLD_35, 5.6, 3.0),
    PresetTruth("counter", _OLD_35, 8.0, 1.5),
    PresetTruth("gate", _OLD_35, 11.0, 3.0, kind="line"),
)
MARKET_OUTINGS = (
    Outing(
        "reporting-lens",
        "body A",
        tuple((preset.name, share) for preset, share in zip(MARKET_PRESETS, (0.35, 0.3, 0.35), strict=False)),
        marks="embedded",
        measured=0.3,
        mood=0.3,
        markers=False,
    ),
    Outing(
        "adapted-lens",
        "body B",
        (("aisle", 0.3), ("counter", 0.2), ("corner", 0.3), ("aisle", 0.2)),
        marks="sidecar",
        measured=0.55,
        subseconds=False,
        anyone=(0,),
    ),
    Outing(
        "adapted-lens-selects",
        "body A",
        (("gate", 0.35), ("aisle", 0.2), ("corner", 0.2), ("counter", 0.25)),
        marks="selects",
        looked_at=1.0,
        measured=0.5,
        mood=-1.2,
    ),
)


@dataclass(frozen=True, slots=True)
class Truth:
    """The stated truth of a simulation."""

    tolerance_mm: float = 0.042  # blur diameter at which the chance to be called sharp has fallen half way
    steepness: float = 4.0  # exponent of the fall in blur over tolerance
    lapses: float = 0.02  # share of verdicts on sharpness that slip, either way
    # the tolerance of what is kept is this many times the tolerance of what is called sharp
    keeping_forgives: float = 1.2
    ceiling: float = 0.15  # chance that a frame without blur is kept, at the middle distance on a usual walk
    floor: float = 0.15  # what is left of that chance with any amount of blur, as a share
    # how much the logit of a keeper's chance rises where a subject is nearer by a factor e
    near_interest: float = 0.7
    distance_median_m: float = 2.6  # log-normal distance of the people who come along, from the sensor plane
    distance_log_sd: float = 0.45
    speed_m_s: float = WALKING_SPEED_M_S  # normal walking speed; every direction is as likely
    speed_sd_m_s: float = 0.31  # same source as the speed
    # relative standard deviation of the ring's true setting from its engraving, drawn once a stretch
    ring_error: float = 0.03
    # relative error of a distance judged before pressing, and of one measured in the picture afterwards
    glance_sd: float = 0.15
    measure_sd: float = 0.08
    guess_bias: float = -0.08  # relative bias and error of a distance guessed by eye before measuring
    guess_sd: float = 0.16
    # how far before and behind the place of a preset of kind `line` people are pressed at (sd)
    line_spread_m: float = 0.35
    # how often a subject that looks outside the zone is taken, for each one inside it
    press_outside: float = 0.15
    burst_share: float = 0.1  # share of presses that are bursts of two to five frames
    burst_correlation: float = 0.5  # correlation of the fortunes of a burst's frames (Gaussian copula)
    presets: tuple[PresetTruth, ...] = MARKET_PRESETS
    # walks in turn; the session after the last one is like the first
    outings: tuple[Outing, ...] = MARKET_OUTINGS


def sharp_chance(blur_mm: npt.ArrayLike, tolerance_mm: float, steepness: float) -> npt.NDArray[np.float64]:
    """Chance that a frame is sharp enough, 1 / (1 + (blur/tolerance)^steepness), any shape.

    >>> sharp_chance([0.0, 0.042, 0.084], 0.042, 4.0).round(3).tolist()
    [1.0, 0.5, 0.059]
    """
    return np.asarray(1.0 / (1.0 + (np.asarray(blur_mm, dtype="float64") / tolerance_mm) ** steepness))


def keep_chance(
    blur_mm: npt.ArrayLike, subject_m: npt.ArrayLike, mood: npt.ArrayLike, truth: Truth
) -> npt.NDArray[np.float64]:
    """Chance that a frame is kept: the moment's, times what blur leaves of it.

    K (floor + (1 - floor) F), F from :func:`sharp_chance` at the keeper's tolerance, logit K = logit ceiling
    + mood + near_interest log(distance_median / subject).

    >>> keep_chance([0.0, 1e9], 2.6, 0.0, Truth(ceiling=0.2, floor=0.1)).round(6).tolist()
    [0.2, 0.02]
    """
    interest = truth.near_interest * np.log(truth.distance_median_m / np.asarray(subject_m, dtype="float64"))
    moment = expit(logit(truth.ceiling) + np.asarray(mood, dtype="float64") + interest)
    forgiven = truth.keeping_forgives * truth.tolerance_mm
    left = truth.floor + (1 - truth.floor) * sharp_chance(blur_mm, forgiven, truth.steepness)
    return np.asarray(moment * left)
