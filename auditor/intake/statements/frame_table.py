"""What a frame table states, as claims: marks, presets and distances of its author or of an earlier run."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT, equal_as_one
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.session import Preset
from auditor.optics.sensors import Sensor

GROUPED = "grouped"
_NOBODY = ("unknown", "assumed")
_MARKS = ("notes", "selects", "sidecar", "embedded", "exif")
_DISTANCES = ("notes", "exif", "xmp", "picture", *_NOBODY)
_TEXTS = ("reason", "sharp", "sharp_seen")
_NUMBERS = ("sample_weight", "sharp_shown_px")


def claim_table(table: pd.DataFrame, place: str, depth: float) -> Claims:
    """State what a frame table says beyond the facts of files; without a source, the one that people mean."""

    def by(column: str, allowed: Sequence[str], otherwise: str) -> pd.Series:
        return table[column].where(table[column].isin(allowed), otherwise)

    presets = {name: Preset(name) for name in table["stated_preset"].dropna().unique()}
    preset = table["stated_preset"].map(presets, na_action="ignore").astype(object)
    distance, rel_sd = table["subject_distance_m"], table["subject_distance_rel_sd"]
    distance_by = by("subject_distance_source", _DISTANCES, "notes")
    is_noted = distance.notna() & (distance_by == "notes")
    others = table["other_subjects_m"].where(is_noted).map(_distances)
    focus = _by_source("focus_distance", table["focus_distance_m"], table["focus_distance_source"])
    claims = [
        *_by_source("keeper", table["keeper"], by("mark_source", _MARKS, "notes")),
        *_by_source("preset", preset, by("stated_preset_source", ["notes"], "session")),
        *_by_source("subject_distance", distance, distance_by, rel_sd),
        *_by_source("other_subjects", others, "notes"),
        *(claim for claim in focus if claim.source in ("notes", "session")),
        *_by_source("sensor", _sensors(table), by("sensor_source", ["session", *_NOBODY], "exif")),
        *_by_source("pressed", table["pressed"], "session"),
        *_by_source("flash_duration", table["flash_duration_s"], "session"),
        *_by_source("drawn", table["drawn"].astype(object), "table"),
    ]
    for name in (*_TEXTS, *_NUMBERS):
        claims += _by_source(name, table[name], "notes")
    if counts_fit_marks(table):
        claims += _by_source("counted_as", table["counted_as"], "table")
    return Claims(tuple(replace(claim, place=place, depth=depth) for claim in claims))


def _distances(text: object) -> tuple[float, ...] | None:
    """Distances of further people, as notes give them."""
    if not isinstance(text, str):
        return None
    numbers = pd.to_numeric(np.array(text.split("|"), dtype=object), errors="coerce")
    return tuple(number for number in numbers.tolist() if number > 0)


def counts_fit_marks(table: pd.DataFrame) -> bool:
    """Whether a frame table says of every frame what it counted as, and nothing that its marks forbid."""
    counted, keeper = table["counted_as"], table["keeper"]
    kept, rejected = keeper.eq("yes").fillna(False), keeper.eq("no").fillna(False)
    forbidden = (kept & counted.eq(NOT_KEPT)) | (rejected & counted.eq(KEEPER))
    sourceless = keeper.notna() & table["mark_source"].isna()
    complete = counted.isin([KEEPER, NOT_KEPT, LEFT_OUT]).all()
    return bool(complete and not forbidden.fillna(False).any() and not sourceless.any())


def _by_source(
    quantity: str, values: pd.Series, by: pd.Series | str, rel_sd: pd.Series | None = None
) -> list[Claim]:
    """One claim for each source of a column, or of the one that states all of it."""
    sources = pd.Series(by, index=values.index)
    from_number = values.dtype.kind == "f"
    known = values.notna().to_numpy()
    claims = []
    for source in sources[known].dropna().unique():
        rows = np.flatnonzero(known & sources.eq(source).fillna(False).to_numpy(bool))
        own = values.iloc[rows]
        array = own.to_numpy("float64") if from_number else equal_as_one(own)
        sd = None if rel_sd is None else rel_sd.to_numpy("float64")[rows]
        if source not in _NOBODY:
            claims.append(Claim(quantity, str(source), rows, array, rel_sd=sd))
    return claims


def _sensors(table: pd.DataFrame) -> pd.Series:
    width, height = (table[f"sensor_{side}_mm"].to_numpy("float64") for side in ("width", "height"))
    codes, sides = pd.factorize(width + 1j * height)
    sensors = objects([*(Sensor(side.real, side.imag) for side in sides.tolist()), None])
    return pd.Series(sensors[codes], index=table.index, dtype=object)
