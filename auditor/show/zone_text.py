"""One typed setting in words and in JSON: its zone, plain and for all blur, and the blur at the subject."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from auditor.optics.blur import BlurParts
from auditor.optics.lens import DistanceFrom, Zone
from auditor.optics.ring_check import RingShift, extension_mm
from auditor.optics.sensors import Criterion, Sensor
from auditor.show.words import ring
from auditor.show.words.figures import far_limit, percent, setting, zone
from auditor.units import format_distance, format_exposure_time

if TYPE_CHECKING:
    from auditor.optics.combined import CombinedZone

CAUSES = ("defocus", "motion", "diffraction", "turn", "pixel")
IN_WORDS = {
    "defocus": "defocus",
    "motion": "movement of the subject",
    "diffraction": "diffraction",
    "turn": "turning of the camera",
    "pixel": "the pixel itself",
}


@dataclass(frozen=True, slots=True)
class SettingFound:
    """All that is known of one typed setting.

    Attributes
    ----------
    focal_length_mm, f_number, focus_distance_m : float
        The setting; distances in the convention of ``distance_from``.
    exposure_time_s : float or None
        None where none was given.
    distance_from : {"sensor", "lens"}
    criterion : Criterion
    coc_mm, tolerance_mm : float
        What defocus alone may come to, and all blur together; they differ only under ``measured``.
    plain : Zone
        The zone for defocus alone.
    together : CombinedZone or None
        The zone for all blur; None without an exposure time.
    at_focus : BlurParts
        Blur at the focus distance.
    subject_distance_m : float or None
    at_subject : BlurParts or None
    pixel_pitch_mm : float
        NaN where unknown.
    own_mm : tuple of float
        Circle of confusion with its interval, for reading the engraved scale.
    scale : EngravedScale
    sensor : Sensor
    shift : RingShift or None
        What the tape says of the ring; None where nobody measured.
    checks : tuple of str
        Its readings, as typed.
    true_focus_m : float
        Where the mark really focuses.
    speed_m_s : float
        Of the subject, typed or assumed.
    crossing_deg : float or None
        Its direction, 90 straight across; None where it was not given.
    """

    focal_length_mm: float
    f_number: float
    focus_distance_m: float
    exposure_time_s: float | None
    distance_from: DistanceFrom
    criterion: Criterion
    coc_mm: float
    tolerance_mm: float
    plain: Zone
    together: CombinedZone | None
    at_focus: BlurParts
    subject_distance_m: float | None
    at_subject: BlurParts | None
    pixel_pitch_mm: float
    own_mm: tuple[float, float, float]
    scale: ring.EngravedScale
    sensor: Sensor
    shift: RingShift | None
    checks: tuple[str, ...]
    true_focus_m: float
    speed_m_s: float
    crossing_deg: float | None


def setting_json(found: SettingFound) -> dict[str, Any]:
    """The result by the names of the contract; distances in metres, infinite and unknown ones as floats."""
    plain, together = found.plain, found.together
    read, low, high = ring.read_range(found.f_number, found.own_mm, found.scale)
    values: dict[str, Any] = {
        "focal_length_mm": found.focal_length_mm,
        "f_number": found.f_number,
        "focus_distance_m": found.focus_distance_m,
        "coc_mm": found.coc_mm,
        "coc_criterion": found.criterion.name,
        "distance_from": found.distance_from,
        "hyperfocal_m": float(plain.hyperfocal_m),
        "near_limit_m": float(plain.near_limit_m),
        "far_limit_m": float(plain.far_limit_m),
        "depth_m": float(plain.depth_m),
        "share_in_front": float(plain.share_in_front),
        "with_all_blur": None,
        "blur_at_subject": None,
        "read_scale_for": read,
        "read_scale_for_low": low,
        "read_scale_for_high": high,
        "scale_coc_mm": found.scale.coc_mm,
        "scale_source": found.scale.source,
        "scale_contradictions": list(found.scale.contrary),
    }
    if found.shift is not None:
        values["ring_shift_mm"] = found.shift.shift_mm
        values["focus_true_m"] = found.true_focus_m
        values["ring_checks_that_disagree"] = [found.checks[at] for at in found.shift.disagree]
    if together is not None:
        values["with_all_blur"] = {
            "near_limit_m": float(together.near_limit_m),
            "far_limit_m": float(together.far_limit_m),
            "empty": bool(together.empty),
            "largest_blur": largest_cause(found.at_focus) if together.empty else None,
        }
    if found.at_subject is not None:
        values["blur_at_subject"] = {
            "subject_distance_m": found.subject_distance_m,
            **{f"{cause}_mm": _size(found.at_subject, cause) for cause in (*CAUSES, "combined")},
            "combined_pixels": _size(found.at_subject, "combined") / found.pixel_pitch_mm,
            "times_coc": _size(found.at_subject, "combined") / found.tolerance_mm,
        }
    return values


def largest_cause(parts: BlurParts) -> str:
    """The cause of the largest blur."""
    return max(CAUSES, key=lambda cause: _size(parts, cause))


def _size(parts: BlurParts, cause: str) -> float:
    return float(getattr(parts, f"{cause}_mm"))


def setting_text(found: SettingFound, units: str) -> str:
    """The result as lines to read, in metres or feet."""
    focus_m = found.focus_distance_m
    plane = "sensor plane" if found.distance_from == "sensor" else "lens"
    rows = [
        ("near limit", format_distance(float(found.plain.near_limit_m), units)),
        ("far limit", far_limit(float(found.plain.far_limit_m), focus_m, units)),
        ("depth of field", _depth(found.plain, focus_m, units)),
        ("hyperfocal distance", format_distance(float(found.plain.hyperfocal_m), units)),
        ("circle of confusion", f"{found.coc_mm:.4f} mm ({found.criterion.name}: {found.criterion.source})"),
        ("distances", f"counted from the {plane}"),
    ]
    head = setting(found.focal_length_mm, found.f_number, focus_m, units)
    return "\n".join(
        [
            head,
            *_by_tape(found, units),
            *(f"  {name:<21}{value}" for name, value in rows),
            *_together(found, units),
            *_subject(found, units),
            "",
            *ring.read_scale(found.f_number, found.own_mm, found.scale, found.sensor),
            *_off_the_scale(found),
        ]
    )


def _by_tape(found: SettingFound, units: str) -> list[str]:
    if found.shift is None:
        return []
    e_mm = float(extension_mm(found.focus_distance_m, found.focal_length_mm, found.distance_from))
    real_mm = e_mm + found.shift.shift_mm
    return ring.ring_shift(
        found.shift, found.checks, found.focus_distance_m, found.true_focus_m, real_mm, units
    )


def _off_the_scale(found: SettingFound) -> list[str]:
    if found.shift is None:
        return []
    return ["  Every mark of this ring is off, so its scale reads wrong distances: trust the limits above."]


def _depth(plain: Zone, focus_m: float, units: str) -> str:
    if math.isinf(plain.far_limit_m):
        return "without end"
    if plain.far_limit_m > 20 * focus_m:
        return "almost without end: the last per cent of every setting decides where"
    return f"{format_distance(float(plain.depth_m), units)}, {percent(float(plain.share_in_front))} in front"


def _together(found: SettingFound, units: str) -> list[str]:
    if found.together is None or found.exposure_time_s is None:
        return []
    at = format_exposure_time(found.exposure_time_s)
    if not found.together.empty:
        limits = zone(
            float(found.together.near_limit_m),
            float(found.together.far_limit_m),
            found.focus_distance_m,
            units,
        )
        return ["", f"With all blur together at {at}: {limits}"]
    cause = largest_cause(found.at_focus)
    return [
        "",
        f"With all blur together at {at}: nothing is sharp enough.",
        f"  Even in the plane of focus it comes to {_size(found.at_focus, 'combined'):.4f} mm, and "
        f"{found.tolerance_mm:.4f} mm is allowed.",
        f"  Most of it is {IN_WORDS[cause]}, {_size(found.at_focus, cause):.4f} mm.",
    ]


def _subject(found: SettingFound, units: str) -> list[str]:
    if found.at_subject is None or found.subject_distance_m is None:
        return []
    in_pixels = not math.isnan(found.pixel_pitch_mm)
    head = f"Blur at {format_distance(found.subject_distance_m, units)}"
    columns = f"{head:<26}{'mm':>8}{'of allowed':>12}" + (f"{'pixels':>8}" if in_pixels else "")
    lines = ["", columns]
    for cause in (*CAUSES, "combined"):
        size = _size(found.at_subject, cause)
        if size == 0 and cause != "defocus":
            continue
        name = "all together" if cause == "combined" else IN_WORDS[cause]
        line = f"  {name:<24}{size:>8.4f}{100 * size / found.tolerance_mm:>10.0f} %"
        lines.append(line + (f"{size / found.pixel_pitch_mm:>8.1f}" if in_pixels else ""))
    if _size(found.at_subject, "motion") > 0:
        where = "any way" if found.crossing_deg is None else f"at {found.crossing_deg:g}°"
        lines.append(f"  Movement is that of {found.speed_m_s:.3g} m/s {where}; --speed tells another.")
    if found.exposure_time_s is None:
        lines.append("  Movement is left out; --shutter adds it.")
    return lines
