"""What the commands with typed settings share: their options, and the check that a unit was not mistaken."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from auditor.errors import SettingError, UnitError
from auditor.units import (
    METRES_PER_FOOT,
    format_distance,
    parse_distance_m,
    parse_f_number,
    parse_focal_length_mm,
)

if TYPE_CHECKING:
    from auditor.optics.sensors import Criterion, Sensor

FocalLength = Annotated[
    str, typer.Option("--focal-length", help="Focal length of the lens, such as 28mm.", show_default=False)
]
SensorSize = Annotated[
    str,
    typer.Option(
        "--sensor", help="Sensor: 36x24 (mm), a crop factor such as 1.5x, or a name such as 1 inch."
    ),
]
DistanceFrom = Annotated[
    str, typer.Option("--distance-from", help="What distances count from: sensor (as engraved) or lens.")
]
Crossing = Annotated[
    float | None,
    typer.Option(
        "--crossing",
        min=0,
        max=180,
        help="Direction of the subject in degrees: 90 straight across, 0 towards you.",
        show_default="unknown",
    ),
]
PixelsWide = Annotated[
    int | None,
    typer.Option("--pixels-wide", min=1, help="Pixels along the long side; --coc pixel needs it."),
]
FStops = Annotated[
    str | None,
    typer.Option(
        "--f-stops",
        help="f-numbers of the lens: full, half or third stops, or a list such as 2.8,4,5.6,8,11,16.",
    ),
]
Ring = Annotated[
    str | None,
    typer.Option(
        "--ring", help="Engravings of the ring, such as 0.7m,1m,2m,inf.", show_default="the usual ones"
    ),
]
Units = Annotated[
    str | None, typer.Option("--units", help="Show distances in m or ft.", show_default="as you type them")
]

_SPEED_M_S = {"m/s": 1.0, "km/h": 1 / 3.6, "ft/s": METRES_PER_FOOT, "mph": 5280 * METRES_PER_FOOT / 3600}
_LONGEST_M = 10_000.0
_WIDEST_F, _SMALLEST_F = 0.5, 512.0  # a lens in air reaches f/0.5; pinholes reach about f/300


@dataclass(frozen=True, slots=True)
class Bench:
    """A lens, a sensor and a criterion, as typed.

    Attributes
    ----------
    focal_length_mm : float
    sensor : Sensor
    criterion : Criterion
    pixel_pitch_mm : float
        NaN where the pixels were not given.
    distance_from : {"sensor", "lens"}
    units : {"m", "ft"}
    """

    focal_length_mm: float
    sensor: Sensor
    criterion: Criterion
    pixel_pitch_mm: float
    distance_from: Literal["sensor", "lens"]
    units: str

    def coc_mm(self, f_number: Any, focus_m: Any, motion_mm: Any = 0.0) -> Any:
        """Circle of confusion [mm] at a setting: under ``measured`` less diffraction and motion.

        Raises
        ------
        SettingError
            If the criterion needs something that was not given, or leaves nothing for defocus.
        """
        import numpy as np

        from auditor.optics.blur import airy_mm, combined_mm
        from auditor.optics.lens import from_lens, magnification

        size = magnification(
            from_lens(focus_m, self.focal_length_mm, self.distance_from), self.focal_length_mm
        )
        coc = self.criterion.coc_mm(
            self.sensor.diagonal_mm,
            self.pixel_pitch_mm,
            width_mm=self.sensor.width_mm,
            other_blur_mm=combined_mm(airy_mm(f_number, size), motion_mm),
        )
        coc = np.broadcast_to(coc, np.broadcast_shapes(np.shape(coc), np.shape(f_number)))[()]
        if np.all(np.isnan(coc)):
            if self.criterion.name.startswith("pixel") and math.isnan(self.pixel_pitch_mm):
                raise SettingError(
                    f"--coc {self.criterion.name} needs the size of a pixel.",
                    "Give --pixels-wide, the pixels along the long side, such as 6000.",
                )
            raise SettingError(
                "Diffraction and motion alone use up the measured keeper tolerance: there is no sharp zone.",
                "Try a lower f-number or a shorter exposure time.",
            )
        return coc

    @property
    def tolerance_mm(self) -> float:
        """What all blur together may come to [mm]; but for ``measured``, the circle of confusion itself."""
        return float(
            self.criterion.coc_mm(self.sensor.diagonal_mm, self.pixel_pitch_mm, width_mm=self.sensor.width_mm)
        )

    def own_mm(self, coc_mm: float) -> tuple[float, float, float]:
        """Circle of confusion at a setting, with the interval that a measured tolerance leaves it [mm]."""
        if self.criterion.interval_mm is None:
            return coc_mm, coc_mm, coc_mm
        other = self.tolerance_mm**2 - coc_mm**2
        low, high = (math.sqrt(max(end**2 - other, 0.0)) for end in self.criterion.interval_mm)
        return coc_mm, low, high

    def distance(self, text: str, option: str) -> float:
        """Read a distance that the lens can be set to, or that a subject can stand at [m].

        Raises
        ------
        UnitError
            If it cannot be read, or its unit looks mistaken.
        SettingError
            If the lens cannot focus so near.
        """
        metres = parse_distance_m(text)
        if _LONGEST_M < metres < math.inf:
            raise UnitError(
                f"{option} {text!r} was read as {metres:g} metres, farther than any ring goes.",
                "Check the unit, or write inf.",
            )
        least = (4 if self.distance_from == "sensor" else 1) * self.focal_length_mm / 1000
        if metres <= least:
            plane = "sensor plane" if self.distance_from == "sensor" else "lens"
            times = "4 times its focal length" if self.distance_from == "sensor" else "its focal length"
            raise SettingError(
                f"{option} {text!r} was read as {metres:g} metres from the {plane}. "
                f"A {self.focal_length_mm:g} mm lens focuses nothing within {least:g} metres, {times}.",
                "Check the unit: distances are written like 2.5m, 250cm or 8ft.",
            )
        return metres

    def shown(self, distance_m: float) -> str:
        """A distance in the units that were asked for."""
        return format_distance(float(distance_m), self.units)


def read_bench(
    focal_length: str, sensor: str, coc: str, distance_from: str, units: str, pixels_wide: int | None = None
) -> Bench:
    """Read the options that the commands with typed settings share.

    Raises
    ------
    UnitError
        If one cannot be read, or its unit looks mistaken.
    """
    from auditor.optics.sensors import parse_criterion, parse_sensor

    if units not in ("m", "ft"):
        raise UnitError(f"--units {units!r} is neither m nor ft.", "Give m or ft.")
    if distance_from not in ("sensor", "lens"):
        raise UnitError(
            f"--distance-from {distance_from!r} is neither sensor nor lens.", "Give sensor or lens."
        )
    area = parse_sensor(sensor)
    focal = parse_focal_length_mm(focal_length)
    if not area.diagonal_mm / 10 < focal < 100 * area.diagonal_mm:
        raise UnitError(
            f"--focal-length {focal_length!r} was read as {focal:g} millimetres, which fits no lens for a "
            f"sensor of {area.width_mm:g} x {area.height_mm:g} mm.",
            "Check the unit (28mm, 2.8cm), or give the sensor with --sensor.",
        )
    return Bench(
        focal_length_mm=focal,
        sensor=area,
        criterion=parse_criterion(coc),
        pixel_pitch_mm=max(area.width_mm, area.height_mm) / pixels_wide if pixels_wide else math.nan,
        distance_from="sensor" if distance_from == "sensor" else "lens",
        units=units,
    )


def read_f_number(text: str) -> float:
    """Read an f-number; one that no lens has is refused.

    Raises
    ------
    UnitError
        If it cannot be read or lies outside 0.5 to 512.
    """
    value = parse_f_number(text)
    if not _WIDEST_F <= value <= _SMALLEST_F:
        raise UnitError(f"{text!r} was read as f/{value:g}, which no lens has.", "Write it like 8 or f/8.")
    return value


def read_f_stops(text: str | None) -> list[float]:
    """Read ``full``, ``half``, ``third`` or a list of f-numbers, ascending; None gives the full stops.

    Raises
    ------
    UnitError
        If one cannot be read, or there is none.
    """
    from auditor.optics.rings import FULL_STOPS, STOPS

    if text is None:
        return list(FULL_STOPS)
    if text.strip().lower() in STOPS:
        return list(STOPS[text.strip().lower()])
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    if not parts:
        raise UnitError(f"--f-stops {text!r} holds no f-number.", "Write them like 2.8,4,5.6,8.")
    return sorted({read_f_number(part) for part in parts})


def read_ring(text: str | None, bench: Bench) -> list[float]:
    """Read the ring's engravings [m], in ascending order; None gives the usual ones of the unit in use.

    Raises
    ------
    UnitError, SettingError
        If one cannot be read or focused, there is none, or metres and feet are mixed.
    """
    from auditor.optics.rings import usual_ring_m, within_reach

    if text is None:
        return list(within_reach(usual_ring_m(bench.units), bench.focal_length_mm))
    parts = [part.strip() for part in text.replace(";", ",").split(",") if part.strip()]
    if not parts:
        raise UnitError(f"--ring {text!r} holds no engraving.", "Write them like 0.7m,1m,2m,inf.")
    if len({unit for part in parts if (unit := _unit_in(part))}) > 1:
        raise UnitError(f"--ring {text!r} mixes metres and feet.", "Give one of the ring's two scales.")
    return sorted({bench.distance(part, "--ring") for part in parts})


def units_in_use(units: str | None, *typed: str | None) -> str:
    """The unit to answer in: the one asked for, else that of the first typed distance, else metres.

    Examples
    --------
    >>> units_in_use(None, None, "inf", "6ft 6in"), units_in_use("m", "6ft"), units_in_use(None, "inf")
    ('ft', 'm', 'm')
    """
    return units or next((unit for text in typed if text and (unit := _unit_in(text))), "m")


def _unit_in(text: str) -> str:
    """``ft`` or ``m`` of a typed distance; empty where it has none."""
    if re.search(r"ft|in(?!f)|['\"′″]", text.lower()):
        return "ft"
    return "m" if re.search(r"\dc?m?m", text.lower().replace(" ", "")) else ""


def read_speed_m_s(text: str) -> float:
    """Read a speed such as ``1.3m/s``, ``5km/h``, ``4ft/s``, ``3mph`` or ``jogging``, in m/s.

    Raises
    ------
    UnitError
        If the unit is missing or it cannot be read.

    Examples
    --------
    >>> read_speed_m_s("1.3m/s"), read_speed_m_s("36 km/h")
    (1.3, 10.0)
    """
    from auditor.optics.speeds import SPEEDS

    if text.strip().lower() in SPEEDS:
        return SPEEDS[text.strip().lower()][0]
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(m/s|km/h|ft/s|mph)", text.strip().lower())
    if match is None:
        raise UnitError(
            f"{text!r} is not a speed with its unit.",
            f"Write it like 1.3m/s, 5km/h, 3mph, or {', '.join(SPEEDS)}.",
        )
    return float(match[1]) * _SPEED_M_S[match[2]]
