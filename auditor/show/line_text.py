"""The plan for a line in words for the person who stands at it, and as JSON rows."""

import math

from auditor.advice.fixed_line import HOLDS, USUAL_LAG_S, Concession, Line, LinePlan
from auditor.advice.limits import USUAL_ISO_MAX
from auditor.optics.bench import Bench
from auditor.show.plan_text import Row, by_criterion, row_place, row_setting, row_zone
from auditor.show.words.figures import about, counted, far_limit, percent
from auditor.show.words.ring import place_name
from auditor.units import format_exposure_time, format_f_number

LINE_CAUTION = (
    "Stand behind the barrier, follow the organiser and the marshals, keep off roads and race courses; local "
    "law and licensed practice come first. Look up from the camera before you step anywhere."
)


_BY_STOP = (
    "near_limit_m", "far_limit_m", "covers", "probability_inside", "exposure_time_s", "iso", "affordable",
)  # fmt: skip


def line_rows(found: LinePlan, line: Line, bench: Bench) -> list[Row]:
    """The plan for a line, one row for each f-stop."""
    start_m, end_m = found.lead_m if line.speed_m_s else (None, None)
    return [
        {
            "f_number": float(found.f_number[i]),
            "focus_distance_m": place.distance_m,
            "between_engravings_m": place.between_m,
            **{name: getattr(found, name)[i].item() for name in _BY_STOP},
            "lead_m": sum(found.lead_m) / 2 if line.speed_m_s else None,
            "lead_from_m": start_m,
            "lead_to_m": end_m,
            "seconds_inside": float(found.seconds_inside[i]) if line.speed_m_s else None,
            "read_scale_for": float(found.f_number[i] * bench.tolerance_mm / bench.scale.coc_mm),
            "chosen": i == found.best,
        }
        for i, place in enumerate(found.places)
    ]


def line_text(
    rows: list[Row],
    line: Line,
    bench: Bench,
    given_up: tuple[Concession, ...],
    rate: float | None,
    light: str,
    assumed_time: bool,
) -> str:
    """The plan for a line as lines to read; ``light`` as it stands in a sentence, else empty."""
    has_iso = any(math.isfinite(row["iso"]) for row in rows)
    lines = [
        f"{bench.focal_length_mm:g} mm, {_wish(line, bench)}",
        f"  {'':<8}{'sharp from':>11}{'to':>16}{'holds':>13}{'ISO' if has_iso else '':>11}  ring at",
    ]
    for row in rows:
        start, end = "nothing", "–"
        if not math.isnan(row["near_limit_m"]):
            start = bench.shown(row["near_limit_m"])
            end = far_limit(row["far_limit_m"], row["focus_distance_m"], bench.units)
        iso = about(row["iso"]) if math.isfinite(row["iso"]) else ""
        dark = "" if row["affordable"] else f"  over ISO {line.iso_max:g}"
        lines.append(
            f"  {format_f_number(row['f_number']):<8}{start:>11}{end:>16}{_chance(row):>13}{iso:>11}  "
            f"{place_name(row_place(row), bench.units)}{dark}"
        )
    chosen = next(row for row in rows if row["chosen"])
    return "\n".join(
        [
            *lines,
            "",
            *_at_the_line(chosen, line, bench, light, assumed_time),
            *_press(chosen, line, bench, rate),
            *_instead(chosen, given_up, bench),
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
        unknown = line.crossing_deg is None
        way = "any direction" if unknown else f"{line.crossing_deg:g} degrees to the line of sight"
        said += f"; {line.speed_m_s:.2g} m/s, {way}"
    return said


def _chance(row: Row) -> str:
    chance = row["probability_inside"]
    return "over 99.9 %" if chance > 0.9995 else percent(chance)


def _at_the_line(row: Row, line: Line, bench: Bench, light: str, assumed_time: bool) -> list[str]:
    """What to set, and what that holds."""
    setting, time_s = row_setting(row, bench), row["exposure_time_s"]
    if math.isfinite(time_s):
        setting += f", {format_exposure_time(time_s)}{' (assumed)' if assumed_time else ''}"
    iso = f"ISO {about(row['iso'])}" if math.isfinite(row["iso"]) else ""
    ends = "" if math.isnan(row["near_limit_m"]) else f", {row_zone(row, bench)}"
    said = f"{_chance(row)} of the subjects are sharp{ends}."
    if row["affordable"]:
        lines = [f"Set {setting}{f', {iso} {light}' if iso else ''}: {said}"]
        if line.iso_max is None and row["iso"] > USUAL_ISO_MAX:
            lines.append(f"Few cameras serve at {iso}: say with --iso-max how far yours does.")
    else:
        time = format_exposure_time(time_s)
        lines = [
            f"ISO {line.iso_max:g} is too little {light} for {time}, at any f-number.",
            f"It would take {iso} for {setting}: {said}",
        ]
    if (line.before_m or line.after_m) and not row["covers"]:
        lines.append("The whole leeway is not sharp there.")
    return lines


def _press(row: Row, line: Line, bench: Bench, rate: float | None) -> list[str]:
    """When to press for a subject that moves, and how long it stays sharp."""
    if not line.speed_m_s:
        return []
    start, end = (bench.shown(row[name]) for name in ("lead_from_m", "lead_to_m"))
    lead = start if row["lead_from_m"] == row["lead_to_m"] else f"{start} to {end}"
    why = " (release lag unknown, usually 0.02 to 0.12 s)" if line.lag_s == USUAL_LAG_S else ""
    lines = [
        f"Press when they are {lead} short of the line on their way{why}. Your own reaction comes on top: "
        "try ten first."
    ]
    seconds = row["seconds_inside"]
    if math.isfinite(seconds):
        least = "at least " if line.crossing_deg is None else ""
        frames = f", {counted(max(int(seconds * rate), 1), 'frame')} at {rate:g} a second" if rate else ""
        lines.append(f"They stay sharp and in the picture for {least}{seconds:.1f} s{frames}.")
    return lines


def _instead(chosen: Row, given_up: tuple[Concession, ...], bench: Bench) -> list[str]:
    """Which wish to give up where no setting serves, and what that brings."""
    if chosen["affordable"] and chosen["probability_inside"] >= HOLDS:
        return []
    lines = [f"No setting holds {percent(HOLDS)} as wished."]
    wishes = [one for one in given_up if chosen["affordable"] or one.wish != "iso"]
    lines += [f"  {_concession(one, bench)}" for one in wishes]
    return lines if wishes else [*lines, "  Giving up any one wish brings little; give up two."]


def _concession(one: Concession, bench: Bench) -> str:
    row = line_rows(one.plan, one.line, bench)[one.plan.best]
    iso = f", ISO {about(row['iso'])}" if math.isfinite(row["iso"]) else ""
    wish = {
        "distance": f"Stand {bench.shown(one.line.distance_m)} from the line",
        "leeway": "Accept half the spread and leeway",
        "exposure_time": f"Take {format_exposure_time(one.line.exposure_time_s or math.nan)}",
        "iso": "Accept any ISO",
    }[one.wish]
    return f"{wish}: {_chance(row)} ({row_setting(row, bench)}{iso})."
