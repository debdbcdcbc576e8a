"""Fills in what a stretch says of the frames it covers.

A stretch fills in what the file does not say, and its focus distance wins. Where a recorded focal length or
lens contradicts it, the frame is left alone and listed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.intake.library.sensor_told import DISAGREEMENT
from auditor.intake.statements.session import Preset, SessionFile
from auditor.optics.lens import sensor_distance_m
from auditor.text import collapse
from auditor.units import format_distance, format_f_number


def fill_from_preset(
    table: pd.DataFrame,
    covered: np.ndarray,
    preset: Preset,
    session: SessionFile,
    problems: list[Problem],
) -> None:
    """Put a preset's values into the rows that a stretch of it covers, in place; what differs is listed."""
    column = {name: table.columns.get_loc(name) for name in table.columns}

    def get(name: str) -> np.ndarray:
        return np.asarray(table[name].to_numpy()[covered])

    files, place = get("file"), str(session.path)

    def listed(mask: np.ndarray, what: str, next_step: str) -> None:
        if mask.any():
            problems.append(Problem(place, f"{what}: {collapse(list(files[mask]))}.", next_step))

    def differs(values: np.ndarray, wanted: float) -> np.ndarray:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.abs(values / wanted - 1) > 1e-3)

    other_focal = np.abs(get("focal_length_mm") / preset.focal_length_mm - 1) > DISAGREEMENT
    lenses = get("lens").astype(object)
    named = np.array([isinstance(lens, str) for lens in lenses], dtype=bool)
    other_lens = named & (
        np.array(
            [preset.lens is not None and str(lens).casefold() != preset.lens.casefold() for lens in lenses]
        )
    )
    other = other_focal | other_lens
    listed(
        other,
        f"The preset {preset.name!r} was not applied where the file names another lens or focal length",
        "If the lens was really on, correct the preset; otherwise nothing is to be done.",
    )
    rows = covered[~other]
    if not len(rows):
        return
    files = files[~other]
    covered = rows
    if np.isfinite(preset.focal_length_mm):
        recorded = get("focal_length_mm")
        listed(
            differs(recorded, preset.focal_length_mm),
            f"The file records another focal length than the preset {preset.name!r}; the file's was used",
            "Correct the preset if the file is right.",
        )
        table.iloc[rows, column["focal_length_mm"]] = np.where(
            np.isnan(recorded), preset.focal_length_mm, recorded
        )
    if preset.lens is not None:
        lens = pd.Series(get("lens")).astype(object).where(pd.Series(get("lens")).notna(), preset.lens)
        table.iloc[rows, column["lens"]] = lens.to_numpy()
    stays = np.ones(len(rows), dtype=bool)
    if np.isfinite(preset.f_number):
        recorded = get("f_number")
        listed(
            differs(recorded, preset.f_number),
            f"The file records another f-number than {format_f_number(preset.f_number)} of the preset "
            f"{preset.name!r}; the file's was used and the frame counts as another preset",
            "Add a stretch of its own if the f-number was changed on purpose.",
        )
        stays = ~(np.abs(recorded / preset.f_number - 1) > DISAGREEMENT)
        table.iloc[rows, column["f_number"]] = np.where(np.isnan(recorded), preset.f_number, recorded)
    if not np.isnan(preset.focus_distance_m):
        wanted = focus_from_sensor(preset.focus_distance_m, get("focal_length_mm"), session.distances_from)
        recorded = get("focus_distance_m")
        with np.errstate(invalid="ignore", divide="ignore"):
            far_off = np.abs(np.where(np.isinf(recorded), 1e9, recorded) / np.minimum(wanted, 1e9) - 1)
        listed(
            far_off > DISAGREEMENT,
            f"The file records another focus distance than {format_distance(preset.focus_distance_m)} of the "
            f"preset {preset.name!r}; the preset's was used",
            "Check whether the ring was moved.",
        )
        table.iloc[rows, column["focus_distance_m"]] = wanted
        table.iloc[rows, column["focus_distance_source"]] = "session"
    table.iloc[rows[stays], column["preset"]] = preset.name
    for name, key in _WHOLE.items():
        listed(
            stays & np.isnan(get(name).astype("float64")),
            f"The preset {preset.name!r} states no {key} and the files tell none, so that these frames have "
            "no sharp zone",
            f"Add {key} to the preset.",
        )


_WHOLE = {"focal_length_mm": "focal_length", "f_number": "f_number", "focus_distance_m": "focus_distance"}


def focus_from_sensor(distance_m: float, focal_length_mm: np.ndarray, distances_from: str) -> np.ndarray:
    """Distance from the sensor plane for one that was typed by the file's own convention, shape as focal."""
    if distances_from == "sensor":
        return np.full(np.shape(focal_length_mm), distance_m)
    return np.asarray(sensor_distance_m(distance_m, focal_length_mm))
