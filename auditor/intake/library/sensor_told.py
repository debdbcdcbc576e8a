"""What the files of one frame tell of the sensor: by their focal lengths, and by the focal plane."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

from auditor.intake.photofile.records import NAN, FileRecord

FULL_FRAME_MM = (36.0, 24.0)
PLAUSIBLE_DIAGONAL_MM = (4.0, 80.0)  # from phones to medium format; resized exports fall outside


def sensor_told(told: Any, members: list[FileRecord]) -> dict[str, float]:
    """Crop factor, size by the focal plane [mm] and the pixels it is of; NaN where nothing is told."""
    width, height, pixels = next(filter(None, map(_by_plane, members)), (NAN, NAN, NAN))
    return {
        "crop_factor": _crop_factor(told("focal_length_mm"), told("focal_length_35mm")),
        "plane_width_mm": width,
        "plane_height_mm": height,
        "plane_pixels": pixels,
    }


@lru_cache(maxsize=4096)
def _crop_factor(focal_length_mm: float, focal_length_35mm: float) -> float:
    if not (focal_length_mm > 0 and focal_length_35mm > 0):
        return NAN
    crop = focal_length_35mm / focal_length_mm
    return crop if _plausible(math.hypot(*FULL_FRAME_MM) / crop) else NAN


def _by_plane(record: FileRecord) -> tuple[float, float, float] | None:
    """Size from the focal plane resolution, only where the Exif size is the picture's own size."""
    width_px, height_px = record.exif_width_px, record.exif_height_px
    if not record.focal_plane_px_per_mm > 0 or not width_px or not height_px:
        return None
    stored = {record.stored_width_px, record.stored_height_px}
    if stored not in ({0}, {width_px, height_px}):
        return None
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    sides = long_px / record.focal_plane_px_per_mm, short_px / record.focal_plane_px_per_mm
    return (*sides, float(width_px * height_px)) if _plausible(math.hypot(*sides)) else None


def _plausible(diagonal_mm: float) -> bool:
    low, high = PLAUSIBLE_DIAGONAL_MM
    return low <= diagonal_mm <= high
