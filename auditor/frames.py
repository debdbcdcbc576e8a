"""The frame table: one row per photograph, its columns listed once.

A *frame* is a photograph; the pandas object is the *table*. Distances count from the sensor plane. Unknown
is NaN, NaT or a missing text, infinity is ``inf``, a stated keeper is ``yes`` or ``no``.
"""

from typing import Final

import numpy as np
import pandas as pd

TEXT: Final = "str"
NUMBER: Final = "float64"
WHOLE: Final = "Int64"
TRUTH: Final = "boolean"
TIME: Final = "datetime64[us]"

# The contract: names, order and meaning are fixed; further columns follow.
CONTRACT_COLUMNS: Final[dict[str, str]] = {
    "file": TEXT,
    "files": TEXT,
    "session": WHOLE,
    "burst": WHOLE,
    "captured_at": TIME,
    "camera": TEXT,
    "lens": TEXT,
    "preset": TEXT,
    "focal_length_mm": NUMBER,
    "f_number": NUMBER,
    "exposure_time_s": NUMBER,
    "iso": NUMBER,
    "sensor_width_mm": NUMBER,
    "sensor_height_mm": NUMBER,
    "sensor_source": TEXT,
    "focus_distance_m": NUMBER,
    "focus_distance_source": TEXT,
    "subject_distance_m": NUMBER,
    "subject_distance_source": TEXT,
    "subject_distance_rel_sd": NUMBER,
    "sample_weight": NUMBER,
    "coc_mm": NUMBER,
    "coc_criterion": TEXT,
    "hyperfocal_m": NUMBER,
    "near_limit_m": NUMBER,
    "far_limit_m": NUMBER,
    "in_zone": TRUTH,
    "side": TEXT,
    "defocus_mm": NUMBER,
    "motion_mm": NUMBER,
    "diffraction_mm": NUMBER,
    "blur_mm": NUMBER,
    "keeper": TEXT,
    "mark_source": TEXT,
    "counted_as": TEXT,
    "sharp": TEXT,  # yes, no or unsure: the subject, as sharp as the photographer accepts
    "sharp_source": TEXT,
    "sharp_seen": TEXT,  # shown or pixels
    "sharp_shown_px": NUMBER,
    "focus_true_m": NUMBER,  # where the ring focuses once it has been checked
    "other_subjects_m": TEXT,  # further people in the frame, joined by |
}

# Further columns, after the contract's.
EXTRA_COLUMNS: Final[dict[str, str]] = {
    "has_subseconds": TRUTH,  # whether captured_at carries sub-seconds, or only whole seconds
    "reason": TEXT,  # the photographer's own word in the notes
    "pixel_width": WHOLE,
    "pixel_height": WHOLE,
    "stated_preset": TEXT,  # as declared, whether the frame's setting is whole or not
    "stated_preset_source": TEXT,  # session or notes
    "preset_source": TEXT,  # session, notes, or grouped where nobody declared the preset
    "in_preset": TRUTH,  # whether the frame has a whole preset and was zone-focused, not autofocused
    "pressed": TEXT,  # zone, or anyone: pressed without regard for the zone
    "drawn": TRUTH,  # whether the frame was drawn by chance for its distance
    "flash": TRUTH,  # whether the file says that a flash fired
    "flash_duration_s": NUMBER,  # how long it lit, as stated
    "ring_shift_mm": NUMBER,  # how much farther out the lens is than its engravings mean, once checked
}

COLUMNS: Final[dict[str, str]] = CONTRACT_COLUMNS | EXTRA_COLUMNS

# Of the subject's face, only in tables whose pictures were measured.
MEASURED_COLUMNS: Final[dict[str, str]] = {
    "faces_found": WHOLE,
    "face_choice": TEXT,  # how sure it is that this face was the subject
    "measured_distance_m": NUMBER,  # whatever the notes say
    "measured_distance_rel_sd": NUMBER,
    "measured_blur_mm": NUMBER,  # unknown where only a bound is known
    "measured_blur_low_mm": NUMBER,
    "measured_blur_high_mm": NUMBER,  # alone: no more than that
    "not_measured": TEXT,  # why there is no distance
}

# What anything is counted by: not whence values come, nor what only readers and the optics look at.
COUNTED_BY: Final = [name for name in COLUMNS if name not in {
    "files", "sensor_source", "focus_distance_source", "subject_distance_source", "hyperfocal_m",
    "mark_source", "sharp_source", "other_subjects_m", "has_subseconds", "reason", "stated_preset",
    "stated_preset_source", "preset_source", "pixel_width", "pixel_height", "sharp_seen", "sharp_shown_px",
    "pressed",
}]  # fmt: skip

_BY_PRESETS = ("preset", "preset_source", "in_preset")
_BY_ZONES = (
    "coc_mm", "coc_criterion", "hyperfocal_m", "near_limit_m", "far_limit_m", "in_zone", "side", "defocus_mm",
    "motion_mm", "diffraction_mm", "blur_mm", "focus_true_m", "ring_shift_mm",
)  # fmt: skip
# The one module that writes each column; a test refuses a second one.
WRITERS: Final[dict[str, str]] = {
    **dict.fromkeys(COLUMNS, "intake/resolve.py"),
    "counted_as": "intake/assembling.py",
    **dict.fromkeys(_BY_PRESETS, "evidence/presets.py"),
    "burst": "evidence/presets.py",
    **dict.fromkeys(("sample_weight", "drawn"), "evidence/weights.py"),
    **dict.fromkeys(_BY_ZONES, "evidence/zones.py"),
    **dict.fromkeys(MEASURED_COLUMNS, "intake/people/filling.py"),
}

KEEPER: Final = "keeper"
NOT_KEPT: Final = "not kept"
LEFT_OUT: Final = "left out"


def with_columns(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with every column of the contract in order and type; missing ones are unknown.

    Columns of the right type are the given table's own, not copies: neither is to be written to in place.
    """
    types = COLUMNS | MEASURED_COLUMNS
    columns: dict[str, object] = {}  # arrays, which nothing has to align
    for name in (*COLUMNS, *(name for name in table.columns if name not in COLUMNS)):
        if name in table.columns:
            column = table[name]
            columns[name] = (column.astype(types[name]) if name in types else column).array
        else:
            columns[name] = pd.array([unknown(types[name])], dtype=types[name]).repeat(len(table))
    return pd.DataFrame(columns, copy=False)


def was_drawn(table: pd.DataFrame) -> np.ndarray:
    """Which frames were drawn by chance, shape (n,): before a table is weighed, those with a weight."""
    if "drawn" in table and table["drawn"].notna().any():
        return np.asarray(table["drawn"].fillna(False), dtype=bool)
    return np.asarray(table["sample_weight"].notna(), dtype=bool)


def equal_as_one(column: pd.Series) -> np.ndarray:
    """Values as objects, shape (n,), of which equal ones are one; NaN where unknown."""
    codes, values = pd.factorize(column)
    return np.asarray(np.append(np.asarray(values, dtype=object), np.nan)[codes])  # unknown has the code -1


def unknown(dtype: str) -> object:
    """Return the value that means unknown in a column of this type."""
    if dtype in (WHOLE, TRUTH):
        return pd.NA
    return pd.NaT if dtype == TIME else np.nan


def captured_s(table: pd.DataFrame) -> np.ndarray:
    """Capture times in seconds on the camera's own clock, shape (n,), NaN where unknown."""
    times = table["captured_at"]
    seconds = times.to_numpy("datetime64[us]").astype("int64") / 1e6
    return np.where(times.isna().to_numpy(), np.nan, seconds)
