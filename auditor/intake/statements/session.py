"""What a session file can say: cameras, lenses, presets, stretches and marks. All of it is optional."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from auditor.errors import Problem
from auditor.optics.sensors import Sensor


@dataclass(frozen=True, slots=True)
class Camera:
    """A ``[[camera]]`` entry; without a name it holds for every camera."""

    name: str | None = None
    sensor: Sensor | None = None
    clock_offset_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ScaleReading:
    """A reading off a lens's depth-of-field scale: f-number, focus and the limits that it shows [m]."""

    f_number: float
    focus_m: float
    near_m: float
    far_m: float


@dataclass(frozen=True, slots=True)
class RingReading:
    """What a tape says of a mark on the ring: the mark, and where it focuses [m]."""

    mark_m: float
    focuses_m: float


@dataclass(frozen=True, slots=True)
class Lens:
    """A ``[[lens]]`` entry: its focal length [mm], f-stops, ring engravings [m], readings of its scales."""

    name: str | None = None
    focal_length_mm: float = math.nan
    f_stops: tuple[float, ...] = ()
    ring_m: tuple[float, ...] = ()
    scale: tuple[ScaleReading, ...] = ()
    ring_checks: tuple[RingReading, ...] = ()


@dataclass(frozen=True, slots=True)
class Preset:
    """A ``[[preset]]`` entry; focal length [mm] from the lens it names, focus distance [m] as typed."""

    name: str
    lens: str | None = None
    focal_length_mm: float = math.nan
    f_number: float = math.nan
    focus_distance_m: float = math.nan
    kind: str = "free"  # or line: set in advance for a place where subjects pass
    slip: bool = False  # with a key that cannot be used it sets nothing


@dataclass(frozen=True, slots=True)
class Stretch:
    """A ``[[stretch]]`` entry as written: a preset from one moment or frame to another."""

    preset: str
    starts: str | None = None
    ends: str | None = None
    camera: str | None = None
    pressed: str = "zone"
    place: str = ""
    slip: str = ""  # why it sets nothing, though it still ends the one before; empty where it is whole
    is_placed: bool = True  # whether starts says where it begins; not where that key could not be used


@dataclass(frozen=True, slots=True)
class Marks:
    """The ``[marks]`` table."""

    keepers: Path | None = None
    min_rating: float = 1.0
    keeper_labels: tuple[str, ...] = ()
    reject_labels: tuple[str, ...] = ()
    unmarked: str | None = None
    culled_to: str | None = None
    markers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SessionFile:
    """One session file, read and checked."""

    path: Path | None = None  # None stands for the absent file: every value at its default
    distances_from: str = "sensor"
    in_files: str = "focus"
    cameras: tuple[Camera, ...] = ()
    lenses: tuple[Lens, ...] = ()
    presets: tuple[Preset, ...] = ()
    stretches: tuple[Stretch, ...] = ()
    marks: Marks = Marks()
    flash_duration_s: float | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)  # of [light], [subject] and [advice]
    problems: tuple[Problem, ...] = ()

    def preset_named(self, name: str) -> Preset | None:
        """Find a preset by its name."""
        return next((preset for preset in self.presets if preset.name == name), None)

    def camera_entry(self, camera: str | None, model: str | None) -> Camera | None:
        """Find the entry for a camera, by its name or its model, else the one without a name."""
        named = (entry for entry in self.cameras if entry.name is not None and entry.name in (camera, model))
        return next(named, None) or next((entry for entry in self.cameras if entry.name is None), None)


def declared_lenses(sessions: Iterable[SessionFile]) -> tuple[Lens, ...]:
    """Every lens of the session files, each once; of one name the first that says more rules."""
    found: dict[tuple[str | None, float], Lens] = {}
    for lens in (lens for session in sessions for lens in session.lenses):
        key = (lens.name.casefold() if lens.name else None, lens.focal_length_mm)
        known = found.get(key)
        if known is None or bool(lens.f_stops) + bool(lens.ring_m) > bool(known.f_stops) + bool(known.ring_m):
            found[key] = lens
    return tuple(found.values())
