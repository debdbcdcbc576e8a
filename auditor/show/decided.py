"""One lens's decision as page, screen and card take it: the setting, what it should bring, what would help.

No other module of this room decides what to set; they word and draw what stands here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from auditor.advice.result import Advice, ValuedSetting
from auditor.evidence.bursts import is_keeper, zone_focused
from auditor.evidence.presets import USUAL_RING_M
from auditor.intake.statements.session import SessionFile
from auditor.journey import Audit

Kind = Literal["keep", "change", "latitude", "not_focus", "cannot_tell"]
Help = Literal["settings", "distances", "verdicts", "marks", "walk", ""]
FEWEST_SUBJECTS, FEWEST_VERDICTS, FEWEST_KEEPERS = 20, 30, 8


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one lens's frames: counts that say which next step helps.

    Attributes
    ----------
    frames, zoned, measured, judged, marked, keepers : int
        Frames; with a sharp zone; of these with a distance, with a verdict on sharpness, with a mark that
        counts, kept.
    in_zone : int
        Of those measured, how many stood in the zone.
    """

    frames: int
    zoned: int
    measured: int
    judged: int
    marked: int
    keepers: int
    in_zone: int


@dataclass(frozen=True, slots=True)
class Decided:
    """The decision on one lens.

    Attributes
    ----------
    lens : str
    kind : {"keep", "change", "latitude", "not_focus", "cannot_tell"}
    setting : ValuedSetting or None
        What to set next; None where nothing can be said.
    now : ValuedSetting or None
        As it was used most.
    latitude : tuple of ValuedSetting
        Settings that cannot be told apart and promise much the same.
    gain_ratio, gain_low, gain_high : float
        What the setting promises over now; NaN where unknown.
    walk : tuple of ValuedSetting
        What the next walk should alternate; empty where there is nothing to test.
    would_help : str
        What would help most: a key of :data:`auditor.show.words.next_time.STEPS`.
    known : Known
    """

    lens: str
    kind: Kind
    setting: ValuedSetting | None
    now: ValuedSetting | None
    latitude: tuple[ValuedSetting, ...]
    gain_ratio: float
    gain_low: float
    gain_high: float
    walk: tuple[ValuedSetting, ...]
    would_help: Help
    known: Known


def lenses_of(audit: Audit) -> list[str]:
    """Lenses of the archive's presets: the one that advice is about first, then the most used."""
    names = lens_names(audit)
    found = list(dict.fromkeys(names))
    if audit.advice is not None and audit.advice.lens in found:
        found.remove(audit.advice.lens)
        found.insert(0, audit.advice.lens)
    return found or [""]


def lens_names(audit: Audit) -> list[str]:
    """Name the lens of each preset, by its focal length where it has no name."""
    return [
        row.lens if isinstance(row.lens, str) else f"{row.focal_length_mm:.3g} mm"
        for row in audit.presets.itertuples()
    ]


def ring_of(audit: Audit, lens: str) -> tuple[float, ...]:
    """Engravings of a lens's ring [m], as stated, else the usual ones."""
    names = lens_names(audit)
    own = audit.presets.loc[[name == lens for name in names], "focal_length_mm"]
    stated = SessionFile(lenses=audit.lenses).lens_named(lens, float(own.median()) if len(own) else math.nan)
    return (stated.ring_m if stated else ()) or USUAL_RING_M


def decide(audit: Audit, lens: str) -> Decided:
    """Gather what was decided on one lens."""
    known = known_of(audit, lens)
    advice = audit.advice if audit.advice is not None and audit.advice.lens == lens else None
    if advice is None or not advice.current:
        return Decided(
            lens, "cannot_tell", None, _most_used(audit, lens), (), *_NO_GAIN, (), _help(known), known
        )
    now = advice.current[0]
    walk: tuple[ValuedSetting, ...] = ()
    if advice.change_advised:
        kind: Kind = "change"
        setting = advice.settings[0]
        return Decided(lens, kind, setting, now, (), *_gain(advice, now), walk, _help(known), known)
    if not advice.by_curve or not advice.settings:
        return Decided(lens, "cannot_tell", None, now, (), *_NO_GAIN, walk, _help(known), known)
    return Decided(lens, "keep", now, now, (), *_gain(advice, now), walk, _help(known), known)


_NO_GAIN = (math.nan, math.nan, math.nan)


def _gain(advice: Advice, now: ValuedSetting) -> tuple[float, float, float]:
    rate = now.expected_hit_rate
    return tuple(1 + gain / rate for gain in (advice.gain, advice.gain_low, advice.gain_high))  # type: ignore[return-value]


def _most_used(audit: Audit, lens: str) -> ValuedSetting | None:
    """The preset of a lens with most frames, valued by nothing."""
    for name, row in zip(lens_names(audit), audit.presets.itertuples(), strict=True):
        if name == lens:
            return ValuedSetting(
                row.f_number, row.focus_distance_m, row.near_limit_m, row.far_limit_m, *_NO_GAIN, math.nan,
                math.nan, True, preset=row.preset, observed_hit_rate=row.hit_rate, observed_low=row.low,
                observed_high=row.high, bursts=row.bursts,
            )  # fmt: skip
    return None


def known_of(audit: Audit, lens: str) -> Known:
    """Count what is known of one lens's frames."""
    own = {
        name for name, other in zip(audit.presets["preset"], lens_names(audit), strict=True) if other == lens
    }
    table = audit.table
    frames = table[table["preset"].isin(own)]
    counted = zone_focused(frames)
    measured = frames["subject_distance_m"].notna()
    return Known(
        frames=len(frames),
        zoned=int(frames["near_limit_m"].notna().sum()),
        measured=int(measured.sum()),
        judged=int(verdicts(frames).isin(["yes", "no"]).sum()),
        marked=len(counted),
        keepers=int(is_keeper(counted).sum()),
        in_zone=int(frames["in_zone"].fillna(False).astype(bool).sum()),
    )


def verdicts(table: pd.DataFrame) -> pd.Series:
    """Verdicts on sharpness: ``yes``, ``no``, ``unsure`` or missing."""
    return table["sharp"] if "sharp" in table else pd.Series(pd.NA, index=table.index, dtype="str")


def _help(known: Known) -> Help:
    """Say what would help most, in the order of trust: settings, distances, verdicts on sharpness, marks."""
    if not known.zoned:
        return "settings"
    if known.measured < FEWEST_SUBJECTS:
        return "distances"
    if known.judged < FEWEST_VERDICTS:
        return "verdicts"
    return "marks" if known.keepers < FEWEST_KEEPERS else "walk"
