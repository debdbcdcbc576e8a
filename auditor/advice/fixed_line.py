"""A line set in advance: subjects that stand at it or pass it, and the ring, stop and press that hold them.

Where a subject is when the shutter opens is normally distributed about the line (or even over the leeway),
and shifted along its way where the release lag is only known as a range. It is sharp where defocus,
movement and diffraction together stay within the tolerance: for each direction that is one stretch of
distances (:func:`auditor.optics.combined.combined_zone`), so the chance is a difference of two distribution
functions, averaged over the lag and, where the direction is unknown, over all directions alike.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from auditor.errors import SettingError
from auditor.optics.blur import motion_mm
from auditor.optics.combined import combined_zone
from auditor.optics.exposure import nominal_shutter_s
from auditor.optics.lens import MM_PER_M, DistanceFrom, Floats, from_lens
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import Place

HOLDS = 0.95  # of the subjects of a line that a setting should hold
USUAL_LAG_S = (0.02, 0.12)  # release lag of cameras that need not focus (common practice, no source)
MOTION_SHARE = 0.5  # of the tolerance that movement may take: in squares it leaves 87 % for the rest
DIRECTIONS, LAGS = 180, 9  # nodes; a chance is exact to a quarter of a point
NEVER_SO_FAR = 1e3  # [1/m]: any engraving goes before a place midway between two
WORTH = 0.001  # a smaller loss of chance is given up for a ring nearer the line, where it is sharper


@dataclass(frozen=True, slots=True)
class Line:
    """What is wished of a line."""

    distance_m: float
    spread_m: float | None = None  # standard deviation about it; None: evenly over the leeway
    before_m: float = 0.0  # leeway on the photographer's side
    after_m: float = 0.0
    speed_m_s: float = 0.0  # 0 for subjects that stand
    crossing_deg: float | None = None  # from the line of sight: 90 across, 0 straight on; None unknown
    lag_s: tuple[float, float] = USUAL_LAG_S  # least and greatest release lag
    exposure_time_s: float | None = None  # None takes the one that movement asks for
    light_ev: float | None = None  # at ISO 100
    iso_max: float | None = None


@dataclass(frozen=True, slots=True)
class LinePlan:
    """The best place on the ring at each f-stop for a line; arrays of shape (stops,)."""

    f_number: Floats
    focus_distance_m: Floats  # what the ring says
    places: tuple[Place, ...]
    near_limit_m: Floats  # for all blur, at the median crossing where the direction is unknown; NaN: nothing
    far_limit_m: Floats
    probability_inside: Floats  # that a subject is sharp
    covers: npt.NDArray[np.bool_]  # line and leeway lie inside
    exposure_time_s: Floats  # NaN where nothing moves and none was wished
    iso: Floats  # that it takes in the stated light; NaN without one
    affordable: npt.NDArray[np.bool_]  # that is accepted
    seconds_inside: Floats  # sharp and in the picture, at least; infinite for a subject that stands
    lead_m: tuple[float, float]  # how far short of the line to press, at the least and the greatest lag
    best: int  # of the affordable ones the widest that holds nearly all, else the likeliest

    @property
    def serves(self) -> bool:
        """Whether the setting to take holds nearly all subjects and can be exposed."""
        return bool(self.affordable[self.best] and self.probability_inside[self.best] >= HOLDS)


@dataclass(frozen=True, slots=True)
class Concession:
    """A wish given up, the line without it, and what that brings."""

    wish: str  # distance, leeway, exposure_time or iso
    line: Line
    plan: LinePlan


def plan_line(
    focal_length_mm: float,
    line: Line,
    tolerance_mm: float,
    places: Sequence[Place],
    f_stops: npt.ArrayLike,
    sensor_width_mm: float = 36.0,
    distance_from: DistanceFrom = "sensor",
    shift_mm: float = 0.0,
) -> LinePlan:
    """Find the place on the ring at each f-stop that most likely holds a subject at a line.

    Of all places within 0.1 percentage points of the likeliest, an engraving goes before one midway between
    two, and then the one nearest the line is taken. The tolerance is what all blur together may come to.

    Raises SettingError if the line or its leeway is out of reach, or nothing says where subjects stand.
    """
    _check(line, focal_length_mm, distance_from)
    if not places:
        raise SettingError(
            f"A {focal_length_mm:g} mm lens can be set to none of the engravings.", "Give its ring: --ring."
        )
    stops = np.atleast_1d(np.asarray(f_stops, dtype=float))
    time = exposure_time_s(line, focal_length_mm, tolerance_mm, distance_from)
    rings = np.array([place.distance_m for place in places])
    angles = (np.arange(DIRECTIONS) + 0.5) * 90 / DIRECTIONS
    if line.crossing_deg is not None or not line.speed_m_s > 0:
        angles = np.array([90.0 if line.crossing_deg is None else line.crossing_deg])
    given: dict[str, Any] = {
        "coc_mm": tolerance_mm,
        "speed_m_s": line.speed_m_s,
        "exposure_time_s": np.nan_to_num(time),
        "distance_from": distance_from,
        "shift_mm": shift_mm,
    }
    zone = combined_zone(focal_length_mm, stops[:, None, None], rings[:, None], crossing_deg=angles, **given)
    late = np.linspace(-1, 1, 2 * LAGS + 1)[1::2] * (line.lag_s[1] - line.lag_s[0]) / 2
    nearer = (line.speed_m_s * np.cos(np.deg2rad(angles)))[:, None] * late  # of the press in the middle
    near, far = (np.nan_to_num(limit, nan=0.0)[..., None] for limit in (zone.near_limit_m, zone.far_limit_m))
    inside = (_below(far + nearer, line) - _below(near + nearer, line)).mean(axis=(-1, -2))
    good_enough = inside >= inside.max(axis=1, keepdims=True) - WORTH
    mark_m = true_focus_m(line.distance_m, focal_length_mm, -shift_mm, distance_from)
    off = np.abs(1 / rings - 1 / mark_m)
    off += np.array([place.between_m is not None for place in places]) * NEVER_SO_FAR
    chosen = np.where(good_enough, off, np.inf).argmin(axis=1)
    focus = rings[chosen]
    shown = combined_zone(focal_length_mm, stops, focus, crossing_deg=line.crossing_deg, **given)
    iso = np.full(stops.shape, np.nan)
    if line.light_ev is not None and np.isfinite(time):
        iso = 100 * stops**2 / (time * 2**line.light_ev)
    affordable = ~(iso > (np.inf if line.iso_max is None else line.iso_max) * 1.01)
    chance = inside[np.arange(len(stops)), chosen]
    within_light = affordable if affordable.any() else np.ones_like(affordable)
    enough = np.flatnonzero(within_light & (chance >= HOLDS))
    return LinePlan(
        f_number=stops,
        focus_distance_m=focus,
        places=tuple(places[at] for at in chosen),
        near_limit_m=shown.near_limit_m,
        far_limit_m=shown.far_limit_m,
        probability_inside=chance,
        covers=(shown.near_limit_m <= line.distance_m - line.before_m)
        & (shown.far_limit_m >= line.distance_m + line.after_m),
        exposure_time_s=np.full(stops.shape, time),
        iso=iso,
        affordable=affordable,
        seconds_inside=_seconds(
            line, shown.near_limit_m, shown.far_limit_m, focal_length_mm, sensor_width_mm
        ),
        lead_m=(line.speed_m_s * line.lag_s[0], line.speed_m_s * line.lag_s[1]),
        best=int(enough[0]) if enough.size else int(np.where(within_light, chance, -1.0).argmax()),
    )


def concessions(line: Line, asked_s: float, plan: Callable[[Line], LinePlan]) -> tuple[Concession, ...]:
    """Give up one wish at a time, where no setting serves; the one that brings most comes first.

    ``asked_s`` is the exposure time that movement asks for; ``plan`` plans with the lens in use.

    The line half as far again; half the leeway and spread; the exposure time that movement asks for instead
    of a longer one, or what the light allows where it allows nothing; any sensitivity. Those that bring
    nothing are left out.
    """
    now = plan(line)
    other_time = asked_s if line.exposure_time_s and asked_s < line.exposure_time_s else np.nan
    if not now.affordable.any() and line.light_ev is not None and line.iso_max is not None:
        lit = 100 * float(now.f_number.min()) ** 2 / (line.iso_max * 2**line.light_ev)
        other_time = float(nominal_shutter_s(lit * 2 ** (1 / 6)))  # the next longer one that cameras show
    tried = {
        "distance": replace(line, distance_m=1.5 * line.distance_m),
        "leeway": replace(
            line,
            spread_m=line.spread_m / 2 if line.spread_m else None,
            before_m=line.before_m / 2,
            after_m=line.after_m / 2,
        ),
    }
    if np.isfinite(other_time):
        tried["exposure_time"] = replace(line, exposure_time_s=other_time)
    if not now.affordable.all():
        tried["iso"] = replace(line, iso_max=None)
    found = [Concession(wish, one, plan(one)) for wish, one in tried.items()]
    chance = _chance(now)
    return tuple(
        one for one in sorted(found, key=lambda one: -_chance(one.plan)) if _chance(one.plan) > chance + 0.01
    )


def _chance(plan: LinePlan) -> float:
    """Chance of the setting to take; nought where it cannot be exposed."""
    return float(plan.probability_inside[plan.best]) if plan.affordable[plan.best] else 0.0


def _check(line: Line, focal_length_mm: float, distance_from: DistanceFrom) -> None:
    nearest_m = (4 if distance_from == "sensor" else 1) * focal_length_mm / MM_PER_M
    if np.isnan(from_lens(line.distance_m, focal_length_mm, distance_from)) or np.isinf(line.distance_m):
        raise SettingError(
            f"A line at {line.distance_m:g} m cannot be focused with {focal_length_mm:g} mm.",
            f"Give one beyond {nearest_m:g} m and short of infinity.",
        )
    if not nearest_m < line.distance_m - line.before_m:
        raise SettingError(
            f"A leeway of {line.before_m:g} m before a line at {line.distance_m:g} m reaches the camera.",
            "Give less of it, or a line farther away.",
        )
    if line.spread_m is None and line.before_m + line.after_m <= 0:
        raise SettingError(
            "Nothing says how far from the line subjects may be.",
            "Give --spread, such as 30cm, or the leeway: --before and --after.",
        )
    if line.spread_m is not None and not 0 < line.spread_m < np.inf:
        raise SettingError(f"The spread ({line.spread_m:g} m) is not above 0.", "Give one like 30cm.")


def _below(distance_m: Floats, line: Line) -> Floats:
    """Share of the subjects that stand nearer than a distance."""
    if line.spread_m is not None:
        with np.errstate(over="ignore"):
            return np.asarray(ndtr((distance_m - line.distance_m) / line.spread_m))
    start = line.distance_m - line.before_m
    return np.clip((distance_m - start) / (line.before_m + line.after_m), 0.0, 1.0)


def exposure_time_s(
    line: Line, focal_length_mm: float, tolerance_mm: float, distance_from: DistanceFrom
) -> float:
    """The wanted exposure time, else the longest shown on cameras that movement allows; NaN if neither."""
    if line.exposure_time_s is not None:
        return line.exposure_time_s
    across = 90.0 if line.crossing_deg is None else line.crossing_deg
    a_second = motion_mm(focal_length_mm, line.distance_m, line.speed_m_s, 1.0, across, distance_from)
    if not a_second > 1e-9:
        return float("nan")
    longest = MOTION_SHARE * tolerance_mm / float(a_second)
    shown = float(nominal_shutter_s(longest))
    return float(nominal_shutter_s(longest / 2 ** (1 / 3))) if shown > longest * 1.03 else shown


def _seconds(line: Line, near_m: Floats, far_m: Floats, focal_length_mm: float, width_mm: float) -> Floats:
    """Time from entering to leaving both the sharp zone and the picture; straight towards where unknown."""
    angle = np.deg2rad(0.0 if line.crossing_deg is None else line.crossing_deg)
    along, across = abs(np.cos(angle)) * line.speed_m_s, np.sin(angle) * line.speed_m_s
    wide_m = width_mm / focal_length_mm * line.distance_m
    with np.errstate(all="ignore"):
        in_zone = (far_m - near_m) / along if along > 1e-9 else np.where(np.isnan(near_m), np.nan, np.inf)
        return np.asarray(np.minimum(in_zone, wide_m / across if across > 1e-9 else np.inf))
