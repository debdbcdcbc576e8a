"""An invented archive as a frame table alone, with the truth beside each frame."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.evidence.zones import add_zones
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT, with_columns
from auditor.intake.tables import TABLE_NAME, write_table
from auditor.optics.sensors import parse_criterion
from auditor.simulate.archive import folder_name, open_new_folder, write_truth
from auditor.simulate.plan import outing_of
from auditor.simulate.statements import stem
from auditor.simulate.truth import Truth
from auditor.simulate.walk import walk, with_rates


def simulate_table(seed: int, frames: int, truth: Truth | None = None) -> tuple[pd.DataFrame, Truth]:
    """Make an invented frame table, every mark stated, and its truth, which the last columns tell."""
    truth = truth or Truth()
    presses = walk(truth, frames, np.random.default_rng(seed).spawn(2)[0])
    truth = with_rates(truth, presses)
    return _columns(presses, truth), truth


def _columns(presses: pd.DataFrame, truth: Truth) -> pd.DataFrame:
    outings, presets = truth.outings, truth.presets
    outing = presses["session"].to_numpy() % len(outings)
    preset = presses["preset"].to_numpy()
    reports = np.array([p.lens.reports for p in presets])[preset]
    measured = presses["measured_m"].notna().to_numpy()
    looked_at, kept = presses["looked_at"].to_numpy(bool), presses["kept"].to_numpy(bool)
    files = _files(presses, truth)
    columns = {
        "file": files,
        "files": files,
        "session": presses["session"] + 1,
        "burst": presses["burst"] + 1,
        "captured_at": presses["captured_at"],
        "camera": _taken([o.camera for o in outings], outing),
        "lens": _taken([p.lens.name for p in presets], preset),
        "preset": _taken([p.name for p in presets], preset),
        "focal_length_mm": presses["focal_length_mm"],
        "f_number": presses["f_number"],
        "exposure_time_s": presses["exposure_time_s"],
        "iso": presses["iso"],
        "sensor_width_mm": 36.0,
        "sensor_height_mm": 24.0,
        "sensor_source": np.where(reports, "exif", "session"),
        "focus_distance_m": np.where(reports, presses["focus_m"].round(2), presses["ring_m"]),
        "focus_distance_source": np.where(reports, "exif", "session"),
        "subject_distance_m": presses["measured_m"],
        "subject_distance_source": np.where(measured, "notes", "unknown"),
        "subject_distance_rel_sd": np.where(measured, truth.measure_sd, np.nan),
        "keeper": _taken(["no", "yes", None], np.where(looked_at, kept, 2)),
        "mark_source": _taken([*(o.marks for o in outings), None], np.where(looked_at, outing, -1)),
        "counted_as": _taken([NOT_KEPT, KEEPER, LEFT_OUT], np.where(looked_at, kept, 2)),
        "has_subseconds": (presses["captured_at"].dt.microsecond > 0)  # 00 reads as unknown
        & np.array([o.subseconds for o in outings])[outing],
        "preset_source": np.where(reports, "grouped", "session"),
        "in_preset": True,
    }
    table = with_columns(pd.DataFrame(columns))
    table = with_columns(add_zones(table, parse_criterion("handbook"), truth.speed_m_s))
    return table.assign(
        true_focus_distance_m=presses["focus_m"],
        true_subject_distance_m=presses["subject_m"],
        true_blur_mm=presses["blur_mm"],
        true_sharp_chance=presses["sharp_chance"],
        true_chance=presses["chance"],
        true_kept=kept,
    )


def _taken(values: Sequence[str | None], codes: np.ndarray) -> np.ndarray:
    return np.asarray(np.array(values, dtype=object)[codes])


def _files(presses: pd.DataFrame, truth: Truth) -> list[str]:
    """Paths below the archive's folder, as :func:`auditor.simulate.archive.simulate_archive` writes them."""
    names: list[str] = []
    for session, own in presses.groupby("session", sort=True):
        outing = outing_of(truth, int(session))
        folder = folder_name(outing, own)
        names += [f"{folder}/{stem(outing, number)}.jpg" for number in own["number"].tolist()]
    return names


def write_simulated_table(out: Path, seed: int, frames: int) -> Truth:
    """Write ``frames.csv`` and ``truth.toml`` into a new or empty folder."""
    table, truth = simulate_table(seed, frames)
    open_new_folder(out)
    write_table(table, out / TABLE_NAME)
    write_truth(out, truth, seed, frames)
    return truth
