"""Adds what optics says of each frame: its sharp zone, the side the subject stood on, the blur there."""

import numpy as np
import pandas as pd

from auditor.optics.blur import airy_mm, combined_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification, sharp_zone
from auditor.optics.ring_check import true_focus_m
from auditor.optics.sensors import Criterion

ZONE_FACTS = ("focal_length_mm", "f_number", "focus_distance_m")


def add_zones(
    table: pd.DataFrame,
    criterion: Criterion,
    speed_m_s: np.ndarray | float,
    shift_mm: np.ndarray | None = None,
) -> pd.DataFrame:
    """Return the table with every column that follows from optics, recomputed.

    Of the criterion and the walking speed [m/s], direction unknown. ``shift_mm``, shape (n,), is how much
    farther out each lens is than its engravings mean (:func:`auditor.evidence.ring_shift.frame_shifts`): the
    zone and ``focus_true_m`` follow from it, ``focus_distance_m`` stays the mark. The zone is unknown where
    focal length, f-number or focus distance is; blur is unknown where subject distance or exposure time is,
    or a flash lit for nobody knows how long. Reads these, the sensor's and the picture's size.
    """
    focal, f_number, focus, subject = (
        table[name].to_numpy("float64") for name in (*ZONE_FACTS, "subject_distance_m")
    )
    width, height = (table[f"sensor_{side}_mm"].to_numpy("float64") for side in ("width", "height"))
    pixels = np.fmax(
        table["pixel_width"].to_numpy("float64", na_value=np.nan),
        table["pixel_height"].to_numpy("float64", na_value=np.nan),
    )
    coc = np.broadcast_to(
        criterion.coc_mm(
            np.hypot(width, height),
            pixel_pitch_mm=np.fmax(width, height) / pixels,
            width_mm=np.fmax(width, height),
            other_blur_mm=other_blur_mm(table, speed_m_s),
        ),
        focal.shape,
    ).astype("float64")
    shift = 0.0 if shift_mm is None else np.nan_to_num(shift_mm)
    zone = sharp_zone(focal, f_number, focus, coc, shift_mm=shift)
    if shift_mm is not None:
        checked = np.where(np.isnan(shift_mm), np.nan, true_focus_m(focus, focal, shift))
        table = table.assign(focus_true_m=checked, ring_shift_mm=shift_mm)
    side = _sides(subject, np.asarray(zone.near_limit_m), np.asarray(zone.far_limit_m))
    subject_magnification = magnification(lens_distance_m(subject, focal), focal)
    defocus = np.asarray(defocus_mm(focal, f_number, focus, subject, shift_mm=shift))
    motion = np.asarray(motion_mm(focal, subject, speed_m_s, effective_time_s(table)))
    diffraction = np.asarray(airy_mm(f_number, subject_magnification))
    known_side = pd.Series(side, index=table.index, dtype="str")
    return table.assign(
        coc_mm=coc,
        coc_criterion=pd.Series(criterion.name, index=table.index, dtype="str"),
        hyperfocal_m=zone.hyperfocal_m,
        near_limit_m=zone.near_limit_m,
        far_limit_m=zone.far_limit_m,
        side=known_side,
        in_zone=(known_side == "in").astype("boolean").where(known_side.notna()),
        defocus_mm=defocus,
        motion_mm=motion,
        diffraction_mm=diffraction,
        blur_mm=combined_mm(defocus, motion, diffraction),
    )


def other_blur_mm(table: pd.DataFrame, speed_m_s: np.ndarray | float) -> np.ndarray:
    """Blur that is there even in focus: diffraction at the focus distance and the median motion [mm].

    The criterion ``measured`` takes it off, because the tolerance is about all blur together.
    """
    focal, focus = table["focal_length_mm"].to_numpy("float64"), table["focus_distance_m"].to_numpy("float64")
    in_focus = magnification(lens_distance_m(focus, focal), focal)
    subject_m = table["subject_distance_m"].to_numpy("float64")
    motion = motion_mm(focal, subject_m, speed_m_s, effective_time_s(table))
    known = motion[np.isfinite(motion)]
    usual = float(np.median(known)) if known.size else 0.0
    return np.asarray(combined_mm(airy_mm(table["f_number"].to_numpy("float64"), in_focus), usual))


def effective_time_s(table: pd.DataFrame) -> np.ndarray:
    """Time for which each subject's light came in [s], shape (n,); NaN unknown.

    A flash freezes what it lights, for a time that no file records: only a stated one counts, within the
    exposure time. Reads ``flash, flash_duration_s, exposure_time_s``.
    """
    return np.asarray(np.minimum(flash_time_s(table), table["exposure_time_s"].to_numpy("float64")))


def flash_time_s(table: pd.DataFrame) -> np.ndarray:
    """How long each frame's flash lit [s], shape (n,): infinite where none fired, NaN where nobody said."""
    flash = table["flash"].fillna(False).to_numpy(bool)
    return np.where(flash, table["flash_duration_s"].to_numpy("float64"), np.inf)


def _sides(subject_m: np.ndarray, near_m: np.ndarray, far_m: np.ndarray) -> np.ndarray:
    """``near`` in front of the zone, ``in``, ``far`` beyond it, None where unknown; shape (n,)."""
    side = np.full(subject_m.shape, None, dtype=object)
    with np.errstate(invalid="ignore"):
        known = ~np.isnan(subject_m) & ~np.isnan(near_m) & ~np.isnan(far_m)
        side[known] = "in"
        side[known & (subject_m < near_m)] = "near"
        side[known & (subject_m > far_m)] = "far"
    return side


def has_zone(table: pd.DataFrame) -> np.ndarray:
    """Frames whose sharp zone is known, shape (n,) of bool."""
    return np.asarray(table["near_limit_m"].notna(), dtype=bool)
