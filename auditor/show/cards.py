"""The table of a card: near and far limits for each engraving of the ring and each f-number.

Limits are rounded inward, so that what it calls sharp is sharp: the near limit up, the far one down.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from auditor.optics.bench import Bench
from auditor.optics.flash import Flash
from auditor.optics.lens import Floats, Zone, sharp_zone
from auditor.optics.ring_check import true_focus_m
from auditor.optics.scales import read_scale_for
from auditor.show.words.figures import FAR_IS_UNSURE
from auditor.show.words.ring import SAME_MARK, marks
from auditor.units import METRES_PER_FOOT, format_f_number

NO_ZONE, BEYOND = "–", "+"


@dataclass(frozen=True, slots=True)
class ZoneTable:
    """Zones of a lens: engravings down, f-numbers across, fields of the zone of shape (rows, stops)."""

    bench: Bench
    f_numbers: Floats
    ring_m: Floats  # ascending; the last may be infinite
    zone: Zone
    read_scale_for: Floats  # whose engraved marks show the zone, by f-number
    coc_mm: float
    coc_criterion: str
    flash: Flash | None = None

    @property
    def note(self) -> str:
        """How its numbers were made."""
        plane = "sensor plane" if self.bench.distance_from == "sensor" else "lens"
        name = "" if self.coc_criterion.endswith("mm") else f" ({self.coc_criterion})"
        return f"blur within {self.coc_mm:.3f} mm{name}, from the {plane}"

    @property
    def scale_differs(self) -> bool:
        """Whether the engraved scale must be read for other f-numbers than the one set."""
        return not 1 / SAME_MARK <= self.read_scale_for[0] / self.f_numbers[0] <= SAME_MARK

    def scale_marks(self, column: int) -> str:
        """Which engraved marks show the zone at an f-number."""
        return marks(float(self.read_scale_for[column])).replace("halfway from ", "").replace(" to f/", "-")

    def lit(self, column: int) -> str:
        """Distances that the flash lights to half a stop at an f-number, rounded inward."""
        if self.flash is None:
            return NO_ZONE
        start, end = float(self.flash.from_m[column]), float(self.flash.to_m[column])
        return f"{self._number(start, up=True)}-{self._number(end)}"

    def engraving(self, row: int) -> str:
        """The ring's number, without its unit."""
        value = self._in_units(float(self.ring_m[row]))
        return "∞" if math.isinf(value) else f"{value:.2f}".rstrip("0").rstrip(".")

    def hyperfocal(self, column: int) -> str:
        """Hyperfocal distance at an f-number, rounded up."""
        return self._number(float(self.zone.hyperfocal_m[-1, column]), up=True)

    def limits(self, row: int, column: int) -> tuple[str, str]:
        """Near and far limit, rounded inward; a far one beyond 20 times the ring only as that bound."""
        near, far = (float(limit[row, column]) for limit in (self.zone.near_limit_m, self.zone.far_limit_m))
        if math.isnan(near) or math.isnan(far):
            return NO_ZONE, NO_ZONE
        bound = FAR_IS_UNSURE * float(self.ring_m[row])
        if bound < far < math.inf:
            return self._number(near, up=True), f"{self._number(bound)}{BEYOND}"
        ends = self._number(near, up=True), self._number(far)
        if math.isfinite(far) and float(ends[0]) > float(ends[1]):  # thinner than the last figure
            ends = self._number(near, up=True, finer=1), self._number(far, finer=1)
        return ends

    def endless(self, row: int, column: int) -> bool:
        """Whether the zone reaches infinity, which it does from the hyperfocal distance on."""
        return math.isinf(self.zone.far_limit_m[row, column])

    def _in_units(self, distance_m: float) -> float:
        return distance_m if self.bench.units == "m" else distance_m / METRES_PER_FOOT

    def _number(self, distance_m: float, *, up: bool = False, finer: int = 0) -> str:
        value = self._in_units(distance_m)
        if math.isinf(value):
            return "∞"
        fine = 3 if self.bench.units == "m" else 5
        decimals = finer + (2 if value < fine else 1 if value < 20 else 0)
        steps = 10**decimals
        whole = math.ceil(value * steps - 1e-6) if up else math.floor(value * steps + 1e-6)
        return f"{whole / steps:.{decimals}f}"


def make_table(
    bench: Bench,
    f_numbers: npt.ArrayLike,
    ring_m: npt.ArrayLike,
    coc_mm: npt.ArrayLike,
    said: tuple[float, str],
    flash: Flash | None = None,
) -> ZoneTable:
    """Work out a table; criteria of shape (rows, stops) or one, said as a value and a name."""
    stops, ring = np.asarray(f_numbers, dtype=float), np.asarray(ring_m, dtype=float)
    coc = np.broadcast_to(coc_mm, (ring.size, stops.size))
    zone = sharp_zone(f_number=stops, focus_distance_m=ring[:, None], coc_mm=coc, **bench.lens)
    return ZoneTable(
        bench, stops, ring, zone, read_scale_for(stops, coc[0], bench.scale.coc_mm), *said, flash
    )


def table_text(table: ZoneTable) -> str:
    """The table as plain text, for a screen or a typewriter face."""
    columns = range(len(table.f_numbers))
    rows = [["ring", *(format_f_number(float(number)) for number in table.f_numbers)]]
    for row in range(len(table.ring_m)):
        cells = ("-".join(table.limits(row, column)).replace("–-–", NO_ZONE) for column in columns)
        rows.append([table.engraving(row), *cells])
    body = len(rows)
    rows.append(["hyper", *(table.hyperfocal(column) for column in columns)])
    if table.scale_differs:
        rows.append(["scale", *(table.scale_marks(column) for column in columns)])
    if table.flash:
        rows.append(["flash", *(table.lit(column) for column in columns)])
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["   ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    rule = "-" * len(lines[0])
    head = (
        f"{table.bench.focal_length_mm:g} mm, distances in {'metres' if table.bench.units == 'm' else 'feet'}"
    )
    foot = ["hyper: hyperfocal distance. Limits are rounded inward.", *remarks(table)]
    return "\n".join(
        [head, rule, lines[0], rule, *lines[1:body], rule, *lines[body:], rule, table.note, *foot]
    )


def remarks(table: ZoneTable) -> list[str]:
    """What the rows below the limits mean."""
    lines = []
    if any(table.limits(*place)[1].endswith(BEYOND) for place in np.ndindex(table.zone.far_limit_m.shape)):
        lines.append(f"{BEYOND}: and beyond, to where is not exactly known.")
    if table.scale_differs:
        lines.append(f"scale: marks to read on a scale engraved for {table.bench.scale.coc_mm:.3f} mm.")
    if table.flash:
        lines.append(f"flash: lit to half a stop at full power, ISO {table.flash.iso:g}.")
    if table.bench.shift_mm:
        way = "out" if table.bench.shift_mm > 0 else "in"
        lines += [
            f"Ring corrected by tape: lens {abs(table.bench.shift_mm):.2f} mm too far {way}.",
            "Every mark is off, so the engraved scale reads wrong distances: trust these limits.",
        ]
    return lines


def table_json(table: ZoneTable) -> dict[str, Any]:
    """The table as values, distances in metres."""
    return {
        "focal_length_mm": table.bench.focal_length_mm,
        "coc_mm": table.coc_mm,
        "coc_criterion": table.coc_criterion,
        "distance_from": table.bench.distance_from,
        "settings": [
            {
                "f_number": float(number),
                "focus_distance_m": float(ring),
                "focus_true_m": float(true_focus_m(ring, **table.bench.lens))
                if table.bench.shift_mm
                else None,
                "near_limit_m": float(table.zone.near_limit_m[row, column]),
                "far_limit_m": float(table.zone.far_limit_m[row, column]),
                "hyperfocal_m": float(table.zone.hyperfocal_m[row, column]),
                "read_scale_for": float(table.read_scale_for[column]),
            }
            | (
                {"lit_from_m": float(table.flash.from_m[column]), "lit_to_m": float(table.flash.to_m[column])}
                if table.flash
                else {}
            )
            for row, ring in enumerate(table.ring_m)
            for column, number in enumerate(table.f_numbers)
        ],
    }
