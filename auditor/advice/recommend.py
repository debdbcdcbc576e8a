"""What to set next: the best settings of a lens, and whether they are worth a change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from auditor.advice.by_counts import advise_by_counts
from auditor.advice.expectation import Expected, Grid
from auditor.advice.flags import DISTANCES_DIFFER, USUAL_CURVE
from auditor.advice.lens_use import choices_of, stops_in_use
from auditor.advice.light_thirds import SURE, settings_by_light
from auditor.advice.preference import RING_OFF, in_order, nearly_best
from auditor.advice.result import Advice, ValuedSetting
from auditor.advice.valuing import Ground, coc_of, find_ground, valued
from auditor.errors import SettingError
from auditor.evidence.mantel_haenszel import bursts_to_show
from auditor.evidence.proportions import two_sided_z
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.tolerance_checks import BETWEEN_OUTINGS, LOPSIDED
from auditor.intake.statements.session import Lens
from auditor.optics.lens import Floats
from auditor.settings import Settings

LISTED = 10  # settings in order of preference
POWER = 0.8


def advise(
    table: pd.DataFrame,
    lenses: Sequence[Lens],
    settings: Settings,
    tolerance: Tolerance,
    lens: str | None = None,
) -> Advice:
    """Advise what to set next with one lens.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table with zones, presets, bursts and what counts.
    lenses : sequence of Lens
        What session files say of lenses.
    settings : Settings
    tolerance : Tolerance
        The fitted keeper curve; where it does not carry, the usual one stands in.
    lens : str, optional
        Name or focal length; the most used one otherwise.

    Raises
    ------
    SettingError
        If there is nothing to advise on, the lens is not in the archive, or no setting meets the wishes.
    """
    ground = find_ground(table, lenses, settings, tolerance, lens)
    if not ground.complete or LOPSIDED.intersection(ground.flags):
        return advise_by_counts(ground)
    distances, light = ground.distances, ground.exposures
    assert distances is not None
    assert light is not None
    choices = choices_of(ground.use, settings, distances.low_m, distances.high_m)
    used = ground.use.presets
    grid = ground.grid(
        np.concatenate([choices.f_number, used["f_number"]]),
        np.concatenate([choices.focus_distance_m, used["focus_distance_m"]]),
    )
    expected = ground.expect(grid)
    n = len(choices.f_number)
    allowed = np.concatenate([choices.within_experience, np.zeros(len(used), dtype=bool)])
    allowed &= expected.rate > 0
    if not light.light.frames:  # what a stop that was never used costs in light is not known
        allowed = stops_in_use(ground.use, grid.f_number, allowed)
    if not allowed.any():
        raise SettingError(
            "No setting meets the wishes: in this light none could be taken at a distance where subjects "
            "were met.",
            "Allow a lower f-number, a higher ISO or a slower exposure time.",
        )
    ring_off = _ring_off(ground, grid, nearly_best(expected.rate, allowed))
    order = in_order(expected.rate, allowed, light.median_isos(grid.f_number), ring_off)[:LISTED]
    best = int(order[0])
    gain_low, gain_high = expected.gain_interval(n, settings.confidence)
    gain, low, high = float(expected.gain(n)[best]), float(gain_low[best]), float(gain_high[best])
    bears = _bears_own_distances(expected, best, n, str(used["preset"].iloc[0]))
    ratio_low, ratio_high = expected.ratio_interval(n, settings.confidence)
    ratio = gain / float(expected.rate[n]) if expected.rate[n] > 0 else float("inf")
    chance = float(expected.chance_better(n)[best])
    gains = chance >= SURE and ratio >= settings.worth
    doubted = USUAL_CURVE not in ground.flags and BETWEEN_OUTINGS in tolerance.flags
    by_light, serves = settings_by_light(ground, grid, allowed, best)
    rates_low, rates_high = expected.interval(settings.confidence)
    return Advice(
        lens=ground.use.name,
        focal_length_mm=ground.use.focal_length_mm,
        other_lenses=ground.use.others,
        settings=tuple(
            valued(
                ground,
                grid,
                expected,
                order,
                within_experience=allowed[order].tolist(),
                ring_off_rate=ring_off[order].tolist(),
            )
        ),
        current=_current(ground, grid, expected, n),
        gain=gain,
        gain_low=low,
        gain_high=high,
        gain_ratio=ratio,
        gain_ratio_low=float(ratio_low[best]),
        gain_ratio_high=float(ratio_high[best]),
        chance_better=chance,
        distinguishable=low > 0 or high < 0,
        change_advised=bool(gains and bears and not doubted),
        frames_needed=_frames_needed(ground, gain, low, high, float(expected.rate[n])),
        one_serves_all=serves,
        by_light=by_light,
        distances_known=distances.bursts,
        experience_from_m=distances.low_m,
        experience_to_m=distances.high_m,
        limits=light.limits,
        flags=(*ground.flags, *(() if bears or not gains else (DISTANCES_DIFFER,))),
        grid=pd.DataFrame(
            {
                "f_number": grid.f_number[:n],
                "focus_distance_m": grid.focus_distance_m[:n],
                "expected_hit_rate": expected.rate[:n],
                "low": rates_low[:n],
                "high": rates_high[:n],
                "within_experience": choices.within_experience,
            }
        ),
        coc_mm=coc_of(ground.use.frames),
    )


def _ring_off(ground: Ground, grid: Grid, rows: np.ndarray) -> Floats:
    """Expected hit rate where the ring is off by a tenth, on the worse side; NaN but for the given rows."""
    result = np.full(len(grid), np.nan)
    chosen = grid.chosen(np.flatnonzero(rows))
    off = [ground.expect(chosen.turned(factor)).rate for factor in (1 - RING_OFF, 1 + RING_OFF)]
    result[rows] = np.minimum(*off)
    return result


def _bears_own_distances(expected: Expected, best: int, current: int, preset: str) -> bool:
    """Whether the gain is there on the distances alone that were met with the preset in use."""
    names = expected.distances.presets
    if preset not in names:
        return True
    own = expected.on_preset(names.index(preset))
    return bool(own[best] > own[current])


def _current(ground: Ground, grid: Grid, expected: Expected, first: int) -> tuple[ValuedSetting, ...]:
    used = ground.use.presets
    return tuple(
        valued(
            ground,
            grid,
            expected,
            range(first, len(grid)),
            within_experience=[True] * len(used),
            preset=used["preset"].astype(str).tolist(),
            observed_hit_rate=used["hit_rate"].tolist(),
            observed_low=used["low"].tolist(),
            observed_high=used["high"].tolist(),
            observed_keepers_per_hour=used["keepers_per_hour"].tolist(),
            bursts=used["bursts"].astype(int).tolist(),
        )
    )


def _frames_needed(ground: Ground, gain: float, low: float, high: float, rate: float) -> int | None:
    """Further frames after which a gain of this size, or one worth acting on, should show.

    The lesser of two ways: more frames like those at hand, whose uncertainty falls with their square root, or
    as many bursts of each of the two settings as show the difference by counting alone.
    """
    if low > 0 or high < 0:
        return 0
    settings, bursts = ground.settings, float(ground.use.presets["bursts"].sum())
    z = two_sided_z(settings.confidence)
    wanted = max(abs(gain), settings.worth * rate, 1e-4)
    sd = (high - low) / (2 * z)
    alike = bursts * max(((z + two_sided_z(2 * POWER - 1)) * sd / wanted) ** 2 - 1, 0.0)
    counting = 2 * bursts_to_show(rate, 100 * wanted, 1 - settings.confidence, POWER)
    frames_a_burst = len(ground.use.frames) / bursts
    return int(np.ceil(min(alike, counting) * frames_a_burst / 10) * 10)
