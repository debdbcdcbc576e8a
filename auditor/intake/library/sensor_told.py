"""The sensor size of a frame: stated, or told by what its files say of focal lengths and the focal plane."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from auditor.errors import Problem
from auditor.intake.photofile.records import FileRecord
from auditor.intake.statements.session import Camera
from auditor.optics.sensors import Sensor

FULL_FRAME = Sensor(36.0, 24.0)
PLAUSIBLE_DIAGONAL_MM = (4.0, 80.0)  # from phones to medium format; resized exports fall outside
DISAGREEMENT = 0.10


def sensor_of(
    entry: Camera | None, members: list[FileRecord], told: Any, shown: str, problems: list[Problem]
) -> tuple[Sensor, str]:
    """Sensor size by the chain of the design: session file, 35 mm ratio, focal plane, else assumed."""
    by_ratio = _sensor_by_ratio(told("focal_length_mm"), told("focal_length_35mm"))
    by_plane = next((s for s in map(_sensor_by_plane, members) if s is not None), None)
    if by_ratio is not None and by_plane is not None:
        ratio = by_ratio.diagonal_mm / by_plane.diagonal_mm
        if abs(ratio - 1) > DISAGREEMENT:
            problems.append(
                Problem(
                    shown,
                    f"Its 35 mm-equivalent gives a sensor diagonal of {by_ratio.diagonal_mm:.1f} mm, its "
                    f"focal plane resolution {by_plane.diagonal_mm:.1f} mm.",
                    "State the sensor in a [[camera]] entry of the session file.",
                )
            )
    if entry is not None and entry.sensor is not None:
        return entry.sensor, "session"
    if by_ratio is not None:
        return by_ratio, "exif"
    if by_plane is not None:
        return by_plane, "exif"
    return FULL_FRAME, "assumed"


@lru_cache(maxsize=4096)
def _sensor_by_ratio(focal_length_mm: float, focal_length_35mm: float) -> Sensor | None:
    if not (focal_length_mm > 0 and focal_length_35mm > 0):
        return None
    crop = focal_length_35mm / focal_length_mm
    sensor = Sensor(FULL_FRAME.width_mm / crop, FULL_FRAME.height_mm / crop)
    return sensor if _plausible(sensor) else None


def _sensor_by_plane(record: FileRecord) -> Sensor | None:
    """Sensor from the focal plane resolution, only where the Exif size is the picture's own size."""
    if not record.focal_plane_px_per_mm > 0 or not record.exif_width_px or not record.exif_height_px:
        return None
    stored = {record.stored_width_px, record.stored_height_px}
    if stored != {0} and stored != {record.exif_width_px, record.exif_height_px}:
        return None
    return _sensor_of_plane(record.exif_width_px, record.exif_height_px, record.focal_plane_px_per_mm)


@lru_cache(maxsize=4096)
def _sensor_of_plane(width_px: int, height_px: int, px_per_mm: float) -> Sensor | None:
    sensor = Sensor(max(width_px, height_px) / px_per_mm, min(width_px, height_px) / px_per_mm)
    return sensor if _plausible(sensor) else None


def _plausible(sensor: Sensor) -> bool:
    low, high = PLAUSIBLE_DIAGONAL_MM
    return bool(low <= sensor.diagonal_mm <= high)
