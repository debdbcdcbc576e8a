"""Plans as lines to read and as JSON rows: wanted limits, several subjects, flash."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from auditor.optics.blur import defocus_mm
from auditor.optics.flash import flash_range_m, flash_reach_m
from auditor.optics.lens import DistanceFrom, Floats, sharp_zone
from auditor.optics.plans import Plan, widest_f_number
from auditor.optics.rings import Place, nearest_place, within
from auditor.optics.sensors import Sensor
from auditor.show.words.figures import far_limit, listed, zone
from auditor.show.words.ring import EngravedScale, anywhere, place_name, read_scale, ring_at
from auditor.units import format_distance, format_f_number

FLASH_CAUTION = (
    "No flash at animals or at athletes in action, into the eyes of anyone who drives or rides, or where a "
    "venue or an organiser forbids it."
)


@dataclass(frozen=True, slots=True)
class PlannedLens:
    """The lens that a plan is for, and how its results are shown.

    Attributes
    ----------
    focal_length_mm : float
    places : tuple of Place
        What its ring can be set to.
    tolerance_mm : float
        Criterion, in plain words with ``criterion`` [mm].
    criterion : str
    sensor : Sensor
    scale : EngravedScale
    distance_from : {"sensor", "lens"}
    units : {"m", "ft"}
    """

    focal_length_mm: float
    places: tuple[Place, ...]
    tolerance_mm: float
    criterion: str
    sensor: Sensor
    scale: EngravedScale
    distance_from: DistanceFrom
    units: str

    def shown(self, distance_m: float) -> str:
        """A distance in the units that were asked for."""
        return format_distance(float(distance_m), self.units)

    def place(self, place: Place) -> str:
        """A place on the ring."""
        return place_name(place, self.units)

    def ring_at(self, place: Place) -> str:
        """Where to set the ring."""
        return ring_at(place, self.units)

    @property
    def note(self) -> str:
        """By which criterion, and counted from where."""
        plane = "sensor plane" if self.distance_from == "sensor" else "lens"
        criterion = f"{self.tolerance_mm:.4f} mm ({self.criterion})"
        return f"Circle of confusion {criterion}; distances count from the {plane}."


def limits_rows(found: Plan, own_mm: Floats, scale: EngravedScale) -> list[dict[str, Any]]:
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
            "read_scale_for": float(found.f_number[i] * own_mm[i] / scale.coc_mm),
            "probability_inside": None,
        }
        for i in range(len(found.f_number))
    ]


def limits_text(
    found: Plan, own_mm: Sequence[tuple[float, float, float]], lens: PlannedLens, limits: tuple[float, float]
) -> str:
    """The plan for wanted limits as lines to read; each f-stop's circle of confusion with its interval."""
    head = f"{lens.focal_length_mm:g} mm, sharp from {lens.shown(limits[0])} to {lens.shown(limits[1])}"
    rows = [f"  {'':<8}{'sharp from':>11}{'to':>16}  ring at"]
    for i, number in enumerate(found.f_number):
        focus_m, near_m, far_m = (
            float(values[i])
            for values in (found.focus_distance_m, found.zone.near_limit_m, found.zone.far_limit_m)
        )
        leeway = anywhere(within(lens.places, found.focus_from_m[i], found.focus_to_m[i]), lens.units)
        ring = leeway if found.covers[i] and leeway else lens.place(found.places[i])
        end = far_limit(far_m, focus_m, lens.units)
        said = "covers" if found.covers[i] else "does not cover"
        rows.append(f"  {format_f_number(number):<8}{lens.shown(near_m):>11}{end:>16}  {ring}: {said}")
    if found.covers.any():
        i = int(found.covers.argmax())
        number = format_f_number(float(found.f_number[i]))
        advice = [
            f"Widest f-number of the list that covers: {number}, {lens.ring_at(found.places[i])}.",
            *read_scale(float(found.f_number[i]), own_mm[i], lens.scale, lens.sensor),
        ]
    else:
        advice = _how_close(found, lens, limits)
    return "\n".join([head, *rows, *advice, lens.note])


def _how_close(found: Plan, lens: PlannedLens, limits: tuple[float, float]) -> list[str]:
    """What is missing where no f-number covers the limits on the ring."""
    number, focus_m = float(found.f_number[-1]), float(found.focus_distance_m[-1])
    blur = max(
        float(defocus_mm(lens.focal_length_mm, number, focus_m, limit, lens.distance_from))
        for limit in limits
    )
    lines = [
        f"No f-number of the list covers this on this ring. {format_f_number(number)} comes closest: at the "
        f"worse limit the blur is {blur:.3f} mm, {blur / lens.tolerance_mm:.1f} times what is allowed."
    ]
    if lens.criterion != "measured":
        needed = widest_f_number(*limits, lens.focal_length_mm, lens.tolerance_mm, lens.distance_from)
        lines.append(f"With the ring just so it would take f/{float(needed):.3g}.")
    return lines


def subjects_text(found: Plan, lens: PlannedLens, subjects_m: Sequence[float]) -> str:
    """The plan for several subjects in one frame: what holds all of them, and what wide open gives each."""
    names = listed(lens.shown(at) for at in subjects_m)
    head = f"{lens.focal_length_mm:g} mm, subjects at {names}; the first is the one meant"
    lines = [head]
    if found.covers.any():
        i = int(found.covers.argmax())
        ends = zone(
            float(found.zone.near_limit_m[i]),
            float(found.zone.far_limit_m[i]),
            float(found.focus_distance_m[i]),
            lens.units,
        )
        number = format_f_number(float(found.f_number[i]))
        lines.append(f"  All of them: {number}, {lens.ring_at(found.places[i])}, sharp {ends}.")
    else:
        lines += [f"  {line}" for line in _how_close(found, lens, (min(subjects_m), max(subjects_m)))]
    wide = float(found.f_number[0])
    first = nearest_place(lens.places, subjects_m[0])
    lines.append(f"  Wide open, {format_f_number(wide)}, {lens.ring_at(first)}:")
    for row in blur_of_each(lens, wide, first, subjects_m):
        said = "sharp" if row["times_coc"] <= 1 else f"{row['times_coc']:.1f} times what is allowed"
        lines.append(
            f"    {lens.shown(row['subject_distance_m']):<9}{row['defocus_mm']:.3f} mm out of focus, {said}"
        )
    return "\n".join([*lines, lens.note])


def blur_of_each(
    lens: PlannedLens, f_number: float, place: Place, subjects_m: Sequence[float]
) -> list[dict[str, float]]:
    """Defocus of each subject at one setting."""
    discs = defocus_mm(
        lens.focal_length_mm, f_number, place.distance_m, np.array(subjects_m), lens.distance_from
    )
    return [
        {
            "subject_distance_m": float(at),
            "defocus_mm": float(disc),
            "times_coc": float(disc / lens.tolerance_mm),
        }
        for at, disc in zip(subjects_m, discs, strict=True)
    ]


def flash_rows(
    guide_number_m: float, iso: float, f_stops: Floats, coc_mm: Floats, lens: PlannedLens
) -> list[dict[str, Any]]:
    """One row for each f-number: reach, range, and the ring that keeps that range sharp."""
    reach = np.asarray(flash_reach_m(guide_number_m, iso, f_stops))
    from_m, to_m = (np.asarray(end) for end in flash_range_m(reach))
    rows = []
    for i, number in enumerate(f_stops):
        place = nearest_place(within(lens.places, from_m[i], to_m[i]) or lens.places, reach[i])
        sharp = sharp_zone(lens.focal_length_mm, number, place.distance_m, coc_mm[i], lens.distance_from)
        rows.append(
            {
                "f_number": float(number),
                "reach_m": float(reach[i]),
                "lit_from_m": float(from_m[i]),
                "lit_to_m": float(to_m[i]),
                "focus_distance_m": place.distance_m,
                "between_engravings_m": place.between_m,
                "near_limit_m": float(sharp.near_limit_m),
                "far_limit_m": float(sharp.far_limit_m),
            }
        )
    return rows


def flash_text(guide_number_m: float, iso: float, rows: list[dict[str, Any]], lens: PlannedLens) -> str:
    """The plan for a flash as lines to read."""
    lines = [
        f"{lens.focal_length_mm:g} mm, flash of guide number {lens.shown(guide_number_m)} at ISO 100, "
        f"set to ISO {iso:g}",
        f"  {'':<8}{'full light at':>14}{'half a stop':>20}  ring at, sharp",
    ]
    for row in rows:
        place = Place(row["focus_distance_m"], row["between_engravings_m"])
        lit = f"{lens.shown(row['lit_from_m'])} to {lens.shown(row['lit_to_m'])}"
        ends = zone(row["near_limit_m"], row["far_limit_m"], row["focus_distance_m"], lens.units)
        lines.append(
            f"  {format_f_number(row['f_number']):<8}{lens.shown(row['reach_m']):>14}{lit:>20}  "
            f"{lens.place(place)}, {ends}"
        )
    by_ring = [
        f"{lens.place(place)} {format_f_number(guide_number_m * math.sqrt(iso / 100) / place.distance_m)}"
        for place in lens.places
        if place.between_m is None
        and rows[0]["f_number"] * 0.9 <= guide_number_m * math.sqrt(iso / 100) / place.distance_m
        and guide_number_m * math.sqrt(iso / 100) / place.distance_m <= rows[-1]["f_number"] * 1.1
    ]
    if by_ring:
        lines.append(f"By the ring: {', '.join(by_ring)}.")
    lines.append("Distances count from the flash, at full power and bare; out of doors it reaches less far.")
    return "\n".join([*lines, FLASH_CAUTION, lens.note])
