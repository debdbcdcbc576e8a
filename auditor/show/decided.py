"""One lens's decision with what page, screen and card need beside it: zones, usual exposure, what is known.

The decision itself is :class:`auditor.advice.decide.LensDecision`; no other instruction is made in this room.
"""

from contextlib import suppress
from dataclasses import astuple, dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from auditor.advice.decision import FEWEST_SUBJECTS
from auditor.advice.lens_decision import LensDecision
from auditor.advice.paired import Setting
from auditor.advice.ring_settings import ring_of
from auditor.errors import SettingError
from auditor.evidence.bursts import in_preset, is_counted, is_keeper
from auditor.evidence.ring_shift import shifts_in
from auditor.evidence.tolerance import VERDICTS, WIDEST
from auditor.intake.statements.lens_rule import find_lens
from auditor.intake.statements.session import Lens
from auditor.journey import Audit
from auditor.optics.bench import Bench
from auditor.optics.lens import sharp_zone
from auditor.optics.ring_check import RingShift
from auditor.optics.rings import ring_unit
from auditor.optics.scales import ASSUMED_SCALE, engraved_for
from auditor.optics.sensors import Criterion, Sensor, measured
from auditor.units import format_distance, format_f_number

Kind = Literal["keep", "change", "latitude", "not_focus", "cannot_tell"]
FEWEST_KEEPERS = 8
_OF_FRAMES = [
    "preset", "in_preset", "counted_as", "sharp", "captured_at", "lens", "focal_length_mm", "ring_shift_mm",
    "focus_distance_m", "focus_true_m", "exposure_time_s", "iso", "subject_distance_m", "sensor_width_mm",
    "sensor_height_mm", "coc_mm", "coc_criterion", "near_limit_m", "in_zone", "motion_mm",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class ZoneSetting(Setting):
    """A setting with its sharp zone [m], and the preset's name if it is one."""

    near_limit_m: float
    far_limit_m: float
    preset: str | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one lens's frames: counts that say which next step helps."""

    frames: int
    zoned: int  # with a sharp zone
    measured: int  # with a subject distance
    judged: int  # for sharpness
    marked: int  # with a mark that counts
    keepers: int
    in_zone: int  # of those measured


@dataclass(frozen=True, slots=True)
class Decided:
    """The decision on one lens, ready to be worded and drawn."""

    lens: str
    weighed: LensDecision | None  # None where nothing of this lens could be weighed
    now: ZoneSetting | None  # as it was used most
    to_set: ZoneSetting | None  # as now under ``keep`` and a ``latitude`` that holds it, else another setting
    exposure_time_s: float  # usual at the setting in use, as is the ISO
    iso: float
    bench: Bench  # the lens, its ring and scale as stated, with the eye that its frames tell of
    motion_mm: float  # usual
    known: Known

    @property
    def kind(self) -> Kind:
        """Kind of the decision."""
        return "cannot_tell" if self.weighed is None else self.weighed.decision.kind

    @property
    def stays(self) -> bool:
        """Whether the setting to use is the one that is used most already."""
        one, now = self.to_set, self.now
        return bool(one and now and now.is_at(one.f_number, one.focus_distance_m))

    @property
    def would_help(self) -> str:
        """What would help most, in the order of trust: settings, distances, verdicts on sharpness, marks."""
        if self.weighed is not None and self.weighed.decision.would_help_most:
            return self.weighed.decision.would_help_most
        known = self.known
        if not known.zoned:
            return "settings"
        if known.measured < FEWEST_SUBJECTS:
            return "distances"
        if known.judged < VERDICTS:
            return "verdicts"
        return "marks" if known.keepers < FEWEST_KEEPERS else ""


def lenses_of(audit: Audit) -> list[str]:
    """Lenses of the archive's presets: those that were decided on first, the most used of them leading."""
    return list(dict.fromkeys([*(one.lens for one in audit.decisions.lenses), *lens_names(audit)])) or [""]


def lens_names(audit: Audit) -> list[str]:
    """Name the lens of each preset as the decisions do, with its focal length where it has several."""
    decided = {one.lens for one in audit.decisions.lenses}
    names = []
    for row in audit.presets.itertuples():
        length = f"{row.focal_length_mm:.3g} mm"
        name = row.lens if isinstance(row.lens, str) else length
        both = f"{name} {length}"
        names.append(both if name not in decided and both in decided else name)
    return names


def ring_units(audit: Audit) -> dict[str, str]:
    """Unit that the ring is engraved in, by lens and by preset: settings are written as they are set."""
    lenses, presets = lens_names(audit), audit.presets
    found = (find_lens(audit.lenses, *one) for one in zip(lenses, presets["focal_length_mm"], strict=True))
    units: list[str] = [ring_unit(ring_of(lens, audit.settings)) for lens in found]
    return dict(zip(lenses, units, strict=True)) | dict(zip(presets["preset"], units, strict=True))


def presets_of(audit: Audit, lens: str) -> pd.DataFrame:
    """The presets of one lens."""
    return audit.presets[np.array([name == lens for name in lens_names(audit)], dtype=bool)]


def frames_of(audit: Audit, lens: str) -> pd.DataFrame:
    """The frames of the presets of one lens, in the columns that are shown of them."""
    own = audit.table["preset"].isin(presets_of(audit, lens)["preset"]).to_numpy(bool)
    return audit.table.loc[own, _OF_FRAMES].reset_index(drop=True)


def gather_decision(audit: Audit, lens: str) -> Decided:
    """Put beside the decision on one lens what is needed to show it."""
    weighed, presets, frames = audit.decisions.of(lens), presets_of(audit, lens), frames_of(audit, lens)
    now = _most_used(presets, weighed)
    stated = find_lens(audit.lenses, lens, float(frames["focal_length_mm"].median()))
    bench = _bench_of(frames, stated, tuple(ring_of(stated, audit.settings)), weighed)
    decision = None if weighed is None else weighed.decision
    to_set = now if decision and decision.kind in ("keep", "latitude") else None
    setting = decision.setting if decision else None
    if decision and to_set and decision.kind == "latitude":
        held = any(to_set.is_at(one.f_number, one.focus_distance_m) for one in decision.latitude)
        setting = None if held else decision.latitude[0]
    if setting is not None:
        to_set = _with_zone(setting, frames, bench)
    own = frames[["exposure_time_s", "iso"]]
    own = own[frames["preset"] == now.preset] if now is not None else own
    return Decided(
        lens=lens,
        weighed=weighed,
        now=now,
        to_set=to_set,
        exposure_time_s=float(own["exposure_time_s"].median()),
        iso=float(own["iso"].median()),
        bench=bench,
        motion_mm=float(np.nan_to_num(frames["motion_mm"].median())),
        known=_known_of(frames),
    )


def _most_used(presets: pd.DataFrame, weighed: LensDecision | None) -> ZoneSetting | None:
    """The preset at the setting used most; without a decision, the one with most frames."""
    used_most = presets.sort_values("frames_taken", ascending=False, kind="stable")
    rows = [zone_setting(row) for row in used_most.itertuples()]
    if rows and weighed is not None and weighed.habit:
        most = weighed.habit[0][0]
        return next((row for row in rows if most.is_at(row.f_number, row.focus_distance_m)), rows[0])
    return rows[0] if rows else None


def zone_setting(row: Any) -> ZoneSetting:
    """The setting of a row of the table of presets."""
    return ZoneSetting(row.f_number, row.focus_distance_m, row.near_limit_m, row.far_limit_m, str(row.preset))


def _with_zone(setting: Setting, frames: pd.DataFrame, bench: Bench) -> ZoneSetting:
    """Work out the zone of a setting as those of the frames were: same lens, same criterion."""
    number, ring_m, coc_mm = setting.f_number, setting.focus_distance_m, float(frames["coc_mm"].median())
    zone = sharp_zone(f_number=number, focus_distance_m=ring_m, coc_mm=coc_mm, **bench.lens)
    return ZoneSetting(number, ring_m, float(zone.near_limit_m), float(zone.far_limit_m))


def eye_of(weighed: LensDecision) -> tuple[float, float, float] | None:
    """How much blur is borne, with its interval [mm]: by verdicts on sharpness, else by keepers."""
    own = weighed.tolerances
    if own.sharp.count >= VERDICTS:
        return own.sharp.blur_mm, own.sharp.low, own.sharp.high
    if weighed.decision.rests_on == "keepers" and own.keep.count:
        return own.keep.blur_mm, own.keep.low, own.keep.high
    return None


def _bench_of(
    frames: pd.DataFrame, stated: Lens | None, ring_m: tuple[float, ...], weighed: LensDecision | None
) -> Bench:
    """The lens of some frames, with the eye that is known, else the criterion of their zones."""
    focal_mm, coc_mm, *sides = (
        float(frames[name].median())
        for name in ("focal_length_mm", "coc_mm", "sensor_width_mm", "sensor_height_mm")
    )
    eye, shift_mm = eye_of(weighed) if weighed else None, shifts_in(frames)[0]
    if eye and eye[2] <= WIDEST * eye[0]:
        criterion = measured(eye[0], (eye[1], eye[2]))
    else:
        criterion = Criterion("of the zones", "criterion of the zones", lambda *_: np.asarray(coc_mm))
    scale, readings, units = ASSUMED_SCALE, stated.scale if stated else (), ring_unit(ring_m)
    if readings:
        with suppress(SettingError):  # which the problems name
            scale = engraved_for(focal_mm, *np.array([astuple(one) for one in readings]).T)
    known = shift_mm[np.isfinite(shift_mm)]
    return Bench(
        focal_length_mm=focal_mm,
        sensor=Sensor(*sides),
        criterion=criterion,
        units=units,
        ring_m=ring_m,
        scale=scale,
        readings=tuple(
            f"{format_f_number(one.f_number)} at {format_distance(one.focus_m, units)}" for one in readings
        ),
        shift=RingShift(float(np.median(known))) if known.size else None,
    )


def _known_of(frames: pd.DataFrame) -> Known:
    marked = is_counted(frames) & in_preset(frames)
    return Known(
        frames=len(frames),
        zoned=int(frames["near_limit_m"].notna().sum()),
        measured=int(frames["subject_distance_m"].notna().sum()),
        judged=int(frames["sharp"].isin(["yes", "no"]).sum()),
        marked=int(marked.sum()),
        keepers=int((marked & is_keeper(frames)).sum()),
        in_zone=int(frames["in_zone"].fillna(False).astype(bool).sum()),
    )


def named_by_setting(table: pd.DataFrame) -> set[str]:
    """Presets that were named after their setting, since nobody declared them."""
    sources = table.groupby("preset")["preset_source"].first()
    return set(sources.index[sources == "grouped"])
