"""Facts and claims to the frame table: what wins, in sight; each stated column is written here, once.

All claims of a quantity are laid over each other from the weakest source to the strongest, so the order in
which they come makes no difference. Distances are kept as they were typed until the focal lengths are final,
then each is converted once. Sources that contradict each other are listed here and nowhere else.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import COLUMNS, TEXT, equal_as_one, with_columns
from auditor.intake.camera_sensors import find_sensors
from auditor.intake.frame_index import FrameIndex, Rows
from auditor.intake.library.facts import FACT_COLUMNS
from auditor.intake.precedence import PRECEDENCE, SHARE_DEPTH, Settled, settle
from auditor.intake.statements.bodies import MEASURES
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.lens_rule import OTHER_FOCAL, contradicts, off_by
from auditor.intake.statements.session import Preset
from auditor.intake.statements.shares import claim_shares
from auditor.optics.lens import sensor_distance_m
from auditor.text import collapse
from auditor.units import format_distance, format_f_number

UNKNOWN: Final = "unknown"
SMALL = 1e-3  # relative; typed and recorded values round alike
_AS_STATED = ("sample_weight", "drawn", "pressed", "sharp", "sharp_seen", "sharp_shown_px", "reason")
_PICTURE = ("camera", "pixel_width", "pixel_height", "sensor_width_mm", "sensor_height_mm", "sensor_source")
_WHOLE = {"focal_length": "focal_length_mm", "f_number": "f_number", "focus_distance": "focus_distance_m"}
# What a file can record against a preset: what was done, and the next step.
_OTHERWISE = {
    "focal_length": (
        "focal length than the preset {name!r}; the file's was used",
        "Correct the preset if the file is right.",
    ),
    "f_number": (
        "f-number than {stop} of the preset {name!r}; the file's was used and the frame counts as another "
        "preset",
        "Add a stretch of its own if the f-number was changed on purpose.",
    ),
    "focus_distance": (
        "focus distance than {focus} of the preset {name!r}; the preset's was used",
        "Check whether the ring was moved.",
    ),
}


@dataclass(frozen=True, slots=True)
class Resolved:
    """The frame table with every stated column; what follows from optics and counting is still unknown."""

    table: pd.DataFrame
    problems: list[Problem]  # contradictions, and what cannot be used
    remarks: list[str]  # what needs no action, counted


def right_clocks(facts: pd.DataFrame, offset_s: np.ndarray) -> pd.Series:
    """Capture times after the offsets that session files state."""
    moved = facts["clock_time"].to_numpy("datetime64[us]") + (offset_s * 1e6).astype("timedelta64[us]")
    return pd.Series(moved, index=facts.index)


def claim_facts(facts: pd.DataFrame, is_subject: np.ndarray) -> Claims:
    """State what the files record; ``is_subject``: where their distance is said to be the subject's."""
    claims = []
    for quantity in ("lens", "focal_length", "f_number"):
        column = facts[f"recorded_{quantity}_mm" if quantity == "focal_length" else f"recorded_{quantity}"]
        rows = np.flatnonzero(column.notna())
        values = (equal_as_one(column) if quantity == "lens" else column.to_numpy("float64"))[rows]
        claims.append(Claim(quantity, "file", rows, values))
    distance, by = facts["recorded_distance_m"].to_numpy("float64"), facts["recorded_distance_by"]
    for source in ("exif", "xmp"):
        recorded = by.eq(source).fillna(False).to_numpy(bool) & ~np.isnan(distance)
        for quantity, own in (("subject_distance", is_subject), ("focus_distance", ~is_subject)):
            rows = np.flatnonzero(recorded & own)
            claims.append(Claim(quantity, source, rows, distance[rows]))
    return Claims(tuple(claims))


def resolve(
    facts: pd.DataFrame, captured_at: pd.Series, index: FrameIndex, claims: Claims, guess_sd: np.ndarray
) -> Resolved:
    """Make the frame table of an archive of its :data:`FACT_COLUMNS` and all claims; further columns stay.

    ``guess_sd`` is the relative error of a distance guessed by eye, shape (n,).
    """
    return _Resolving(facts, index, claims.stated).resolved(captured_at, guess_sd)


class _Resolving:
    def __init__(self, facts: pd.DataFrame, index: FrameIndex, stated: Sequence[Claim]) -> None:
        self.facts, self.index, self.n = facts, index, len(facts)
        self.problems: list[Problem] = []
        self.remarks: list[str] = []
        self.presets = _by_preset(stated)
        self.by_quantity: dict[str, list[Claim]] = defaultdict(list)
        for claim in stated:
            if claim.quantity != "preset":
                self.by_quantity[claim.quantity].append(claim)
        self._expand_presets()

    def settle(self, quantity: str) -> Settled:
        return settle(quantity, self.by_quantity[quantity], self.n)

    def list_frames(self, place: str | None, rows: Rows, what: str, step: str) -> None:
        if len(rows):
            files = collapse([self.index.name(row) for row in rows.tolist()])
            self.problems.append(Problem(place or None, f"{what}: {files}.", step, frames=len(rows)))

    def _expand_presets(self) -> None:
        """Turn each preset into claims of its values, but where a file contradicts a stretch of it."""
        names = equal_as_one(self.facts["recorded_lens"])
        focal = self.facts["recorded_focal_length_mm"].to_numpy("float64")
        other_lens: list[int] = []
        for number, (claim, preset) in enumerate(self.presets):
            rows = claim.rows
            if claim.source == "session" and preset is not None:
                other = contradicts(preset.lens, preset.focal_length_mm, names[rows], focal[rows])
                other_lens += rows[other].tolist()
                rows = rows[~other]
            values: dict[str, Any] = {"f_number": np.nan, "focus_distance": np.nan}  # of a slip: unknown
            if preset is not None:
                values = {key: getattr(preset, attribute) for key, attribute in _WHOLE.items()}
                values = {"lens": preset.lens} | values
            stated = {key: v for key, v in values.items() if preset is None or pd.notna(v)}
            below = replace(claim, rows=rows, depth=claim.depth - 0.5)  # cells of the row win
            self.presets[number] = replace(below, typed=np.full(len(rows), preset, object)), preset
            self.by_quantity["preset"].append(self.presets[number][0])
            for key, value in stated.items():
                typed = np.full(len(rows), value, dtype=object if key == "lens" else "float64")
                self.by_quantity[key].append(replace(below, quantity=key, typed=typed))
        if count := len(other_lens):
            files = collapse([self.index.name(row) for row in sorted(other_lens)])
            self.remarks.append(
                f"{count} {'frame' if count == 1 else 'frames'} of another lens or focal length than the "
                f"preset's {'lies' if count == 1 else 'lie'} in stretches; no preset was applied: {files}."
            )

    def resolved(self, captured_at: pd.Series, guess_sd: np.ndarray) -> Resolved:
        focal, f_number, focus = map(self.settle, ("focal_length", "f_number", "focus_distance"))
        focus_m = self._from_sensor(focus.typed, focus.from_lens, focal.typed, "focus_distance")
        preset = self.settle("preset")
        final = {"focal_length": focal.typed, "f_number": f_number.typed, "focus_distance": focus_m}
        self._against_files(final, focus.sources, preset.typed)
        sensor = self.settle("sensor")
        sensors = find_sensors(self.facts, sensor.typed, sensor.sources, focal.typed)
        self.problems += sensors.problems
        if refused := int((sensors.source == UNKNOWN).sum()):
            self.remarks.append(
                f"{refused} {'frame has' if refused == 1 else 'frames have'} a focal length that no lens for "
                "36×24 mm has, most likely a telephone's; without a sensor size they have no zone."
            )
        names, sources = self._preset_names(preset, f_number.typed)
        keeper, mark_source = self._marks()
        columns: dict[str, Any] = {name: self.facts[name] for name in FACT_COLUMNS if name in COLUMNS}
        columns |= {
            "session": pd.array(self.index.session, dtype="Int64"),
            "captured_at": captured_at,
            "camera": self.facts["body"],
            "lens": self.settle("lens").typed,
            "focal_length_mm": focal.typed,
            "f_number": f_number.typed,
            "focus_distance_m": focus_m,
            "focus_distance_source": _or_unknown(focus.sources, focus_m),
            "sensor_width_mm": sensors.width_mm,
            "sensor_height_mm": sensors.height_mm,
            "sensor_source": sensors.source,
            "stated_preset": names,
            "stated_preset_source": sources,
            "keeper": keeper,
            "mark_source": mark_source,
            "sharp_source": self.settle("sharp").sources,
            "flash_duration_s": self.settle("flash_duration").typed,
            **{name: self.settle(name).typed for name in _AS_STATED},
        }
        columns |= self._subjects(columns, guess_sd)
        further = {name: self.facts[name] for name in self.facts.columns if name not in FACT_COLUMNS}
        table = pd.DataFrame({**columns, **further}, index=self.facts.index, copy=False)
        return Resolved(with_columns(table), self.problems, self.remarks)

    # --- distances ---------------------------------------------------------------------------------------

    def _from_sensor(
        self, typed_m: np.ndarray, from_lens: np.ndarray, focal_mm: np.ndarray, word: str
    ) -> np.ndarray:
        """Distances from the sensor plane; those that cannot be converted are unknown, and listed."""
        rows = np.flatnonzero(from_lens & ~np.isnan(typed_m))
        distance = typed_m.copy()
        distance[rows] = sensor_distance_m(typed_m[rows], focal_mm[rows])
        lost = rows[np.isnan(distance[rows])]
        what = f"Their {word} counts from the lens and cannot be converted, since the focal length is unknown"
        step = "State the focal length, with a [[lens]], a preset or in the notes."
        self.list_frames(None, lost, what, step)
        return distance

    def _subjects(self, columns: dict[str, Any], guess_sd: np.ndarray) -> dict[str, Any]:
        """Subject distances: typed, else by shares of the picture's height, else recorded or measured."""
        focal = columns["focal_length_mm"]
        claims = self.by_quantity["subject_distance"]
        typed = settle("subject_distance", [c for c in claims if c.source == "notes"], self.n)
        shares = {name: self.settle(name).typed for name in MEASURES if self.by_quantity[name]}
        pictures = pd.DataFrame({name: columns[name] for name in _PICTURE})
        free = np.isnan(typed.typed) | ~np.isnan(typed.rel_sd)
        by_shares = claim_shares(shares, free, pictures, focal, self.index)
        self.problems += by_shares.problems
        below = [replace(claim, depth=SHARE_DEPTH) for claim in by_shares.stated]
        subject = settle("subject_distance", [*claims, *below], self.n)
        distance = self._from_sensor(subject.typed, subject.from_lens, focal, "subject_distance")
        stated_sd = self.settle("subject_distance_sd").typed
        by_notes = subject.sources == "notes"
        rel_sd = np.where(np.isnan(subject.rel_sd) & by_notes, guess_sd, subject.rel_sd)
        rel_sd = np.where(np.isnan(stated_sd), rel_sd, stated_sd)
        return {
            "subject_distance_m": distance,
            "subject_distance_source": _or_unknown(subject.sources, distance),
            "subject_distance_rel_sd": np.where(np.isnan(distance), np.nan, rel_sd),
            "other_subjects_m": self._others(focal),
        }

    def _others(self, focal_mm: np.ndarray) -> np.ndarray:
        """Further people in a frame, as text."""
        texts, others = np.full(self.n, None, dtype=object), self.settle("other_subjects")
        for row in np.flatnonzero([bool(typed) for typed in others.typed]):
            distances = np.array(others.typed[row])
            if others.from_lens[row]:
                distances = np.asarray(sensor_distance_m(distances, focal_mm[row]))
            texts[row] = "|".join(f"{distance:.6g}" for distance in distances)
        return texts

    # --- presets and what files say against them ---------------------------------------------------------

    def _against_files(
        self, final: dict[str, np.ndarray], focus_source: np.ndarray, settled: np.ndarray
    ) -> None:
        """List where the files record something else than was stated, and what is still missing."""
        focal = self.facts["recorded_focal_length_mm"].to_numpy("float64")
        f_number = self.facts["recorded_f_number"].to_numpy("float64")
        focus = [c for c in self.by_quantity["focus_distance"] if c.source in ("exif", "xmp")]
        focus_m = settle("focus_distance", focus, self.n).typed
        moved = off_by(focus_m, final["focus_distance"]) > OTHER_FOCAL
        for claim, preset in self.presets:
            if preset is None or claim.source != "session" or not len(claim.rows):
                continue
            rows, name = claim.rows, preset.name
            rows = rows[np.fromiter((settled[row] is preset for row in rows), dtype=bool, count=len(rows))]
            stays = rows[~(off_by(final["f_number"][rows], preset.f_number) > OTHER_FOCAL)]
            other = {
                "focal_length": off_by(focal[rows], preset.focal_length_mm) > SMALL,
                "f_number": off_by(f_number[rows], preset.f_number) > SMALL,
                "focus_distance": moved[rows] & (focus_source[rows] == "session"),
            }
            stop, focus_at = format_f_number(preset.f_number), format_distance(preset.focus_distance_m)
            for key, (what, step) in _OTHERWISE.items():
                if not np.isnan(getattr(preset, _WHOLE[key])):
                    what = f"The file records another {what.format(name=name, stop=stop, focus=focus_at)}"
                    self.list_frames(claim.place, rows[other[key]], what, step)
                    continue
                missing = stays[np.isnan(final[key][stays])]
                what = f"The preset {name!r} states no {key} and the files record none, so that these frames "
                step = f"Add {key} to the preset."
                self.list_frames(claim.place, missing, f"{what}have no sharp zone", step)
        noted = np.flatnonzero(moved & (focus_source == "notes"))
        what = "The file records another focus distance than the notes; that of the notes was used"
        self.list_frames(None, noted, what, "Check whether the ring was moved.")

    def _preset_names(self, preset: Settled, f_number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Names of the presets, but where the f-number was another than a stretch says."""
        wanted = np.array([np.nan if p is None else p.f_number for p in preset.typed], dtype="float64")
        other = (preset.sources == "session") & (off_by(f_number, wanted) > OTHER_FOCAL)
        names = objects(None if p is None else p.name for p in preset.typed)
        names[other] = None
        sources = preset.sources.copy()
        sources[[name is None for name in names]] = None
        return names, sources

    def _marks(self) -> tuple[np.ndarray, np.ndarray]:
        """Marks and their sources; sources that disagree are listed."""
        chosen, source = np.full(self.n, None, dtype=object), np.full(self.n, None, dtype=object)
        for name in PRECEDENCE["keeper"]:
            own = [claim for claim in self.by_quantity["keeper"] if claim.source == name]
            if not own:
                continue
            stated = settle("keeper", own, self.n).typed
            speaks, free = pd.notna(stated), pd.isna(chosen)
            against = np.flatnonzero(speaks & ~free & (stated != chosen))
            for first in dict.fromkeys(source[against]):
                rows = against[source[against] == first]
                what = f"{len(rows)} marks disagree between {first} and {name}"
                self.list_frames(None, rows, what, f"The one from {first} was used.")
            chosen[speaks & free] = stated[speaks & free]
            source[speaks & free] = name
        return chosen, source


def with_measured(table: pd.DataFrame, claims: Claims) -> pd.DataFrame:
    """Return the table with the subject distances measured in pictures, where no stronger source speaks."""
    source = table["subject_distance_source"].to_numpy(object)
    unspoken = table["subject_distance_m"].isna().to_numpy() | (source == "picture")
    subject = settle("subject_distance", claims.stated, len(table))
    measured = unspoken & ~np.isnan(subject.typed)
    sources = pd.Series(np.where(measured, subject.sources, source), table.index, dtype=TEXT)
    return table.assign(
        subject_distance_m=table["subject_distance_m"].mask(measured, subject.typed),
        subject_distance_rel_sd=table["subject_distance_rel_sd"].mask(measured, subject.rel_sd),
        subject_distance_source=sources,
    )


def _by_preset(stated: Sequence[Claim]) -> list[tuple[Claim, Preset | None]]:
    """Claims of presets, one for each preset."""
    found: list[tuple[Claim, Preset | None]] = []
    for claim in stated:
        if claim.quantity == "preset":
            codes, presets = pd.factorize(claim.typed, use_na_sentinel=False)
            for code, preset in enumerate(presets):
                rows = claim.rows[codes == code]
                found.append((replace(claim, rows=rows), preset if isinstance(preset, Preset) else None))
    return found


def _or_unknown(sources: np.ndarray, values: np.ndarray) -> np.ndarray:
    known = np.array([source is not None for source in sources], dtype=bool) & ~np.isnan(values)
    return np.where(known, sources, UNKNOWN)
