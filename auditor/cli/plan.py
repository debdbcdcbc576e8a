"""``auditor plan``: focus distance and f-number for wanted limits, or for a fixed line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from auditor.cli import options, typed
from auditor.errors import UnitError

if TYPE_CHECKING:
    from auditor.advice.fixed_line import LightNeeded
    from auditor.optics.plans import Plan

HOLDS = 0.95  # of the subjects of a line that an f-number should hold


def plan(
    focal_length: typed.FocalLength,
    near: Annotated[
        str | None, typer.Option("--near", help="Nearest distance that should be sharp, such as 2m.")
    ] = None,
    far: Annotated[
        str | None, typer.Option("--far", help="Farthest distance that should be sharp, such as 6m or inf.")
    ] = None,
    line: Annotated[
        str | None, typer.Option("--line", help="A line on which subjects are met, such as 5m.")
    ] = None,
    spread: Annotated[
        str | None, typer.Option("--spread", help="How far they stand from it (standard deviation): 30cm.")
    ] = None,
    f_stops: typed.FStops = None,
    pixels_wide: typed.PixelsWide = None,
    sensor: typed.SensorSize = "36x24",
    coc: options.Coc = "handbook",
    distance_from: typed.DistanceFrom = "sensor",
    units: options.Units = "m",
    iso_max: options.IsoMax = None,
    wanted_shutter: options.WantedShutter = None,
    slowest_shutter: options.SlowestShutter = None,
    json: options.Json = False,
) -> None:
    """Find the ring and the f-number for wanted limits (--near, --far) or a fixed line (--line, --spread)."""
    from auditor.optics.plans import plan_limits, plan_line
    from auditor.text import json_text
    from auditor.units import parse_distance_m

    bench = typed.read_bench(focal_length, sensor, coc, distance_from, units, pixels_wide)
    stops = typed.read_f_stops(f_stops)
    if near and far and not line and not spread:
        limits = bench.distance(near, "--near"), bench.distance(far, "--far")
        middle = min(2 * limits[0], limits[1])
        found = plan_limits(
            bench.focal_length_mm, *limits, bench.coc_mm(stops, middle), stops, bench.distance_from
        )
        text = limits_text(found, bench, limits)
    elif line and spread and not near and not far:
        line_m, spread_m = bench.distance(line, "--line"), parse_distance_m(spread)
        found = plan_line(
            bench.focal_length_mm, line_m, spread_m, bench.coc_mm(stops, line_m), stops, bench.distance_from
        )
        text = line_text(found, bench, line_m, spread_m)
    else:
        both = (near or far) and (line or spread)
        raise UnitError(
            f"plan takes either --near and --far, or --line and --spread{', not both' if both else ''}.",
            "For example: auditor plan --focal-length 28mm --near 2m --far 6m",
        )
    light = read_light(found, iso_max, wanted_shutter, slowest_shutter)
    if json:
        typer.echo(json_text({"settings": as_rows(found, light)}))
    else:
        typer.echo("\n".join([text, *light_text(found, light)]))


def read_light(
    found: Plan, iso_max: float | None, wanted_shutter: str | None, slowest_shutter: str | None
) -> LightNeeded | None:
    """The light that each f-number needs; None where no light option was given."""
    from auditor.advice.fixed_line import light_needed
    from auditor.settings import Settings
    from auditor.units import parse_exposure_time_s

    if iso_max is None and wanted_shutter is None and slowest_shutter is None:
        return None
    settings = Settings().changed(
        iso_max=iso_max,
        wanted_shutter_s=parse_exposure_time_s(wanted_shutter) if wanted_shutter else None,
        slowest_shutter_s=parse_exposure_time_s(slowest_shutter) if slowest_shutter else None,
    )
    return light_needed(found.f_number, settings)


def light_text(found: Plan, light: LightNeeded | None) -> list[str]:
    """The light each f-number needs, as lines to read."""
    from auditor.advice.fixed_line import scene_at
    from auditor.units import format_exposure_time

    if light is None:
        return []
    wanted, slowest = (format_exposure_time(t) for t in (light.wanted_shutter_s, light.slowest_shutter_s))
    rows = [f"Light needed at ISO {light.iso_max:g} (exposure values at ISO 100):"]
    for number, enough, least in zip(found.f_number, light.wanted_ev, light.darkest_ev, strict=True):
        scene = scene_at(float(enough))
        rows.append(
            f"  f/{number:<6g}{wanted} from EV {enough:.1f}{f' ({scene})' if scene else ''}, "
            f"{slowest} from EV {least:.1f}, darker: not at all"
        )
    return rows


def as_rows(found: Plan, light: LightNeeded | None = None) -> list[dict[str, Any]]:
    """One row for each f-stop, by the names of the contract."""
    return [
        {
            "f_number": float(found.f_number[i]),
            "focus_distance_m": float(found.focus_distance_m[i]),
            "near_limit_m": float(found.zone.near_limit_m[i]),
            "far_limit_m": float(found.zone.far_limit_m[i]),
            "covers": bool(found.covers[i]),
            "focus_from_m": float(found.focus_from_m[i]),
            "focus_to_m": float(found.focus_to_m[i]),
            "probability_inside": float(found.probability_inside[i]),
        }
        | (
            {"wanted_ev": float(light.wanted_ev[i]), "darkest_ev": float(light.darkest_ev[i])}
            if light
            else {}
        )
        for i in range(len(found.f_number))
    ]


def limits_text(found: Plan, bench: typed.Bench, limits: tuple[float, float]) -> str:
    """The plan for wanted limits as lines to read."""
    from auditor.show.words.figures import far_limit

    rows = []
    for row in as_rows(found):
        focus_m = row["focus_distance_m"]
        leeway = f"{bench.shown(row['focus_from_m'])} to {bench.shown(row['focus_to_m'])}"
        rows.append(
            f"  f/{row['f_number']:<6g}{bench.shown(row['near_limit_m']):>9}"
            f"{far_limit(row['far_limit_m'], focus_m, bench.units):>16}  "
            f"{'covers, ring anywhere from ' + leeway if row['covers'] else ''}".rstrip()
        )
    wanted = f"{bench.shown(limits[0])} to {bench.shown(limits[1])}"
    head = (
        f"{bench.focal_length_mm:g} mm, sharp from {wanted}: ring at {bench.shown(found.focus_distance_m[0])}"
    )
    if found.covers.any():
        advice = [f"Widest f-number of the list that covers: f/{found.f_number[found.covers][0]:g}."]
    else:
        advice = _how_close(found, bench, limits)
    return "\n".join([head, *rows, *advice, _note(bench)])


def _how_close(found: Plan, bench: typed.Bench, limits: tuple[float, float]) -> list[str]:
    """What is missing where no f-number covers the limits."""
    from auditor.optics.blur import defocus_mm
    from auditor.optics.plans import widest_f_number

    number, focus_m = float(found.f_number[-1]), float(found.focus_distance_m[-1])
    blur = float(defocus_mm(bench.focal_length_mm, number, focus_m, limits[0], bench.distance_from))
    lines = [
        f"No f-number of the list covers this. f/{number:g} comes closest: at both limits the blur is "
        f"{blur:.3f} mm, {blur / bench.tolerance_mm:.1f} times what is allowed."
    ]
    if bench.criterion.name != "measured":
        needed = widest_f_number(*limits, bench.focal_length_mm, bench.tolerance_mm, bench.distance_from)
        lines.append(f"It would take f/{float(needed):.0f}.")
    return lines


def line_text(found: Plan, bench: typed.Bench, line_m: float, spread_m: float) -> str:
    """The plan for a fixed line as lines to read."""
    from auditor.show.words.figures import far_limit, percent

    about = f"{bench.shown(line_m)} give or take {bench.shown(spread_m)}"
    head = f"{bench.focal_length_mm:g} mm, subjects at {about}"
    rows = [f"  {'':<8}{'ring at':>9}{'sharp from':>12}{'to':>16}{'inside':>9}"]
    for row in as_rows(found):
        focus_m, near_m = row["focus_distance_m"], row["near_limit_m"]
        far, inside = far_limit(row["far_limit_m"], focus_m, bench.units), percent(row["probability_inside"])
        rows.append(
            f"  f/{row['f_number']:<6g}{bench.shown(focus_m):>9}{bench.shown(near_m):>12}{far:>16}{inside:>9}"
        )
    return "\n".join([head, *rows, _which_holds(found), _note(bench)])


def _which_holds(found: Plan) -> str:
    """The widest f-number that holds nearly all subjects of a line."""
    from auditor.show.words.figures import percent

    enough = found.probability_inside >= HOLDS
    if enough.any():
        return f"Widest f-number of the list that holds {percent(HOLDS)}: f/{found.f_number[enough][0]:g}."
    best = int(found.probability_inside.argmax())
    return (
        f"No f-number of the list holds {percent(HOLDS)}; f/{found.f_number[best]:g} holds most, "
        f"{percent(float(found.probability_inside[best]))}."
    )


def _note(bench: typed.Bench) -> str:
    plane = "sensor plane" if bench.distance_from == "sensor" else "lens"
    return (
        f"Circle of confusion {bench.tolerance_mm:.4f} mm ({bench.criterion.name}); "
        f"distances count from the {plane}."
    )
