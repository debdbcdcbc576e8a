"""Values settings of a lens on the ground of an archive: what advise and tune have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.curves import curves_of, usual_curves
from auditor.advice.distances import Distances, distances_met
from auditor.advice.expectation import (
    Averaging,
    Expected,
    Grid,
    blur_shares,
    expect,
    prepare_averaging,
)
from auditor.advice.exposures import Exposures, exposures_met
from auditor.advice.flags import (
    DISTANCES_OF_ALL_LENSES,
    LIMITS_ASSUMED,
    LIMITS_INFERRED,
    NO_DISTANCES,
    NO_EXPOSURES,
    NO_LIGHT,
    NO_TOLERANCE,
    ONE_PRESET,
    USUAL_CURVE,
    USUAL_SETTINGS,
)
from auditor.advice.lens_use import LensUse, use_of_lens
from auditor.advice.result import ValuedSetting
from auditor.evidence.bursts import zone_focused
from auditor.evidence.tolerance import Tolerance, handbook_mm
from auditor.intake.statements.session import Lens
from auditor.optics.lens import Floats, sharp_zone
from auditor.settings import Settings

FEWEST_DISTANCES = 20  # bursts with a known distance; with fewer, settings never used cannot be valued
FEW_DISTANCES = 30  # bursts with a known distance; with fewer, those of all lenses are taken

_SEED = 20_242


@dataclass(frozen=True, slots=True)
class Ground:
    """All that settings of one lens are valued on.

    Attributes
    ----------
    use : LensUse
    distances : Distances or None
        None where no subject distance is known.
    exposures : Exposures or None
        None where no exposure time is known.
    averaging : Averaging or None
        None where distances are unknown or no keeper curve could be fitted.
    settings : Settings
    flags : tuple of str
    """

    use: LensUse
    distances: Distances | None
    exposures: Exposures | None
    averaging: Averaging | None
    settings: Settings
    flags: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether settings that were never used can be valued."""
        return self.averaging is not None and self.exposures is not None

    def grid(self, f_number: Floats, focus_distance_m: Floats) -> Grid:
        """Settings of this lens."""
        return Grid(
            self.use.focal_length_mm, np.asarray(f_number, float), np.asarray(focus_distance_m, float)
        )

    def expect(self, grid: Grid, exposures: Exposures | None = None) -> Expected:
        """Expected hit rates; only where the ground is complete."""
        light = exposures or self.exposures
        assert light is not None
        assert self.averaging is not None
        return expect(blur_shares(grid, light, self.settings.speed_m_s), self.averaging)


def find_ground(
    table: pd.DataFrame, lenses: Sequence[Lens], settings: Settings, tolerance: Tolerance, wanted: str | None
) -> Ground:
    """Gather a lens's use, distances, light and keeper curves.

    Raises
    ------
    SettingError
        As :func:`auditor.advice.lens_use.use_of_lens`.
    """
    use = use_of_lens(table, lenses, settings, wanted)
    flags: list[str] = []
    distances = distances_met(use.frames, settings)
    if distances is None or distances.bursts < FEW_DISTANCES:
        wider = distances_met(zone_focused(table), settings) if use.others else None
        if wider is not None and (distances is None or wider.bursts >= 2 * distances.bursts):
            distances = wider
            flags.append(DISTANCES_OF_ALL_LENSES)
    exposures = exposures_met(use.frames, settings)
    carries = tolerance.by_lens.get(use.name, tolerance).carries
    curves = curves_of(tolerance, use.name, use.frames) if carries else None
    usual = not carries and distances is not None and distances.bursts >= FEWEST_DISTANCES
    if usual:
        curves = usual_curves(handbook_mm(table), use.frames)
    limits = exposures.limits if exposures else None
    flags += [
        name
        for name, holds in (
            (NO_DISTANCES, distances is None),
            (NO_TOLERANCE, curves is None),
            (USUAL_CURVE, usual),
            (NO_EXPOSURES, exposures is None),
            (NO_LIGHT, exposures is not None and not exposures.light.frames),
            (LIMITS_INFERRED, bool(limits and limits.inferred)),
            (LIMITS_ASSUMED, bool(limits and limits.assumed)),
            (ONE_PRESET, len(use.presets) == 1),
            (USUAL_SETTINGS, not use.declared),
        )
        if holds
    ]
    averaging = prepare_averaging(distances, curves) if distances is not None and curves is not None else None
    ground = Ground(use, distances, exposures, averaging, settings, (*flags, *tolerance.flags))
    return _at_own_level(ground) if usual and ground.complete else ground


def _at_own_level(ground: Ground) -> Ground:
    """Scale each of the usual curves so that the presets in use bring this photographer's own hit rate.

    Which setting is better, and how many times, stays what the usual curve says of it.
    """
    presets, averaging, exposures = ground.use.presets, ground.averaging, ground.exposures
    assert averaging is not None
    assert exposures is not None
    bursts, hits = (presets[name].to_numpy(float) for name in ("bursts", "hits"))
    grid = ground.grid(presets["f_number"].to_numpy(), presets["focus_distance_m"].to_numpy())
    together = np.tensordot(
        blur_shares(grid, exposures, ground.settings.speed_m_s), averaging.distances.together, axes=(1, 0)
    )
    expected = bursts / bursts.sum() @ (together @ averaging.heights)
    own = np.random.default_rng(_SEED).beta(
        hits.sum() + 0.5, bursts.sum() - hits.sum() + 0.5, averaging.heights.shape[1]
    )
    heights = np.minimum(averaging.heights * own / np.maximum(expected, 1e-9), 1.0)
    return replace(ground, averaging=replace(averaging, heights=heights))


def valued(
    ground: Ground,
    grid: Grid,
    expected: Expected,
    rows: Sequence[int] | np.ndarray,
    exposures: Exposures | None = None,
    **more: Any,
) -> list[ValuedSetting]:
    """Put rows of a valued grid into results; `more` holds further fields, a list of one value a row each."""
    zone = sharp_zone(grid.focal_length_mm, grid.f_number, grid.focus_distance_m, coc_of(ground.use.frames))
    low, high = expected.interval(ground.settings.confidence)
    light = exposures or ground.exposures
    assert light is not None
    result = []
    for place, row in enumerate(rows):
        times = light.at(float(grid.f_number[row]))
        fields: dict[str, Any] = {"within_experience": True}
        fields |= {name: values[place] for name, values in more.items()}
        result.append(
            ValuedSetting(
                f_number=float(grid.f_number[row]),
                focus_distance_m=float(grid.focus_distance_m[row]),
                near_limit_m=float(zone.near_limit_m[row]),
                far_limit_m=float(zone.far_limit_m[row]),
                expected_hit_rate=float(expected.rate[row]),
                low=float(low[row]),
                high=float(high[row]),
                median_shutter_s=times.median_time_s,
                median_iso=times.median_iso,
                expected_keepers_per_hour=float(expected.rate[row]) * ground.use.bursts_per_hour,
                not_taken=1 - times.taken,
                **fields,
            )
        )
    return result


def coc_of(frames: pd.DataFrame) -> float:
    """The circle of confusion that most frames were judged by [mm]."""
    return float(frames["coc_mm"].median())
