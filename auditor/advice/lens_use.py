"""The lens that advice is about: its frames, its presets in use, and the settings it can be put to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from auditor.errors import SettingError
from auditor.evidence.bursts import zone_focused
from auditor.evidence.presets import USUAL_RING_M, count_presets
from auditor.evidence.rates import hours_of_runs
from auditor.intake.statements.lens_rule import find_lens
from auditor.intake.statements.session import Lens, SessionFile
from auditor.optics.lens import MM_PER_M, Floats
from auditor.settings import Settings

USUAL_STOPS = (2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
SAME = 0.03  # relative: two focus distances this near are one setting of the ring
_SAME_FOCAL = 0.02


@dataclass(frozen=True, slots=True)
class LensUse:
    """One lens at one focal length, as it was used.

    Attributes
    ----------
    name : str
        Its name, or its focal length where it has none.
    focal_length_mm : float
    others : tuple of str
        The other lenses of the archive, the most used first.
    frames : pandas.DataFrame
        Its counted, zone-focused frames.
    presets : pandas.DataFrame
        Its presets with their counts, as :func:`auditor.evidence.presets.count_presets`, the one with most
        bursts first.
    f_stops, ring_m : tuple of float
        What it can be set to; the usual ones where no session file says.
    declared : bool
        Whether a session file says what it can be set to.
    bursts_per_hour : float
        NaN where the times are unknown.
    """

    name: str
    focal_length_mm: float
    others: tuple[str, ...]
    frames: pd.DataFrame
    presets: pd.DataFrame
    f_stops: tuple[float, ...]
    ring_m: tuple[float, ...]
    declared: bool
    bursts_per_hour: float


def use_of_lens(
    table: pd.DataFrame, lenses: Sequence[Lens], settings: Settings, wanted: str | None = None
) -> LensUse:
    """Find the frames of a lens: the one named, else the one with most frames.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table.
    lenses : sequence of Lens
        What session files say of lenses.
    settings : Settings
    wanted : str, optional
        A lens's name, or a focal length such as ``28mm``.

    Raises
    ------
    SettingError
        If no frame is zone-focused and counted, or the lens is not in the archive.
    """
    frames = zone_focused(table)
    frames = frames[frames["focal_length_mm"] > 0].reset_index(drop=True)
    if not len(frames):
        raise SettingError(
            "No counted frame has a whole zone setting, so there is nothing to advise on.",
            "Run auditor prepare: its session file says what was on the lens, and how marks are saved.",
        )
    # Zoom positions within 2 % are one focal length.
    focal = np.round(np.log(frames["focal_length_mm"].to_numpy(float)) / _SAME_FOCAL).astype(int)
    number = frames.groupby([frames["lens"].fillna(""), focal], sort=False).ngroup().to_numpy()
    order = np.argsort(-np.bincount(number), kind="stable")
    found = [_named(frames[number == code]) for code in order]
    chosen = 0 if wanted is None else _match(found, wanted)
    own = frames[number == order[chosen]].reset_index(drop=True)
    name, focal_mm = found[chosen]
    entry = find_lens(lenses, _lens_name(own), focal_mm)
    presets = count_presets(own, settings.confidence)
    presets = presets[presets["bursts"] > 0].sort_values("bursts", ascending=False, kind="stable")
    hours = float(hours_of_runs(own, np.unique(own["preset"], return_inverse=True)[1], len(presets)).sum())
    return LensUse(
        name=name,
        focal_length_mm=focal_mm,
        others=tuple(dict.fromkeys(n for i, (n, _) in enumerate(found) if i != chosen and n != name)),
        frames=own,
        presets=presets.reset_index(drop=True),
        f_stops=(entry.f_stops if entry else ()) or USUAL_STOPS,
        ring_m=(entry.ring_m if entry else ()) or USUAL_RING_M,
        declared=bool(entry and entry.f_stops and entry.ring_m),
        bursts_per_hour=float(presets["bursts"].sum()) / hours if hours > 0 else np.nan,
    )


def _lens_name(frames: pd.DataFrame) -> str | None:
    name = frames["lens"].iloc[0]
    return name if isinstance(name, str) else None


def _named(frames: pd.DataFrame) -> tuple[str, float]:
    focal_mm = float(frames["focal_length_mm"].median())
    return _lens_name(frames) or f"{focal_mm:.3g} mm", focal_mm


def _match(found: list[tuple[str, float]], wanted: str) -> int:
    """Place of a lens by its name, else by its focal length."""
    word = wanted.strip().casefold()
    for place, (name, _) in enumerate(found):
        if name.casefold() == word:
            return place
    length = word.removesuffix("mm").strip()
    if length.replace(".", "", 1).isdigit():
        for place, (_, focal_mm) in enumerate(found):
            if abs(focal_mm / float(length) - 1) <= _SAME_FOCAL:
                return place
    names = ", ".join(dict.fromkeys(name for name, _ in found))
    raise SettingError(f"No counted frame was taken with a lens {wanted!r}.", f"The archive has: {names}.")


def declared_lenses(sessions: Iterable[SessionFile]) -> tuple[Lens, ...]:
    """Every lens of the session files, each once; of one name the first that says more rules."""
    found: dict[tuple[str | None, float], Lens] = {}
    for lens in (lens for session in sessions for lens in session.lenses):
        key = (lens.name.casefold() if lens.name else None, lens.focal_length_mm)
        known = found.get(key)
        if known is None or bool(lens.f_stops) + bool(lens.ring_m) > bool(known.f_stops) + bool(known.ring_m):
            found[key] = lens
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class Choices:
    """Settings that a lens can be put to; arrays of shape (a,).

    Attributes
    ----------
    f_number, focus_distance_m : numpy.ndarray
    within_experience : numpy.ndarray of bool
        Whether subjects were met around that focus distance, or the ring is already used there.
    """

    f_number: Floats
    focus_distance_m: Floats
    within_experience: np.ndarray


def choices_of(use: LensUse, settings: Settings, low_m: float, high_m: float) -> Choices:
    """Every f-stop within the wished range at every engraving, and at the distances in use.

    Parameters
    ----------
    use : LensUse
    settings : Settings
        ``f_number_min`` and ``f_number_max``.
    low_m, high_m : float
        Where nearly all known subject distances lie.

    Raises
    ------
    SettingError
        If no f-stop lies within the wished range.
    """
    least, most = settings.f_number_min * 0.99, settings.f_number_max * 1.01
    stops = [stop for stop in sorted(set(use.f_stops)) if least <= stop <= most]
    if not stops:
        raise SettingError(
            f"{use.name} has no f-number from f/{settings.f_number_min:g} to f/{settings.f_number_max:g}.",
            f"It has {', '.join(f'f/{stop:g}' for stop in use.f_stops)}: widen the range in [advice].",
        )
    nearest = 4 * use.focal_length_mm / MM_PER_M
    ring = [distance for distance in use.ring_m if distance > nearest]
    used = use.presets["focus_distance_m"].to_numpy(float)
    ring += [distance for distance in used.tolist() if not same_ring(distance, np.array(ring)).any()]
    ring = sorted(set(ring))
    within = [low_m <= distance <= high_m or same_ring(distance, used).any() for distance in ring]
    number, focus = np.meshgrid(stops, ring, indexing="ij")
    return Choices(number.ravel(), focus.ravel(), np.tile(np.array(within, dtype=bool), len(stops)))


def same_ring(distance_m: float, others_m: Floats) -> np.ndarray:
    """Whether settings of the ring are the same as one, by reciprocal distance."""
    inverse, others = 1 / distance_m, 1 / others_m
    return np.asarray(np.abs(inverse - others) <= SAME * np.maximum(inverse, others))
