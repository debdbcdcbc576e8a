"""A lens with its ring and its sensor, and the eye that judges: what a typed setting is worked out for."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from auditor.errors import SettingError
from auditor.optics.blur import airy_mm, combined_mm
from auditor.optics.lens import DistanceFrom, Floats, from_lens, magnification
from auditor.optics.ring_check import RingShift, true_focus_m
from auditor.optics.rings import Place, nearest_place, places_on
from auditor.optics.scales import ASSUMED_SCALE, EngravedScale
from auditor.optics.sensors import Criterion, Sensor
from auditor.units import format_distance


@dataclass(frozen=True, slots=True)
class Bench:
    """A lens, a sensor and a criterion, as stated."""

    focal_length_mm: float
    sensor: Sensor
    criterion: Criterion
    pixel_pitch_mm: float = math.nan
    distance_from: DistanceFrom = "sensor"
    units: str = "m"
    ring_m: tuple[float, ...] = ()  # engravings
    scale: EngravedScale = ASSUMED_SCALE
    readings: tuple[str, ...] = ()  # off the scale, as typed
    shift: RingShift | None = None  # None where nobody measured
    checks: tuple[str, ...] = ()  # its readings, as typed

    @property
    def shift_mm(self) -> float:
        """How much farther out the lens stands than its engravings mean; 0 where nobody measured."""
        return self.shift.shift_mm if self.shift else 0.0

    @property
    def lens(self) -> dict[str, Any]:
        """What the formulas take of it, as keywords."""
        return {
            "focal_length_mm": self.focal_length_mm,
            "distance_from": self.distance_from,
            "shift_mm": self.shift_mm,
        }

    @property
    def places(self) -> tuple[Place, ...]:
        """Every place that the ring can be set to."""
        return places_on(self.ring_m, self.focal_length_mm, self.distance_from)

    def mark_m(self, distance_m: float) -> float:
        """What the ring must say for a distance to be in focus; infinite where it cannot be."""
        return float(true_focus_m(distance_m, self.focal_length_mm, -self.shift_mm, self.distance_from))

    def place_for(self, distance_m: float) -> Place:
        """The place of the ring that focuses nearest to a distance."""
        return nearest_place(self.places, self.mark_m(distance_m))

    def shown(self, distance_m: float | Floats) -> str:
        """A distance in the unit in use."""
        return format_distance(float(distance_m), self.units)

    @property
    def tolerance_mm(self) -> float:
        """What all blur together may come to [mm]; but for ``measured``, the circle of confusion itself."""
        return float(
            self.criterion.coc_mm(self.sensor.diagonal_mm, self.pixel_pitch_mm, width_mm=self.sensor.width_mm)
        )

    def coc_mm(
        self, f_number: npt.ArrayLike, focus_m: npt.ArrayLike, motion_mm: npt.ArrayLike = 0.0
    ) -> Floats:
        """Circle of confusion [mm] at a setting: under ``measured`` less diffraction and motion.

        Raises SettingError if the criterion needs something that was not given, or leaves nothing for
        defocus.
        """
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

    def own_mm(self, coc_mm: float) -> tuple[float, float, float]:
        """Circle of confusion at a setting, with the interval that a measured tolerance leaves it [mm]."""
        if self.criterion.interval_mm is None:
            return coc_mm, coc_mm, coc_mm
        other = self.tolerance_mm**2 - coc_mm**2
        low, high = (math.sqrt(max(end**2 - other, 0.0)) for end in self.criterion.interval_mm)
        return coc_mm, low, high

    def read_range(self, f_number: float, coc_mm: float) -> tuple[float, float, float]:
        """f-number to read on the engraved scale, with the interval that the two criteria leave it."""
        own, low, high = self.own_mm(coc_mm)
        scale = self.scale
        return f_number * own / scale.coc_mm, f_number * low / scale.high_mm, f_number * high / scale.low_mm
