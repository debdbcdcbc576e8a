"""Reads the authority files; computes each printed quantity as the project and as the handbook form do."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

from auditor.optics.blur import (
    WAVELENGTH_MM,
    airy_mm,
    combined_mm,
    effective_f_number,
    motion_mm,
    mtf50_disc_mm,
)
from auditor.optics.lens import hyperfocal_m, magnification, sharp_zone
from auditor.optics.plans import best_focus_m
from auditor.optics.sensors import parse_criterion, parse_sensor

FOLDER = Path(__file__).resolve().parents[1] / "authorities"
HEADINGS = ("author", "title", "edition", "page", "precision", "convention", "obtained")
# To metres, and speeds to m/s. An inch is 25.4 mm and a foot 12 inches (exact, 1959).
UNITS = {"mm": 1e-3, "m": 1.0, "in": 0.0254, "ft": 0.3048, "cm": 0.01, "mph": 1609.344 / 3600}


@dataclass(frozen=True)
class Row:
    source: str
    id: str
    quantity: str
    inputs: dict[str, float | str]
    published: float
    unit: str
    step: float
    rounding: str
    formula: str
    ours_within: float | None
    why: str

    @property
    def allowed(self) -> float:
        """How far our own value may lie from the print."""
        return (
            self.ours_within
            if self.ours_within is not None
            else {"exact": 1e-12}.get(self.rounding, self.step / 2)
        )


def quantity_in(text: str) -> float | str:
    """An input with its unit, in metres (or m/s); a bare number as it is; anything else as text."""
    match = re.fullmatch(r"([\d.]+)(mm|m|in|ft|cm|mph)?", text)
    return float(match[1]) * UNITS.get(match[2] or "", 1.0) if match else text


def rows() -> list[Row]:
    found = []
    for path in sorted(FOLDER.glob("*.csv")):
        text = path.read_text("utf-8").splitlines()
        for row in csv.DictReader(line for line in text if not line.startswith("#")):
            pairs = [pair.split("=", 1) for pair in row["inputs"].split()]
            found.append(
                Row(
                    source=path.stem,
                    id=row["id"],
                    quantity=row["quantity"],
                    inputs={name: quantity_in(value) for name, value in pairs},
                    published=float(Fraction(row["published"])),
                    unit=row["unit"],
                    step=float(row["step"]),
                    rounding=row["rounding"],
                    formula=row["formula"],
                    ours_within=float(row["ours_within"]) if row["ours_within"] else None,
                    why=row["why"],
                )
            )
    return found


def in_unit(metres: float, unit: str) -> float:
    return metres / UNITS[unit]


def ours(row: Row) -> float:
    """The project's value of the printed quantity, in the printed unit."""
    value = float(OURS[row.quantity](**row.inputs))
    return in_unit(value, row.unit) if row.unit in UNITS else value


def approximate(row: Row) -> float:
    """The handbook form: H = f^2 / (N c), limits H s / (H + s) and H s / (H - s)."""
    if "n_th" in row.inputs:
        h, s = 1.0, 1 / float(row.inputs["n_th"])
    else:
        f, n, c, s = (float(row.inputs.get(name, math.nan)) for name in ("f", "n", "c", "s"))
        h = f**2 / (n * c)
    near, far = h * s / (h + s), h * s / (h - s) if h != s else math.inf
    if row.quantity in SHARES:
        return SHARES[row.quantity](near, far, s, h)
    return in_unit({"hyperfocal": h, "near": near, "far": far, "depth": far - near}[row.quantity], row.unit)


SHARES = {
    "near_over_focus": lambda near, far, s, h: near / s,
    "far_over_focus": lambda near, far, s, h: far / s,
    "front_over_focus": lambda near, far, s, h: 1 - near / s,
    "rear_over_focus": lambda near, far, s, h: far / s - 1,
    "near_over_hyperfocal": lambda near, far, s, h: near / h,
    "far_over_hyperfocal": lambda near, far, s, h: far / h,
}


def _zone(f, n, c, s, distance_from="lens"):
    return sharp_zone(f * 1000, n, s, c * 1000, distance_from)


def _share(name):
    """A share of the zone of 35 mm f/8 focused at H/n, from the exact form."""

    def value(n_th):
        hyperfocal = float(hyperfocal_m(35, 8, 0.03, "lens"))
        zone = sharp_zone(35, 8, hyperfocal / n_th, 0.03, "lens")
        return SHARES[name](float(zone.near_limit_m), float(zone.far_limit_m), hyperfocal / n_th, hyperfocal)

    return value


def _best_f_number(spread, whole, tenths):
    """How many stops our best f-number lies from the printed one."""
    best = minimize_scalar(
        lambda n: float(combined_mm(1000 * spread / (2 * n), airy_mm(n, 0.0))),
        bounds=(5, 120),
        method="bounded",
    )
    exact_stop = 2 ** (round(2 * math.log2(whole)) / 2)  # the f/22 and f/45 of the series are 22.63 and 45.25
    return 2 * math.log2(best.x / (exact_stop * 2 ** (tenths / 20)))


def _coc(criterion, diagonal=np.nan, width=np.nan, sensor=None):
    if sensor is not None:
        diagonal = parse_sensor(sensor).diagonal_mm / 1000
    return parse_criterion(criterion.replace(";", ",")).coc_mm(diagonal * 1000, width_mm=width * 1000) / 1000


OURS = {
    "hyperfocal": lambda f, n, c: hyperfocal_m(f * 1000, n, c * 1000, "lens"),
    "near": lambda f, n, c, s: _zone(f, n, c, s).near_limit_m,
    "far": lambda f, n, c, s: _zone(f, n, c, s).far_limit_m,
    "depth": lambda f, n, c, s: _zone(f, n, c, s).depth_m,
    "near_sensor": lambda f, n, c, s: _zone(f, n, c, s, "sensor").near_limit_m,
    "far_sensor": lambda f, n, c, s: _zone(f, n, c, s, "sensor").far_limit_m,
    "near_at_infinity": lambda f, n, c: _zone(f, n, c, np.inf).near_limit_m,
    "focus_for_limits": lambda f, near, far: best_focus_m(near, far, f * 1000, "lens"),
    "coc_from_inches": lambda c: parse_criterion(f"{c / UNITS['in']}in").coc_mm(43.27) / 1000,
    "image_distance": lambda f, u: f * (1 + magnification(u, f * 1000)),
    "extension": lambda f, u: f * magnification(u, f * 1000),
    "extension_stops": lambda f, u: 2 * np.log2(effective_f_number(1.0, magnification(u, f * 1000))),
    "shutter_speed": lambda f, d, v, smear: motion_mm(f * 1000, d, v, 1.0, 90, "lens") / (smear * 1000),
    **{name: _share(name) for name in SHARES},
    "coc": _coc,
    "airy_factor": lambda n: airy_mm(n, 0.0) / (WAVELENGTH_MM * n),
    "airy_radius": lambda n: airy_mm(n, 0.0) / 2000,
    "mtf50_factor": lambda n: mtf50_disc_mm(n, 0.0) / (WAVELENGTH_MM * n),
    "best_f_number": _best_f_number,
}
