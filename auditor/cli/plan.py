"""``auditor plan``: ring and f-number for wanted limits, several subjects, a line, or a flash."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from auditor.cli import options
from auditor.cli.shared import reads_lens
from auditor.errors import UnitError

if TYPE_CHECKING:
    from auditor.advice.fixed_line import Line, LinePlan
    from auditor.optics.bench import Bench

EXAMPLE = "For example: auditor plan --focal-length 28mm --near 2m --far 6m"
Found = tuple[dict[str, Any], str]  # as JSON, and as text


@reads_lens("near", "far", "subjects", "line", "guide_number")
def plan(
    bench: Bench,
    *,
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
    speed: options.Speed = None,
    crossing: options.Crossing = None,
    lag: Annotated[
        str | None,
        typer.Option(
            "--lag", help="Release lag of the camera, such as 0.05s.", show_default="0.02 to 0.12 s"
        ),
    ] = None,
    rate: Annotated[float | None, typer.Option("--rate", min=0.1, help="Frames a second.")] = None,
    guide_number: options.GuideNumber = None,
    iso: options.FlashIso = None,
    f_stops: options.FStops = None,
    light: Annotated[
        str | None, typer.Option("--light", help="The light there: sun, open shade, indoors or night.")
    ] = None,
    iso_max: options.IsoMax = None,
    wanted_shutter: options.WantedShutter = None,
    slowest_shutter: options.SlowestShutter = None,
    json: options.Json = False,
) -> None:
    """Find the ring and the f-number: for limits, for several subjects, for a line, or for a flash."""
    import numpy as np

    from auditor.cli import typed
    from auditor.optics.ring_check import true_focus_m
    from auditor.show.words.figures import listed
    from auditor.text import json_text

    limits = "--near" if near else "--far"
    kinds = {limits: near or far, "--subjects": subjects, "--line": line, "--guide-number": guide_number}
    asked = [kind for kind, value in kinds.items() if value]
    if len(asked) > 1:
        raise UnitError(f"{listed(asked)} exclude each other.", "Leave out all but one of them.")
    about_line = (spread, before, after, speed, crossing, lag, rate)
    if not asked or bool(near) != bool(far) or (not line and any(one is not None for one in about_line)):
        raise UnitError(
            "plan takes one of: --near and --far, --subjects, --line (with --spread, --before, --after, "
            "--speed, --crossing, --lag, --rate), or --guide-number.",
            EXAMPLE,
        )
    with_light = any(one is not None for one in (light, iso_max, wanted_shutter, slowest_shutter))
    if guide_number and with_light:
        raise UnitError("The flash is the light: --guide-number takes --iso alone.", EXAMPLE)
    typed.check_flash(guide_number, iso)
    if line and not (spread or before or after):
        raise UnitError(
            "Nothing says how far from the line subjects may be.",
            "Give --spread, such as 30cm, or the leeway: --before and --after.",
        )
    stops = np.array(typed.read_f_stops(f_stops))
    wanted_s, slowest_s = typed.read_seconds(wanted_shutter), typed.read_seconds(slowest_shutter)
    if guide_number:
        values, text = _flash(bench, stops, typed.read_guide_number_m(guide_number), iso or 100.0)
    elif line:
        wishes = replace(
            _line(bench, line, spread, before, after, speed, crossing, lag),
            exposure_time_s=wanted_s,
            iso_max=iso_max,
        )
        values, text = _at_line(bench, stops, wishes, rate, light, slowest_s)
        asked_s = float(values["settings"][0]["exposure_time_s"])
        wanted_s = asked_s if np.isfinite(asked_s) else wanted_s
    elif subjects:
        each = [typed.read_distance(part, "--subjects", bench) for part in typed.split_list(subjects)]
        if len(each) < 2:
            raise UnitError(f"--subjects {subjects!r} is not several distances.", "Write them like 6ft,13ft.")
        values, text = _limits(bench, stops, each, each=True)
    else:
        ends = [
            typed.read_distance(str(end), name, bench) for end, name in ((near, "--near"), (far, "--far"))
        ]
        values, text = _limits(bench, stops, ends, each=False)
    if bench.shift:
        for row in values["settings"]:
            row["focus_true_m"] = float(true_focus_m(row["focus_distance_m"], **bench.lens))
    if with_light and not (line and light):  # in a stated light a line says its ISO
        rows, lines = _light(stops, light, iso_max, wanted_s, slowest_s)
        for row, own in zip(values["settings"], rows, strict=True):
            row.update(own)
        text = "\n".join([text, *lines])
    typer.echo(json_text(values) if json else text)


def _limits(bench: Bench, stops: Any, ends: list[float], *, each: bool) -> Found:
    """Plan for the nearest and the farthest of some distances; ``each`` is a subject, the first one meant."""
    import numpy as np

    from auditor.optics.plans import plan_limits
    from auditor.show.plan_text import blur_of_each, limits_rows, limits_text, subjects_text

    near, far = min(ends) if each else ends[0], max(ends) if each else ends[1]
    own = np.asarray(bench.coc_mm(stops, ends[0] if each else min(2 * near, far)))
    found = plan_limits(near_m=near, far_m=far, coc_mm=own, places=bench.places, f_stops=stops, **bench.lens)
    rows = limits_rows(found, own, bench)
    if not each:
        return {"settings": rows}, limits_text(rows, own, bench, (near, far))
    wide_open = {
        "f_number": float(stops[0]),
        "focus_distance_m": bench.place_for(ends[0]).distance_m,
        "subjects": blur_of_each(bench, float(stops[0]), ends),
    }
    return {"settings": rows, "wide_open": wide_open}, subjects_text(rows, bench, ends)


def _line(
    bench: Bench,
    line: str,
    spread: str | None,
    before: str | None,
    after: str | None,
    speed: str | None,
    crossing: float | None,
    lag: str | None,
) -> Line:
    from auditor.advice.fixed_line import USUAL_LAG_S, Line
    from auditor.cli import typed
    from auditor.units import parse_distance_m

    known_lag = typed.read_seconds(lag)
    return Line(
        distance_m=typed.read_distance(line, "--line", bench),
        spread_m=parse_distance_m(spread) if spread else None,
        before_m=parse_distance_m(before) if before else 0.0,
        after_m=parse_distance_m(after) if after else 0.0,
        speed_m_s=typed.read_speed_m_s(speed) if speed else 0.0,
        crossing_deg=crossing,
        lag_s=USUAL_LAG_S if known_lag is None else (known_lag, known_lag),
    )


def _at_line(
    bench: Bench, stops: Any, wishes: Line, rate: float | None, light: str | None, slowest_s: float | None
) -> Found:
    import numpy as np

    from auditor.advice.fixed_line import concessions, exposure_time_s, plan_line
    from auditor.advice.light_kinds import read_kind
    from auditor.advice.limits import USUAL_SHUTTER_S
    from auditor.show.line_text import line_rows, line_text

    kind = read_kind(light) if light else None
    tolerance = bench.tolerance_mm
    lens = (bench.focal_length_mm, tolerance, bench.distance_from)
    width_mm = bench.sensor.width_mm

    def planned(one: Line) -> LinePlan:
        return plan_line(
            line=one, tolerance_mm=tolerance, places=bench.places, f_stops=stops, sensor_width_mm=width_mm,
            **bench.lens,
        )  # fmt: skip

    unasked = kind is not None and np.isnan(exposure_time_s(wishes, *lens))
    if kind:
        wishes = replace(wishes, light_ev=kind.usual_ev)
    if unasked:
        wishes = replace(wishes, exposure_time_s=slowest_s or USUAL_SHUTTER_S)
    found = planned(wishes)
    asked_s = exposure_time_s(replace(wishes, exposure_time_s=None), *lens)
    given_up = () if found.serves else concessions(wishes, asked_s, planned)
    rows, said = line_rows(found, wishes, bench), kind.said if kind else ""
    text = line_text(rows, wishes, bench, given_up, rate, said, unasked and slowest_s is None)
    return {"settings": rows}, text


def _flash(bench: Bench, stops: Any, guide_number_m: float, iso: float) -> Found:
    import numpy as np

    from auditor.optics.flash import flash_at
    from auditor.show.plan_text import flash_rows, flash_text

    flash = flash_at(guide_number_m, iso, stops)
    rows = flash_rows(flash, stops, np.broadcast_to(bench.coc_mm(stops, 3.0), stops.shape), bench)
    return {"settings": rows}, flash_text(flash, rows, bench)


def _light(
    stops: Any, light: str | None, iso_max: float | None, wanted_s: float | None, slowest_s: float | None
) -> tuple[list[dict[str, Any]], list[str]]:
    """The light that each f-number needs, as JSON rows and lines."""
    from auditor.advice.light_kinds import read_kind
    from auditor.advice.limits import light_needed
    from auditor.settings import Settings
    from auditor.show.plan_text import light_rows, light_text

    needed = light_needed(
        stops, Settings().changed(iso_max=iso_max, wanted_shutter_s=wanted_s, slowest_shutter_s=slowest_s)
    )
    kind = read_kind(light) if light else None
    return light_rows(stops, needed, kind), light_text(stops, needed, kind)
