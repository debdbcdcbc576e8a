"""Plans as lines to read and as JSON rows: wanted limits, several subjects, flash."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from auditor.optics.bench import Bench
from auditor.optics.blur import defocus_mm
from auditor.optics.flash import Flash, guide_number_at
from auditor.optics.lens import Floats, sharp_zone
from auditor.optics.plans import Plan, widest_f_number
from auditor.optics.ring_check import true_focus_m
from auditor.optics.rings import Place, nearest_place, within
from auditor.show.words.figures import far_limit, listed, zone
from auditor.show.words.ring import anywhere, place_name, read_scale, ring_at
from auditor.units import format_f_number

FLASH_CAUTION = (
    "No flash at animals or at athletes in action, into the eyes of anyone who drives or rides, or where a "
    "venue or an organiser forbids it."
)


def by_criterion(bench: Bench) -> str:
    """By which criterion a plan is made, counted from where, and whether by tape."""
    plane = "sensor plane" if bench.distance_from == "sensor" else "lens"
    criterion = f"{bench.tolerance_mm:.4f} mm ({bench.criterion.name})"
    said = f"Circle of confusion {criterion}; distances count from the {plane}."
    if not bench.shift:
        return said
    way = "out" if bench.shift_mm > 0 else "in"
    return f"{said}\nRing corrected by tape: lens {abs(bench.shift_mm):.2f} mm too far {way}."


def limits_rows(found: Plan, own_mm: Floats, bench: Bench) -> list[dict[str, Any]]:
    """One row for each f-stop, by the names of the contract."""
    return [
        {
            "f_number": float(found.f_number[i]),
            "focus_distance_m": float(found.focus_distance_m[i]),
            "between_engravings_m": found.places[i].between_m,
            "near_limit_m": float(found.zone.near_limit_m[i]),
            "far_limit_m": float(found.zone.far_limit_m[i]),
            "covers": bool(found.covers[i]),
            "focus_from_m": float(found.focus_from_m[i]),
            "focus_to_m": float(found.focus_to_m[i]),
            "read_scale_for": float(found.f_number[i] * own_mm[i] / bench.scale.coc_mm),
            "probability_inside": None,
        }
        for i in range(len(found.f_number))
    ]


def limits_text(found: Plan, own_mm: Floats, bench: Bench, limits: tuple[float, float]) -> str:
    """The plan for wanted limits as lines to read; a circle of confusion for each f-stop."""
    head = f"{bench.focal_length_mm:g} mm, sharp from {bench.shown(limits[0])} to {bench.shown(limits[1])}"
    rows = [f"  {'':<8}{'sharp from':>11}{'to':>16}  ring at"]
    for i, number in enumerate(found.f_number):
        focus_m, near_m, far_m = (
            float(values[i])
            for values in (found.focus_distance_m, found.zone.near_limit_m, found.zone.far_limit_m)
        )
        leeway = anywhere(within(bench.places, found.focus_from_m[i], found.focus_to_m[i]), bench.units)
        ring = leeway if found.covers[i] and leeway else place_name(found.places[i], bench.units)
        end = far_limit(far_m, focus_m, bench.units)
        said = "covers" if found.covers[i] else "does not cover"
        rows.append(f"  {format_f_number(number):<8}{bench.shown(near_m):>11}{end:>16}  {ring}: {said}")
    if found.covers.any():
        i = int(found.covers.argmax())
        number = format_f_number(float(found.f_number[i]))
        advice = [
            f"Widest f-number of the list that covers: {number}, {ring_at(found.places[i], bench.units)}.",
            *read_scale(float(found.f_number[i]), float(own_mm[i]), bench),
        ]
    else:
        advice = _how_close(found, bench, limits)
    return "\n".join([head, *rows, *advice, by_criterion(bench)])


def _how_close(found: Plan, bench: Bench, limits: tuple[float, float]) -> list[str]:
    """What is missing where no f-number covers the limits on the ring."""
    number, focus_m = float(found.f_number[-1]), float(found.focus_distance_m[-1])
    setting: dict[str, Any] = {"f_number": number, "focus_distance_m": focus_m}
    blur = float(defocus_mm(subject_distance_m=np.array(limits), **setting, **bench.lens).max())
    lines = [
        f"No f-number of the list covers this on this ring. {format_f_number(number)} comes closest: at the "
        f"worse limit the blur is {blur:.3f} mm, {blur / bench.tolerance_mm:.1f} times what is allowed."
    ]
    if bench.criterion.name != "measured":
        needed = widest_f_number(*limits, bench.focal_length_mm, bench.tolerance_mm, bench.distance_from)
        lines.append(f"With the ring just so it would take f/{float(needed):.3g}.")
    return lines


def subjects_text(found: Plan, bench: Bench, subjects_m: Sequence[float]) -> str:
    """The plan for several subjects in one frame: what holds all of them, and what wide open gives each."""
    names = listed(bench.shown(at) for at in subjects_m)
    head = f"{bench.focal_length_mm:g} mm, subjects at {names}; the first is the one meant"
    lines = [head]
    if found.covers.any():
        i = int(found.covers.argmax())
        ends = zone(
            float(found.zone.near_limit_m[i]),
            float(found.zone.far_limit_m[i]),
            float(found.focus_distance_m[i]),
            bench.units,
        )
        number = format_f_number(float(found.f_number[i]))
        lines.append(f"  All of them: {number}, {ring_at(found.places[i], bench.units)}, sharp {ends}.")
    else:
        lines += [f"  {line}" for line in _how_close(found, bench, (min(subjects_m), max(subjects_m)))]
    wide = float(found.f_number[0])
    first = bench.place_for(subjects_m[0])
    lines.append(f"  Wide open, {format_f_number(wide)}, {ring_at(first, bench.units)}:")
    for row in blur_of_each(bench, wide, subjects_m):
        said = "sharp" if row["times_coc"] <= 1 else f"{row['times_coc']:.1f} times what is allowed"
        lines.append(
            f"    {bench.shown(row['subject_distance_m']):<9}{row['defocus_mm']:.3f} mm out of focus, {said}"
        )
    return "\n".join([*lines, by_criterion(bench)])


def blur_of_each(bench: Bench, f_number: float, subjects_m: Sequence[float]) -> list[dict[str, float]]:
    """Defocus of each subject with the ring where it focuses nearest to the first."""
    setting: dict[str, Any] = {
        "f_number": f_number,
        "focus_distance_m": bench.place_for(subjects_m[0]).distance_m,
    }
    discs = defocus_mm(subject_distance_m=np.array(subjects_m), **setting, **bench.lens)
    return [
        {
            "subject_distance_m": float(at),
            "defocus_mm": float(disc),
            "times_coc": float(disc / bench.tolerance_mm),
        }
        for at, disc in zip(subjects_m, discs, strict=True)
    ]


def flash_rows(flash: Flash, f_stops: Floats, coc_mm: Floats, bench: Bench) -> list[dict[str, Any]]:
    """One row for each f-number: reach, range, and the ring that keeps that range sharp."""
    rows = []
    for i, number in enumerate(f_stops):
        lit = within(bench.places, *(bench.mark_m(end[i]) for end in (flash.from_m, flash.to_m)))
        place = nearest_place(lit or bench.places, bench.mark_m(flash.reach_m[i]))
        sharp = sharp_zone(f_number=number, focus_distance_m=place.distance_m, coc_mm=coc_mm[i], **bench.lens)
        rows.append(
            {
                "f_number": float(number),
                "reach_m": float(flash.reach_m[i]),
                "lit_from_m": float(flash.from_m[i]),
                "lit_to_m": float(flash.to_m[i]),
                "focus_distance_m": place.distance_m,
                "between_engravings_m": place.between_m,
                "near_limit_m": float(sharp.near_limit_m),
                "far_limit_m": float(sharp.far_limit_m),
            }
        )
    return rows


def flash_text(flash: Flash, rows: list[dict[str, Any]], bench: Bench) -> str:
    """The plan for a flash as lines to read."""
    lines = [
        f"{bench.focal_length_mm:g} mm, flash of guide number {bench.shown(flash.guide_number_m)} "
        f"at ISO 100, set to ISO {flash.iso:g}",
        f"  {'':<8}{'full light at':>14}{'half a stop':>20}  ring at, sharp",
    ]
    for row in rows:
        place = Place(row["focus_distance_m"], row["between_engravings_m"])
        lit = f"{bench.shown(row['lit_from_m'])} to {bench.shown(row['lit_to_m'])}"
        ends = zone(row["near_limit_m"], row["far_limit_m"], row["focus_distance_m"], bench.units)
        lines.append(
            f"  {format_f_number(row['f_number']):<8}{bench.shown(row['reach_m']):>14}{lit:>20}  "
            f"{place_name(place, bench.units)}, {ends}"
        )
    widest, smallest = 0.9 * rows[0]["f_number"], 1.1 * rows[-1]["f_number"]
    at_iso_m = float(guide_number_at(flash.guide_number_m, flash.iso))
    asked = [(mark_m, at_iso_m / float(true_focus_m(mark_m, **bench.lens))) for mark_m in bench.ring_m]
    by_ring = [
        f"{bench.shown(mark_m)} {format_f_number(number)}"
        for mark_m, number in asked
        if widest <= number <= smallest
    ]
    if by_ring:
        lines.append(f"By the ring: {', '.join(by_ring)}.")
    lines.append("Distances count from the flash, at full power and bare; out of doors it reaches less far.")
    return "\n".join([*lines, FLASH_CAUTION, by_criterion(bench)])
