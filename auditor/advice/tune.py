"""The preferred aperture of a lens: what every f-number brings and costs, and which suits which light."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.advice.expectation import Expected, Grid
from auditor.advice.exposures import Exposures
from auditor.advice.lens_use import LensUse, choices_of, same_ring, stops_in_use
from auditor.advice.light_thirds import kinds_of_light
from auditor.advice.losses import split_losses
from auditor.advice.preference import in_order
from auditor.advice.result import RingInUse, TunedStop, Tuning
from auditor.advice.valuing import Ground, find_ground
from auditor.errors import SettingError
from auditor.evidence.proportions import wilson
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.tolerance_checks import DISTANCES_OF_KEEPERS
from auditor.intake.statements.session import Lens
from auditor.settings import Settings

SAME_STOP = 0.03  # relative


def tune(
    table: pd.DataFrame,
    lenses: Sequence[Lens],
    settings: Settings,
    tolerance: Tolerance,
    lens: str | None = None,
) -> Tuning:
    """Work out the preferred aperture of one lens.

    Parameters
    ----------
    table, lenses, settings, tolerance, lens
        As for :func:`auditor.advice.recommend.advise`.

    Returns
    -------
    Tuning
        Where distances, exposures or the keeper curve are unknown, the f-numbers in use with what was
        observed, and no expectation.

    Raises
    ------
    SettingError
        If there is nothing to go on, the lens is not in the archive, or no setting meets the wishes.
    """
    ground = find_ground(table, lenses, settings, tolerance, lens)
    if not ground.complete or DISTANCES_OF_KEEPERS in ground.flags:
        return _by_counts(ground)
    assert ground.distances is not None
    assert ground.exposures is not None
    choices = choices_of(ground.use, settings, ground.distances.low_m, ground.distances.high_m)
    grid = ground.grid(choices.f_number, choices.focus_distance_m)
    expected = ground.expect(grid)
    if not (choices.within_experience & (expected.rate > 0)).any():
        raise SettingError(
            "In this light no setting could be taken at a distance where subjects were met.",
            "Allow a lower f-number, a higher ISO or a slower exposure time.",
        )
    best = _best_rings(grid, expected.rate, choices.within_experience)
    isos = ground.exposures.median_isos(grid.f_number)
    prefer: dict[str, float | None] = {"bright": None, "medium": None, "dim": None}
    kinds = kinds_of_light(ground.exposures)
    for name, exposures in kinds:
        rate = ground.expect(grid, exposures).rate
        own = in_order(rate, choices.within_experience, exposures.median_isos(grid.f_number))
        prefer[name] = float(grid.f_number[own[0]])
    may = choices.within_experience & (expected.rate > 0)
    if not ground.exposures.light.frames:  # what a stop that was never used costs in light is not known
        may = stops_in_use(ground.use, grid.f_number, may)
    preferred = float(grid.f_number[in_order(expected.rate, may, isos)[0]])
    if ground.exposures.light.frames and not kinds:
        prefer["medium"] = preferred
    return Tuning(
        lens=ground.use.name,
        focal_length_mm=ground.use.focal_length_mm,
        other_lenses=ground.use.others,
        stops=_stops(ground, grid, expected, best),
        prefer=prefer,
        preferred=preferred,
        light_ev=_light_ev(kinds),
        limits=ground.exposures.limits,
        flags=ground.flags,
    )


def _best_rings(grid: Grid, rate: np.ndarray, allowed: np.ndarray) -> list[int]:
    """Row of the best allowed ring setting of each f-number."""
    return [
        int(max(np.flatnonzero((grid.f_number == number) & allowed), key=lambda row: rate[row]))
        for number in np.unique(grid.f_number)
    ]


def _stops(ground: Ground, grid: Grid, expected: Expected, best: list[int]) -> tuple[TunedStop, ...]:
    assert ground.exposures is not None
    low, high = expected.interval(ground.settings.confidence)
    losses = split_losses(ground, grid.chosen(np.array(best)))
    stops = []
    for place, row in enumerate(best):
        number = float(grid.f_number[row])
        hits, bursts = _observed(ground.use, number)
        seen_low, seen_high = wilson(hits, bursts, ground.settings.confidence)
        times = ground.exposures.at(number)
        stops.append(
            TunedStop(
                f_number=number,
                focus_distance_m=float(grid.focus_distance_m[row]),
                expected=float(expected.rate[row]),
                low=float(low[row]),
                high=float(high[row]),
                observed=hits / bursts if bursts else np.nan,
                observed_low=float(seen_low),
                observed_high=float(seen_high),
                n=bursts,
                lost_to_defocus=float(losses.defocus[place]),
                lost_to_motion=float(losses.motion[place]),
                lost_to_diffraction=float(losses.diffraction[place]),
                lost_to_light=float(losses.light[place]),
                median_shutter_s=times.median_time_s,
                median_iso=times.median_iso,
                at_rings_in_use=_at_rings_in_use(ground, grid, expected, number),
            )
        )
    return tuple(stops)


def _at_rings_in_use(
    ground: Ground, grid: Grid, expected: Expected, f_number: float
) -> tuple[RingInUse, ...]:
    used = ground.use.presets["focus_distance_m"].to_numpy(float)
    low, high = expected.interval(ground.settings.confidence)
    result = []
    for row in np.flatnonzero(grid.f_number == f_number):
        ring = float(grid.focus_distance_m[row])
        if not same_ring(ring, used).any():
            continue
        hits, bursts = _observed(ground.use, f_number, ring)
        result.append(
            RingInUse(
                focus_distance_m=ring,
                expected=float(expected.rate[row]),
                low=float(low[row]),
                high=float(high[row]),
                observed=hits / bursts if bursts else np.nan,
                n=bursts,
            )
        )
    return tuple(result)


def _observed(use: LensUse, f_number: float, ring_m: float | None = None) -> tuple[int, int]:
    """Hits and bursts at an f-number, at any or at one setting of the ring."""
    presets = use.presets
    own = np.abs(presets["f_number"].to_numpy(float) / f_number - 1) <= SAME_STOP
    if ring_m is not None:
        own &= same_ring(ring_m, presets["focus_distance_m"].to_numpy(float))
    return int(presets.loc[own, "hits"].sum()), int(presets.loc[own, "bursts"].sum())


def _light_ev(kinds: list[tuple[str, Exposures]]) -> dict[str, float]:
    """Exposure values between which light is medium."""
    if not kinds:
        return {}
    lights = {name: exposures.light.ev for name, exposures in kinds}
    return {
        "dim_below": float((lights["dim"][-1] + lights["medium"][0]) / 2),
        "bright_above": float((lights["medium"][-1] + lights["bright"][0]) / 2),
    }


def _by_counts(ground: Ground) -> Tuning:
    """The f-numbers in use, with what was observed and nothing expected."""
    unknown = np.nan
    stops = []
    for number in sorted(ground.use.presets["f_number"].unique().tolist()):
        hits, bursts = _observed(ground.use, number)
        low, high = wilson(hits, bursts, ground.settings.confidence)
        times = ground.exposures.at(number) if ground.exposures else None
        stops.append(
            TunedStop(
                f_number=float(number),
                focus_distance_m=unknown,
                expected=unknown,
                low=unknown,
                high=unknown,
                observed=hits / bursts,
                observed_low=float(low),
                observed_high=float(high),
                n=bursts,
                lost_to_defocus=unknown,
                lost_to_motion=unknown,
                lost_to_diffraction=unknown,
                lost_to_light=unknown,
                median_shutter_s=times.median_time_s if times else unknown,
                median_iso=times.median_iso if times else unknown,
            )
        )
    return Tuning(
        lens=ground.use.name,
        focal_length_mm=ground.use.focal_length_mm,
        other_lenses=ground.use.others,
        stops=tuple(stops),
        prefer={"bright": None, "medium": None, "dim": None},
        preferred=None,
        light_ev={},
        limits=ground.exposures.limits if ground.exposures else None,
        flags=ground.flags,
    )
