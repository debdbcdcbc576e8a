"""One typed setting in words and in JSON: its zone, plain and for all blur, and the blur at the subject."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from auditor.optics.bench import Bench
from auditor.optics.blur import BlurParts
from auditor.optics.lens import Zone
from auditor.show.words import ring
from auditor.show.words.figures import FAR_IS_UNSURE, far_limit, percent, setting, zone
from auditor.units import format_exposure_time

if TYPE_CHECKING:
    from auditor.optics.combined import CombinedZone

IN_WORDS = {
    "defocus": "defocus",
    "motion": "movement of the subject",
    "diffraction": "diffraction",
    "turn": "turning of the camera",
    "pixel": "the pixel itself",
    "combined": "all together",
}
CAUSES = tuple(IN_WORDS)[:-1]
ZONE = ("hyperfocal_m", "near_limit_m", "far_limit_m", "depth_m", "share_in_front")


@dataclass(frozen=True, slots=True)
class SettingFound:
    """All that is known of one typed setting."""

    bench: Bench
    f_number: float
    focus_distance_m: float
    true_focus_m: float  # where the mark really focuses
    exposure_time_s: float | None
    coc_mm: float  # what defocus alone may come to; less than the tolerance only under ``measured``
    plain: Zone
    together: CombinedZone | None  # for all blur; None without an exposure time
    at_focus: BlurParts
    subject_distance_m: float | None
    at_subject: BlurParts | None
    speed_m_s: float
    crossing_deg: float | None


def setting_json(found: SettingFound) -> dict[str, Any]:
    """The result by the names of the contract; distances in metres, infinite and unknown ones as floats."""
    bench, plain, together, at_subject = found.bench, found.plain, found.together, found.at_subject
    read, low, high = bench.read_range(found.f_number, found.coc_mm)
    values: dict[str, Any] = {
        "focal_length_mm": bench.focal_length_mm,
        "f_number": found.f_number,
        "focus_distance_m": found.focus_distance_m,
        "coc_mm": found.coc_mm,
        "coc_criterion": bench.criterion.name,
        "distance_from": bench.distance_from,
        **{name: float(getattr(plain, name)) for name in ZONE},
        "with_all_blur": None,
        "blur_at_subject": None,
        "read_scale_for": read,
        "read_scale_for_low": low,
        "read_scale_for_high": high,
        "scale_coc_mm": bench.scale.coc_mm,
        "scale_source": bench.scale.source,
        "scale_contradictions": [bench.readings[at] for at in bench.scale.contradiction or ()],
    }
    if bench.shift is not None:
        values["ring_shift_mm"] = bench.shift_mm
        values["focus_true_m"] = found.true_focus_m
        values["ring_checks_that_disagree"] = [bench.checks[at] for at in bench.shift.disagree]
    if together is not None:
        values["with_all_blur"] = {
            "near_limit_m": float(together.near_limit_m),
            "far_limit_m": float(together.far_limit_m),
            "empty": bool(together.empty),
            "largest_blur": largest_cause(found.at_focus) if together.empty else None,
        }
    if at_subject is not None:
        values["blur_at_subject"] = {
            "subject_distance_m": found.subject_distance_m,
            **{f"{cause}_mm": _size(at_subject, cause) for cause in IN_WORDS},
            "combined_pixels": _size(at_subject, "combined") / bench.pixel_pitch_mm,
            "times_coc": _size(at_subject, "combined") / bench.tolerance_mm,
        }
    return values


def largest_cause(parts: BlurParts) -> str:
    """The cause of the largest blur."""
    return max(CAUSES, key=lambda cause: _size(parts, cause))


def _size(parts: BlurParts, cause: str) -> float:
    return float(getattr(parts, f"{cause}_mm"))


def setting_text(found: SettingFound) -> str:
    """The result as lines to read."""
    bench, plain, focus_m = found.bench, found.plain, found.focus_distance_m
    plane = "sensor plane" if bench.distance_from == "sensor" else "lens"
    rows = [
        ("near limit", bench.shown(plain.near_limit_m)),
        ("far limit", far_limit(float(plain.far_limit_m), focus_m, bench.units)),
        ("depth of field", _depth(found)),
        ("hyperfocal distance", bench.shown(plain.hyperfocal_m)),
        ("circle of confusion", f"{found.coc_mm:.4f} mm ({bench.criterion.name}: {bench.criterion.source})"),
        ("distances", f"counted from the {plane}"),
    ]
    return "\n".join(
        [
            setting(bench.focal_length_mm, found.f_number, focus_m, bench.units),
            *ring.ring_shift(focus_m, bench),
            *(f"  {name:<21}{value}" for name, value in rows),
            *_together(found),
            *_subject(found),
            "",
            *ring.read_scale(found.f_number, found.coc_mm, bench),
        ]
    )


def _depth(found: SettingFound) -> str:
    plain = found.plain
    if math.isinf(plain.far_limit_m):
        return "without end"
    if plain.far_limit_m > FAR_IS_UNSURE * found.focus_distance_m:
        return "almost without end: the last per cent of every setting decides where"
    return f"{found.bench.shown(plain.depth_m)}, {percent(float(plain.share_in_front))} in front"


def _together(found: SettingFound) -> list[str]:
    if found.together is None or found.exposure_time_s is None:
        return []
    said = f"With all blur together at {format_exposure_time(found.exposure_time_s)}:"
    if not found.together.empty:
        ends = float(found.together.near_limit_m), float(found.together.far_limit_m)
        return ["", f"{said} {zone(*ends, found.focus_distance_m, found.bench.units)}"]
    cause = largest_cause(found.at_focus)
    return [
        "",
        f"{said} nothing is sharp enough.",
        f"  Even in the plane of focus it comes to {_size(found.at_focus, 'combined'):.4f} mm, and "
        f"{found.bench.tolerance_mm:.4f} mm is allowed.",
        f"  Most of it is {IN_WORDS[cause]}, {_size(found.at_focus, cause):.4f} mm.",
    ]


def _subject(found: SettingFound) -> list[str]:
    bench = found.bench
    if found.at_subject is None or found.subject_distance_m is None:
        return []
    in_pixels = not math.isnan(bench.pixel_pitch_mm)
    head = f"Blur at {bench.shown(found.subject_distance_m)}"
    lines = ["", f"{head:<26}{'mm':>8}{'of allowed':>12}" + (f"{'pixels':>8}" if in_pixels else "")]
    for cause in IN_WORDS:
        size = _size(found.at_subject, cause)
        if size == 0 and cause != "defocus":
            continue
        line = f"  {IN_WORDS[cause]:<24}{size:>8.4f}{100 * size / bench.tolerance_mm:>10.0f} %"
        lines.append(line + (f"{size / bench.pixel_pitch_mm:>8.1f}" if in_pixels else ""))
    if _size(found.at_subject, "motion") > 0:
        where = "any way" if found.crossing_deg is None else f"at {found.crossing_deg:g}°"
        lines.append(f"  Movement is that of {found.speed_m_s:.3g} m/s {where}; --speed sets another.")
    if found.exposure_time_s is None:
        lines.append("  Movement is left out; --shutter adds it.")
    return lines
