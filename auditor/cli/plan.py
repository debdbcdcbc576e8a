"""``auditor plan``: ring and f-number for wanted limits, several subjects, a line, or a flash."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from auditor.cli import engraved, options, typed
from auditor.errors import UnitError

if TYPE_CHECKING:
    from auditor.show.plan_text import PlannedLens

EXAMPLE = "For example: auditor plan --focal-length 28mm --near 2m --far 6m"


def plan(
    focal_length: typed.FocalLength,
    near: Annotated[
        str | None, typer.Option("--near", help="Nearest distance that should be sharp, such as 2m.")
    ] = None,
    far: Annotated[
        str | None, typer.Option("--far", help="Farthest distance that should be sharp, such as 6m or inf.")
    ] = None,
    subjects: Annotated[
        str | None,
        typer.Option("--subjects", help="Subjects in one frame, the one meant first, such as 6ft,13ft."),
    ] = None,
    line: Annotated[
        str | None, typer.Option("--line", help="A line on which subjects are met, such as 5m.")
    ] = None,
    spread: Annotated[
        str | None, typer.Option("--spread", help="How far they stand from it (standard deviation): 30cm.")
    ] = None,
    before: Annotated[
        str | None, typer.Option("--before", help="Leeway on your side of the line, such as 50cm.")
    ] = None,
    after: Annotated[str | None, typer.Option("--after", help="Leeway beyond the line, such as 1m.")] = None,
    speed: Annotated[
        str | None,
        typer.Option(
            "--speed", help="How fast they pass: 3m/s, 12km/h, walking, jogging, running or cycling."
        ),
    ] = None,
    crossing: typed.Crossing = None,
    lag: Annotated[
        str | None,
        typer.Option(
            "--lag", help="Release lag of the camera, such as 0.05s.", show_default="0.02 to 0.12 s"
        ),
    ] = None,
    rate: Annotated[float | None, typer.Option("--rate", min=0.1, help="Frames a second.")] = None,
    light: Annotated[
        str | None, typer.Option("--light", help="The light there: sun, open shade, indoors or night.")
    ] = None,
    guide_number: Annotated[
        str | None, typer.Option("--guide-number", help="Guide number of a flash at ISO 100: 32m or 105ft.")
    ] = None,
    iso: Annotated[float, typer.Option("--iso", min=1, help="ISO that is set, for the flash.")] = 100.0,
    ring: typed.Ring = None,
    f_stops: typed.FStops = None,
    pixels_wide: typed.PixelsWide = None,
    sensor: typed.SensorSize = "36x24",
    coc: options.Coc = "handbook",
    scale_coc: engraved.ScaleCoc = None,
    distance_from: typed.DistanceFrom = "sensor",
    units: typed.Units = None,
    iso_max: options.IsoMax = None,
    wanted_shutter: options.WantedShutter = None,
    slowest_shutter: options.SlowestShutter = None,
    json: options.Json = False,
) -> None:
    """Find the ring and the f-number: for limits, for several subjects, for a line, or for a flash."""
    import numpy as np

    from auditor.optics.rings import places_on
    from auditor.show.plan_text import PlannedLens
    from auditor.text import json_text

    asked = [bool(near and far), bool(subjects), bool(line), bool(guide_number)]
    about_line = (spread, before, after, speed, crossing, lag, rate)
    if (
        sum(asked) != 1
        or (bool(near) != bool(far))
        or (not line and any(one is not None for one in about_line))
    ):
        raise UnitError(
            "plan takes one of: --near and --far, --subjects, --line (with --spread, --before, --after, "
            "--speed, --crossing, --lag, --rate), or --guide-number.",
            EXAMPLE,
        )
    if line and not (spread or before or after):
        raise UnitError(
            "Nothing says how far from the line subjects may be.",
            "Give --spread, such as 30cm, or the leeway: --before and --after.",
        )
    shown_in = typed.units_in_use(units, ring, near, far, subjects, line, guide_number)
    bench = typed.read_bench(focal_length, sensor, coc, distance_from, shown_in, pixels_wide)
    stops = np.array(typed.read_f_stops(f_stops))
    lens = PlannedLens(
        focal_length_mm=bench.focal_length_mm,
        places=places_on(typed.read_ring(ring, bench), bench.focal_length_mm, bench.distance_from),
        tolerance_mm=bench.tolerance_mm,
        criterion=bench.criterion.name,
        sensor=bench.sensor,
        scale=engraved.read_scale(scale_coc, None, bench),
        distance_from=bench.distance_from,
        units=shown_in,
    )
    if near and far:
        limits = bench.distance(near, "--near"), bench.distance(far, "--far")
        found = _limits(bench, lens, stops, limits)
    elif subjects:
        found = _subjects(bench, lens, stops, subjects)
    elif line:
        wishes = _line(bench, line, spread, before, after, speed, crossing, lag)
        wishes = replace(wishes, exposure_time_s=_seconds(wanted_shutter), iso_max=iso_max)
        found = _at_line(bench, lens, stops, wishes, rate, light, _seconds(slowest_shutter))
    else:
        found = _flash(bench, lens, stops, str(guide_number), iso)
    values, text = found
    options_given = any(one is not None for one in (light, iso_max, wanted_shutter, slowest_shutter))
    if options_given and not guide_number and not (line and light):  # in a stated light a line says its ISO
        asked_s = values["settings"][0].get("exposure_time_s")
        wanted_s = asked_s if asked_s and np.isfinite(asked_s) else _seconds(wanted_shutter)
        rows, lines = _light(stops, light, iso_max, wanted_s, _seconds(slowest_shutter))
        for row, own in zip(values["settings"], rows, strict=True):
            row.update(own)
        text = "\n".join([text, *lines])
    typer.echo(json_text(values) if json else text)


def _limits(
    bench: typed.Bench, lens: PlannedLens, stops: Any, limits: tuple[float, float]
) -> tuple[dict[str, Any], str]:
    import numpy as np

    from auditor.optics.plans import plan_limits
    from auditor.show.plan_text import limits_rows, limits_text

    own = np.asarray(bench.coc_mm(stops, min(2 * limits[0], limits[1])))
    found = plan_limits(lens.focal_length_mm, *limits, own, lens.places, stops, lens.distance_from)
    return {"settings": limits_rows(found, own, lens.scale)}, limits_text(
        found, [bench.own_mm(float(coc)) for coc in own], lens, limits
    )


def _subjects(bench: typed.Bench, lens: PlannedLens, stops: Any, subjects: str) -> tuple[dict[str, Any], str]:
    import numpy as np

    from auditor.optics.plans import plan_limits
    from auditor.optics.rings import nearest_place
    from auditor.show.plan_text import blur_of_each, limits_rows, subjects_text

    each = [
        bench.distance(part, "--subjects") for part in subjects.replace(";", ",").split(",") if part.strip()
    ]
    if len(each) < 2:
        raise UnitError(f"--subjects {subjects!r} is not several distances.", "Write them like 6ft,13ft.")
    own = np.asarray(bench.coc_mm(stops, each[0]))
    found = plan_limits(
        lens.focal_length_mm, min(each), max(each), own, lens.places, stops, lens.distance_from
    )
    first = nearest_place(lens.places, each[0])
    values = {
        "settings": limits_rows(found, own, lens.scale),
        "wide_open": {
            "f_number": float(stops[0]),
            "focus_distance_m": first.distance_m,
            "subjects": blur_of_each(lens, float(stops[0]), first, each),
        },
    }
    return values, subjects_text(found, lens, each)


def _line(
    bench: typed.Bench,
    line: str,
    spread: str | None,
    before: str | None,
    after: str | None,
    speed: str | None,
    crossing: float | None,
    lag: str | None,
) -> Any:
    from auditor.advice.fixed_line import USUAL_LAG_S, Line
    from auditor.units import parse_distance_m

    known_lag = _seconds(lag)
    return Line(
        distance_m=bench.distance(line, "--line"),
        spread_m=parse_distance_m(spread) if spread else None,
        before_m=parse_distance_m(before) if before else 0.0,
        after_m=parse_distance_m(after) if after else 0.0,
        speed_m_s=typed.read_speed_m_s(speed) if speed else 0.0,
        crossing_deg=crossing,
        lag_s=USUAL_LAG_S if known_lag is None else (known_lag, known_lag),
    )


def _at_line(
    bench: typed.Bench,
    lens: PlannedLens,
    stops: Any,
    wishes: Any,
    rate: float | None,
    light: str | None,
    slowest_s: float | None,
) -> tuple[dict[str, Any], str]:
    import numpy as np

    from auditor.advice.fixed_line import concessions, exposure_time_s, plan_line
    from auditor.advice.light_kinds import read_kind
    from auditor.advice.limits import USUAL_SHUTTER_S
    from auditor.show.line_text import line_rows, line_text

    kind = read_kind(light) if light else None
    with_lens = (lens.tolerance_mm, lens.places, stops, bench.sensor.width_mm, lens.distance_from)
    asked = exposure_time_s(wishes, lens.focal_length_mm, lens.tolerance_mm, lens.distance_from)
    unasked = kind is not None and np.isnan(asked)
    if kind:
        wishes = replace(wishes, light_ev=kind.usual_ev)
    if unasked:
        wishes = replace(wishes, exposure_time_s=slowest_s or USUAL_SHUTTER_S)
    found = plan_line(lens.focal_length_mm, wishes, *with_lens)
    given_up = () if found.serves else concessions(lens.focal_length_mm, wishes, *with_lens)
    values = {"settings": line_rows(found, wishes, lens.tolerance_mm / lens.scale.coc_mm)}
    return values, line_text(
        found, wishes, lens, given_up, rate, kind.said if kind else "", unasked and slowest_s is None
    )


def _flash(
    bench: typed.Bench, lens: PlannedLens, stops: Any, guide_number: str, iso: float
) -> tuple[dict[str, Any], str]:
    import numpy as np

    from auditor.show.plan_text import flash_rows, flash_text

    number_m = engraved.read_guide_number_m(guide_number)
    own = np.broadcast_to(bench.coc_mm(stops, 3.0), stops.shape)
    rows = flash_rows(number_m, iso, stops, own, lens)
    return {"settings": rows}, flash_text(number_m, iso, rows, lens)


def _seconds(text: str | None) -> float | None:
    from auditor.units import parse_exposure_time_s

    return parse_exposure_time_s(text) if text else None


def _light(
    stops: Any, light: str | None, iso_max: float | None, wanted_s: float | None, slowest_s: float | None
) -> tuple[list[dict[str, Any]], list[str]]:
    """The light that each f-number needs, as JSON rows and lines."""
    from auditor.advice.light_kinds import read_kind
    from auditor.advice.light_needed import light_needed
    from auditor.settings import Settings
    from auditor.show.light_text import light_rows, light_text

    needed = light_needed(
        stops,
        Settings().changed(iso_max=iso_max, wanted_shutter_s=wanted_s, slowest_shutter_s=slowest_s),
    )
    kind = read_kind(light) if light else None
    return light_rows(stops, needed, kind), light_text(stops, needed, kind)
