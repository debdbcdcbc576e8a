"""Plans as JSON rows, one an f-stop, and as lines to read: wanted limits, several subjects, flash, light."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from auditor.advice.light_kinds import KindOfLight, scene_at
from auditor.advice.limits import LightNeeded
from auditor.optics.bench import Bench
from auditor.optics.blur import defocus_mm
from auditor.optics.flash import Flash, guide_number_at
from auditor.optics.lens import Floats, sharp_zone
from auditor.optics.plans import Plan, widest_f_number
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import Place, nearest_place, within
from auditor.show.words.figures import about, far_limit, listed, zone
from auditor.show.words.ring import anywhere, place_name, read_scale, ring_at
from auditor.units import format_exposure_time, format_f_number

FLASH_CAUTION = (
    "No flash at animals or at athletes in action, into the eyes of anyone who drives or rides, or where a "
    "venue or an organiser forbids it."
)

Row = dict[str, Any]  # by the names of the contract


def row_place(row: Row) -> Place:
    """Where the ring is set."""
    return Place(row["focus_distance_m"], row["between_engravings_m"])


def row_zone(row: Row, bench: Bench) -> str:
    """Its sharp zone."""
    return zone(row["near_limit_m"], row["far_limit_m"], row["focus_distance_m"], bench.units)


def row_setting(row: Row, bench: Bench) -> str:
    """What to set."""
    return f"{format_f_number(row['f_number'])}, {ring_at(row_place(row), bench.units)}"


def by_criterion(bench: Bench) -> str:
    """By which criterion a plan is made, counted from where, and whether by tape."""
    plane = "sensor plane" if bench.distance_from == "sensor" else "lens"
    criterion = f"{bench.tolerance_mm:.4f} mm ({bench.criterion.name})"
    said = f"Circle of confusion {criterion}; distances count from the {plane}."
    if not bench.shift:
        return said
    way = "out" if bench.shift_mm > 0 else "in"
    return f"{said}\nRing corrected by tape: lens {abs(bench.shift_mm):.2f} mm too far {way}."


def limits_rows(found: Plan, own_mm: Floats, bench: Bench) -> list[Row]:
    """The plan for wanted limits; a circle of confusion for each f-stop."""
    return [
        {
            "f_number": float(found.f_number[i]),
            "focus_distance_m": place.distance_m,
            "between_engravings_m": place.between_m,
            "near_limit_m": float(found.zone.near_limit_m[i]),
            "far_limit_m": float(found.zone.far_limit_m[i]),
            **{name: getattr(found, name)[i].item() for name in ("covers", "focus_from_m", "focus_to_m")},
            "read_scale_for": float(found.f_number[i] * own_mm[i] / bench.scale.coc_mm),
            "probability_inside": None,
        }
        for i, place in enumerate(found.places)
    ]


def limits_text(rows: list[Row], own_mm: Floats, bench: Bench, limits: tuple[float, float]) -> str:
    """The plan for wanted limits as lines to read."""
    head = f"{bench.focal_length_mm:g} mm, sharp from {bench.shown(limits[0])} to {bench.shown(limits[1])}"
    lines = [head, f"  {'':<8}{'sharp from':>11}{'to':>16}  ring at"]
    for row in rows:
        leeway = anywhere(within(bench.places, row["focus_from_m"], row["focus_to_m"]), bench.units)
        ring = leeway if row["covers"] and leeway else place_name(row_place(row), bench.units)
        end = far_limit(row["far_limit_m"], row["focus_distance_m"], bench.units)
        said = "covers" if row["covers"] else "does not cover"
        number = format_f_number(row["f_number"])
        lines.append(f"  {number:<8}{bench.shown(row['near_limit_m']):>11}{end:>16}  {ring}: {said}")
    covering = [place for place, row in enumerate(rows) if row["covers"]]
    if covering:
        row = rows[covering[0]]
        lines += [
            f"Widest f-number of the list that covers: {row_setting(row, bench)}.",
            *read_scale(row["f_number"], float(own_mm[covering[0]]), bench),
        ]
    else:
        lines += _how_close(rows[-1], bench, limits)
    return "\n".join([*lines, by_criterion(bench)])


def _how_close(row: Row, bench: Bench, limits: tuple[float, float]) -> list[str]:
    """What is missing where no f-number covers the limits on the ring; the smallest comes closest."""
    discs = defocus_mm(
        f_number=row["f_number"],
        focus_distance_m=row["focus_distance_m"],
        subject_distance_m=np.array(limits),
        **bench.lens,
    )
    blur, number = float(discs.max()), format_f_number(row["f_number"])
    lines = [
        f"No f-number of the list covers this on this ring. {number} comes closest: at the worse limit the "
        f"blur is {blur:.3f} mm, {blur / bench.tolerance_mm:.1f} times what is allowed."
    ]
    if bench.criterion.name != "measured":
        needed = widest_f_number(*limits, bench.focal_length_mm, bench.tolerance_mm, bench.distance_from)
        lines.append(f"With the ring just so it would take f/{float(needed):.3g}.")
    return lines


def subjects_text(rows: list[Row], bench: Bench, subjects_m: Sequence[float]) -> str:
    """The plan for several subjects in one frame: what holds all of them, and what wide open gives each."""
    names = listed(bench.shown(at) for at in subjects_m)
    lines = [f"{bench.focal_length_mm:g} mm, subjects at {names}; the first is the one meant"]
    holds = next((row for row in rows if row["covers"]), None)
    if holds:
        lines.append(f"  All of them: {row_setting(holds, bench)}, sharp {row_zone(holds, bench)}.")
    else:
        lines += [f"  {line}" for line in _how_close(rows[-1], bench, (min(subjects_m), max(subjects_m)))]
    wide = rows[0]["f_number"]
    ring = ring_at(bench.place_for(subjects_m[0]), bench.units)
    lines.append(f"  Wide open, {format_f_number(wide)}, {ring}:")
    for row in blur_of_each(bench, wide, subjects_m):
        said = "sharp" if row["times_coc"] <= 1 else f"{row['times_coc']:.1f} times what is allowed"
        lines.append(
            f"    {bench.shown(row['subject_distance_m']):<9}{row['defocus_mm']:.3f} mm out of focus, {said}"
        )
    return "\n".join([*lines, by_criterion(bench)])


def blur_of_each(bench: Bench, f_number: float, subjects_m: Sequence[float]) -> list[Row]:
    """Defocus of each subject with the ring where it focuses nearest to the first."""
    ring_m = bench.place_for(subjects_m[0]).distance_m
    discs = [
        float(defocus_mm(f_number=f_number, focus_distance_m=ring_m, subject_distance_m=at, **bench.lens))
        for at in subjects_m
    ]
    return [
        {"subject_distance_m": at, "defocus_mm": disc, "times_coc": disc / bench.tolerance_mm}
        for at, disc in zip(subjects_m, discs, strict=True)
    ]


def flash_rows(flash: Flash, f_stops: Floats, coc_mm: Floats, bench: Bench) -> list[Row]:
    """One row for each f-number: reach, range, and the ring that keeps that range sharp."""
    rows = []
    for number, coc, reach_m, from_m, to_m in zip(
        f_stops, coc_mm, flash.reach_m, flash.from_m, flash.to_m, strict=True
    ):
        lit = within(bench.places, bench.mark_m(from_m), bench.mark_m(to_m))
        place = nearest_place(lit or bench.places, bench.mark_m(reach_m))
        sharp = sharp_zone(f_number=number, focus_distance_m=place.distance_m, coc_mm=coc, **bench.lens)
        rows.append(
            {
                "f_number": float(number),
                "reach_m": float(reach_m),
                "lit_from_m": float(from_m),
                "lit_to_m": float(to_m),
                "focus_distance_m": place.distance_m,
                "between_engravings_m": place.between_m,
                "near_limit_m": float(sharp.near_limit_m),
                "far_limit_m": float(sharp.far_limit_m),
            }
        )
    return rows


def flash_text(flash: Flash, rows: list[Row], bench: Bench) -> str:
    """The plan for a flash as lines to read."""
    lines = [
        f"{bench.focal_length_mm:g} mm, flash of guide number {bench.shown(flash.guide_number_m)} "
        f"at ISO 100, set to ISO {flash.iso:g}",
        f"  {'':<8}{'full light at':>14}{'half a stop':>20}  ring at, sharp",
    ]
    for row in rows:
        lit = f"{bench.shown(row['lit_from_m'])} to {bench.shown(row['lit_to_m'])}"
        lines.append(
            f"  {format_f_number(row['f_number']):<8}{bench.shown(row['reach_m']):>14}{lit:>20}  "
            f"{place_name(row_place(row), bench.units)}, {row_zone(row, bench)}"
        )
    widest, smallest = 0.9 * rows[0]["f_number"], 1.1 * rows[-1]["f_number"]
    at_iso_m = float(guide_number_at(flash.guide_number_m, flash.iso))
    asked = [(mark_m, at_iso_m / float(true_focus_m(mark_m, **bench.lens))) for mark_m in bench.ring_m]
    stops = [row["f_number"] for row in rows]
    by_ring = [
        f"{bench.shown(at)} {format_f_number(min(stops, key=lambda stop: abs(math.log(stop / n))))}"
        for at, n in asked
        if widest <= n <= smallest
    ]
    if by_ring:
        lines.append(f"By the ring: {', '.join(by_ring)}.")
    lines.append("Distances count from the flash, at full power and bare; out of doors it reaches less far.")
    return "\n".join([*lines, FLASH_CAUTION, by_criterion(bench)])


def light_rows(f_number: Floats, light: LightNeeded, kind: KindOfLight | None) -> list[dict[str, Any]]:
    """What each f-number needs, and the ISO in a stated light."""
    return [
        {"wanted_ev": float(light.wanted_ev[i]), "darkest_ev": float(light.darkest_ev[i])}
        | ({"iso": _iso(float(number), light, kind)} if kind else {})
        for i, number in enumerate(f_number)
    ]


def light_text(f_number: Floats, light: LightNeeded, kind: KindOfLight | None) -> list[str]:
    """What each f-number needs, and the ISO in a stated light, as lines to read."""
    wanted, slowest = (format_exposure_time(t) for t in (light.wanted_shutter_s, light.slowest_shutter_s))
    rows = [f"Light needed at ISO {light.iso_max:g} (exposure values at ISO 100):"]
    for number, enough, least in zip(f_number, light.wanted_ev, light.darkest_ev, strict=True):
        scene = scene_at(float(enough))
        iso = f"; ISO {about(_iso(float(number), light, kind))} {kind.said}" if kind else ""
        rows.append(
            f"  {format_f_number(float(number)):<8}{wanted} from EV {enough:.1f} ({scene}), "
            f"{slowest} from EV {least:.1f}, darker: not at all{iso}"
        )
    return rows + ([_within_reach(f_number, light, kind)] if kind else [])


def _within_reach(f_number: Floats, light: LightNeeded, kind: KindOfLight) -> str:
    """How far the lens may be stopped down in a kind of light."""
    times = ((light.wanted_shutter_s, light.wanted_ev), (light.slowest_shutter_s, light.darkest_ev))
    reached = {format_exposure_time(time): f_number[ev <= kind.usual_ev] for time, ev in times}
    stops = listed(f"{format_f_number(own.max())} at {time}" for time, own in reached.items() if own.size)
    said = f"allows {stops}; stopped down further it cannot be taken" if stops else "suits no f-number"
    if all(own.size == f_number.size for own in reached.values()):
        said = "is enough for every f-number"
    return f"{kind.said[0].upper()}{kind.said[1:]} ISO {light.iso_max:g} {said}."


def _iso(number: float, light: LightNeeded, kind: KindOfLight) -> float:
    """Sensitivity for the wanted exposure time in a kind of light."""
    return float(100 * number**2 / (light.wanted_shutter_s * 2**kind.usual_ev))
