"""The plan for a line in words for the person who stands at it, and as JSON rows."""

from __future__ import annotations

import math
from typing import Any

from auditor.advice.fixed_line import HOLDS, USUAL_LAG_S, Concession, Line, LinePlan
from auditor.optics.bench import Bench
from auditor.show.plan_text import by_criterion
from auditor.show.words.figures import about, counted, far_limit, percent, zone
from auditor.show.words.ring import place_name, ring_at
from auditor.units import format_exposure_time, format_f_number

LINE_CAUTION = (
    "Stand behind the barrier, follow the organiser and the marshals, keep off roads and race courses; local "
    "law and licensed practice come first. Look up from the camera before you step anywhere."
)


def line_rows(found: LinePlan, line: Line, own_over_scale: float) -> list[dict[str, Any]]:
    """One row for each f-stop, by the names of the contract."""
    lead = sum(found.lead_m) / 2
    return [
        {
            "f_number": float(found.f_number[i]),
            "focus_distance_m": float(found.focus_distance_m[i]),
            "between_engravings_m": found.places[i].between_m,
            "near_limit_m": float(found.near_limit_m[i]),
            "far_limit_m": float(found.far_limit_m[i]),
            "covers": bool(found.covers[i]),
            "probability_inside": float(found.probability_inside[i]),
            "exposure_time_s": float(found.exposure_time_s[i]),
            "iso": float(found.iso[i]),
            "affordable": bool(found.affordable[i]),
            "lead_m": lead if line.speed_m_s else None,
            "lead_from_m": found.lead_m[0] if line.speed_m_s else None,
            "lead_to_m": found.lead_m[1] if line.speed_m_s else None,
            "seconds_inside": float(found.seconds_inside[i]) if line.speed_m_s else None,
            "read_scale_for": float(found.f_number[i] * own_over_scale),
            "chosen": i == found.best,
        }
        for i in range(len(found.f_number))
    ]


def line_text(
    found: LinePlan,
    line: Line,
    bench: Bench,
    given_up: tuple[Concession, ...],
    rate: float | None,
    light: str,
    assumed_time: bool,
) -> str:
    """The plan for a line as lines to read; the light as it stands in a sentence, empty where none is stated.

    ``assumed_time`` says that the exposure time is the usual one, for want of better.
    """
    has_iso = any(math.isfinite(value) for value in found.iso)
    rows = [f"  {'':<8}{'sharp from':>11}{'to':>16}{'holds':>13}{'ISO' if has_iso else '':>11}  ring at"]
    for i, number in enumerate(found.f_number):
        near_m, far_m = float(found.near_limit_m[i]), float(found.far_limit_m[i])
        end = far_limit(far_m, float(found.focus_distance_m[i]), bench.units) if near_m == near_m else "–"
        iso = about(float(found.iso[i])) if math.isfinite(found.iso[i]) else ""
        dark = "" if found.affordable[i] else f"  over ISO {line.iso_max:g}"
        start = bench.shown(near_m) if near_m == near_m else "nothing"
        rows.append(
            f"  {format_f_number(float(number)):<8}{start:>11}{end:>16}"
            f"{_chance(found, i):>13}{iso:>11}  {place_name(found.places[i], bench.units)}{dark}"
        )
    return "\n".join(
        [
            f"{bench.focal_length_mm:g} mm, {_wish(line, bench)}",
            *rows,
            "",
            *_at_the_line(found, line, bench, rate, light, assumed_time),
            *_instead(found, given_up, bench),
            "",
            "Sharp means: defocus, movement and diffraction together within the circle of confusion.",
            by_criterion(bench),
            LINE_CAUTION,
        ]
    )


def _wish(line: Line, bench: Bench) -> str:
    said = f"a line at {bench.shown(line.distance_m)}"
    if line.spread_m is not None:
        said += f" give or take {bench.shown(line.spread_m)}"
    if line.before_m or line.after_m:
        said += f", leeway {bench.shown(line.before_m)} before and {bench.shown(line.after_m)} behind it"
    if line.speed_m_s:
        way = (
            "any direction"
            if line.crossing_deg is None
            else f"{line.crossing_deg:g} degrees to the line of sight"
        )
        said += f"; {line.speed_m_s:.2g} m/s, {way}"
    return said


def _chance(plan: LinePlan, place: int) -> str:
    chance = float(plan.probability_inside[place])
    return "over 99.9 %" if chance > 0.9995 else percent(chance)


def _at_the_line(
    found: LinePlan, line: Line, bench: Bench, rate: float | None, light: str, assumed_time: bool
) -> list[str]:
    """What to do, in the order it is done."""
    i = found.best
    time_s = float(found.exposure_time_s[i])
    setting = f"{format_f_number(float(found.f_number[i]))}, {ring_at(found.places[i], bench.units)}"
    if math.isfinite(time_s):
        setting += f", {format_exposure_time(time_s)}{' (assumed)' if assumed_time else ''}"
    iso = f"ISO {about(float(found.iso[i]))}" if math.isfinite(found.iso[i]) else ""
    near_m = float(found.near_limit_m[i])
    ends = zone(near_m, float(found.far_limit_m[i]), float(found.focus_distance_m[i]), bench.units)
    said = f"{_chance(found, i)} of the subjects are sharp{f', {ends}' if near_m == near_m else ''}."
    if found.affordable[i]:
        lines = [f"Set {setting}{f', {iso} {light}' if iso else ''}: {said}"]
    else:
        time = format_exposure_time(time_s)
        lines = [
            f"ISO {line.iso_max:g} is too little {light} for {time}, at any f-number.",
            f"It would take {iso} for {setting}: {said}",
        ]
    if (line.before_m or line.after_m) and not found.covers[i]:
        lines.append("The whole leeway is not sharp there.")
    if not line.speed_m_s:
        return lines
    start, end = found.lead_m
    lead = bench.shown(start) if start == end else f"{bench.shown(start)} to {bench.shown(end)}"
    why = " (release lag unknown, usually 0.02 to 0.12 s)" if line.lag_s == USUAL_LAG_S else ""
    lines.append(
        f"Press when they are {lead} short of the line on their way{why}. Your own reaction comes on top: "
        "try ten first."
    )
    seconds = float(found.seconds_inside[i])
    if math.isfinite(seconds):
        least = "at least " if line.crossing_deg is None else ""
        frames = f", {counted(max(int(seconds * rate), 1), 'frame')} at {rate:g} a second" if rate else ""
        lines.append(f"They stay sharp and in the picture for {least}{seconds:.1f} s{frames}.")
    return lines


def _instead(found: LinePlan, given_up: tuple[Concession, ...], bench: Bench) -> list[str]:
    """Which wish to give up where no setting serves, and what that brings."""
    if found.serves:
        return []
    lines = [f"No setting holds {percent(HOLDS)} as wished."]
    wishes = [one for one in given_up if found.affordable[found.best] or one.wish != "iso"]
    lines += [f"  {_concession(one, bench)}" for one in wishes]
    return lines if wishes else [*lines, "  Giving up any one wish brings little; give up two."]


def _concession(one: Concession, bench: Bench) -> str:
    plan = one.plan
    i = plan.best
    iso = f", ISO {about(float(plan.iso[i]))}" if math.isfinite(plan.iso[i]) else ""
    setting = f"{format_f_number(float(plan.f_number[i]))}, {ring_at(plan.places[i], bench.units)}{iso}"
    wish = {
        "distance": f"Stand {bench.shown(one.line.distance_m)} from the line",
        "leeway": "Accept half the spread and leeway",
        "exposure_time": f"Take {format_exposure_time(one.line.exposure_time_s or math.nan)}",
        "iso": "Accept any ISO",
    }[one.wish]
    return f"{wish}: {_chance(plan, i)} ({setting})."
