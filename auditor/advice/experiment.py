"""The next walk as an experiment: which settings to alternate so as to learn most.

The criterion is the value of what the walk would teach (Raiffa & Schlaifer 1961, Applied Statistical
Decision Theory): by how much the expected hit rate of the setting chosen after the walk should exceed that of
the one chosen now. What a walk teaches of the keeper curve is its Fisher information; the curve's parameters
are taken to be normally distributed around their mean, as the draws are spread now, and less so after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from auditor.advice.curves import usual_curves
from auditor.advice.expectation import Grid, blur_shares, prepare_averaging
from auditor.advice.lens_use import Choices, choices_of
from auditor.advice.preference import in_order
from auditor.advice.valuing import Ground, find_ground
from auditor.errors import SettingError
from auditor.evidence.burst_blur import LOG_BLUR
from auditor.evidence.bursts import burst_codes
from auditor.evidence.keeper_curve import fall
from auditor.evidence.tolerance import Tolerance, handbook_mm
from auditor.intake.statements.session import Lens
from auditor.optics.lens import Floats
from auditor.settings import Settings

FEWEST_BURSTS, MOST_BURSTS = 60, 300  # of one walk
WORTHWHILE = 0.7  # part of the best expected rate below which a setting is no walk to send anybody on
RINGS_A_STOP = 2  # of each f-number the best ones stand for the rest
THIRD_IS_WORTH = 1.1  # a third setting has to teach so many times more
BLOCK_BURSTS = 20
OUTCOMES = 200
_SEED = 20_242
_STEP = 1e-3


@dataclass(frozen=True, slots=True)
class TrySetting:
    """One setting of the walk; within experience or not, it is only tried."""

    f_number: float
    focus_distance_m: float
    expected_hit_rate: float
    within_experience: bool


@dataclass(frozen=True, slots=True)
class Experiment:
    """The next walk.

    Attributes
    ----------
    lens : str
    focal_length_mm : float
    f_stops, ring_m : tuple of float
        What the lens can be set to, as far as a session file says; empty otherwise.
    settings : tuple of TrySetting
        Two or three to alternate; one where the lens allows no other.
    bursts_each : int
    block_bursts : int
        Bursts after which to change over.
    value : float
        Expected gain in hit rate of deciding after the walk rather than now.
    """

    lens: str
    focal_length_mm: float
    f_stops: tuple[float, ...]
    ring_m: tuple[float, ...]
    settings: tuple[TrySetting, ...]
    bursts_each: int
    block_bursts: int
    value: float


def propose_experiment(
    table: pd.DataFrame,
    lenses: Sequence[Lens],
    settings: Settings,
    tolerance: Tolerance,
    lens: str | None = None,
    bursts: int | None = None,
) -> Experiment:
    """Propose which settings to alternate on the next walk.

    Parameters
    ----------
    table, lenses, settings, tolerance, lens
        As for :func:`auditor.advice.recommend.advise`.
    bursts : int, optional
        Length of the walk; the usual session otherwise, but 60 to 300.

    Raises
    ------
    SettingError
        If no distance or no exposure time is known, or there is nothing to choose from.
    """
    ground = find_ground(table, lenses, settings, tolerance, lens)
    distances, exposures = ground.distances, ground.exposures
    if distances is None:
        raise SettingError(
            "Without known subject distances no experiment can be planned.",
            "Note some distances: auditor prepare --distances 60 draws the frames and lays out the notes.",
        )
    if exposures is None:
        raise SettingError(
            "Without known exposure times no experiment can be planned.",
            "Take it from files that carry them, or add exposure_time_s to the frame table.",
        )
    if (
        ground.averaging is None
    ):  # nothing kept, or nothing not kept: the usual photographer's curves stand in
        curves = usual_curves(handbook_mm(table), ground.use.frames)
        ground = replace(ground, averaging=prepare_averaging(distances, curves))
    choices = choices_of(ground.use, settings, distances.low_m, distances.high_m)
    grid = ground.grid(choices.f_number, choices.focus_distance_m)
    rate = ground.expect(grid).rate
    allowed = choices.within_experience & (rate > 0)
    if not allowed.any():
        raise SettingError(
            "In this light no setting could be taken where subjects were met.", "Allow a higher ISO."
        )
    first = int(in_order(rate, allowed, exposures.median_isos(grid.f_number))[0])
    total = bursts or _usual_walk(ground)
    rows, value = _most_telling(ground, grid, choices, rate, first, total)
    use = ground.use
    return Experiment(
        lens=use.name,
        focal_length_mm=use.focal_length_mm,
        f_stops=use.f_stops if use.declared else (),
        ring_m=use.ring_m if use.declared else (),
        settings=tuple(
            TrySetting(
                float(grid.f_number[row]),
                float(grid.focus_distance_m[row]),
                float(rate[row]),
                bool(choices.within_experience[row]),
            )
            for row in rows
        ),
        bursts_each=int(np.ceil(total / len(rows))),
        block_bursts=min(BLOCK_BURSTS, int(np.ceil(total / len(rows)))),
        value=value,
    )


def _usual_walk(ground: Ground) -> int:
    """Bursts of the usual session, within bounds."""
    frames = ground.use.frames
    per_session = pd.Series(burst_codes(frames)).groupby(frames["session"].fillna(-1).to_numpy()).nunique()
    return int(np.clip(per_session.median(), FEWEST_BURSTS, MOST_BURSTS))


def _most_telling(
    ground: Ground, grid: Grid, choices: Choices, rate: Floats, first: int, bursts: int
) -> tuple[list[int], float]:
    """Rows of the two or three settings whose walk is worth most, the advised one among them."""
    assert ground.averaging is not None
    assert ground.exposures is not None
    rows = np.array([first, *(row for row in _candidates(grid, rate, rate[first]) if row != first)])
    shares = blur_shares(grid.chosen(rows), ground.exposures, ground.settings.speed_m_s)
    together = np.tensordot(shares, ground.averaging.distances.together, axes=(1, 0))
    may = choices.within_experience[rows]
    curves = ground.averaging.curves
    point = _to_plane(curves.draws)
    centre, spread = point.mean(axis=0), np.cov(point.T) + 1e-9 * np.eye(4)
    tries = curves.tries
    information = _information(together, centre, tries)
    noise = np.random.default_rng(_SEED).standard_normal((OUTCOMES, 4))

    def value(places: Sequence[int]) -> float:
        learned = sum(information[place] for place in places) * (bursts / len(places))
        after = np.linalg.inv(np.linalg.inv(spread) + learned)
        known = spread - after
        scale, axes = np.linalg.eigh((known + known.T) / 2)
        outcomes = centre + (noise * np.sqrt(np.maximum(scale, 0.0))) @ axes.T
        rates = together[may] @ _heights(outcomes, tries)
        return float(rates.max(axis=0).mean() - rates.mean(axis=1).max())

    if len(rows) == 1:
        return [first], value([0])
    pairs = {(0, place): value((0, place)) for place in range(1, len(rows))}
    best = max(pairs, key=lambda pair: pairs[pair])
    triples = {(*best, place): value((*best, place)) for place in range(1, len(rows)) if place not in best}
    if triples:
        three = max(triples, key=lambda triple: triples[triple])
        if triples[three] > THIRD_IS_WORTH * pairs[best]:
            return rows[list(three)].tolist(), triples[three]
    return rows[list(best)].tolist(), pairs[best]


def _candidates(grid: Grid, rate: Floats, best: float) -> list[int]:
    """Of each f-number the best ring settings that are worth a walk."""
    chosen: list[int] = []
    for number in np.unique(grid.f_number):
        own = np.flatnonzero((grid.f_number == number) & (rate >= WORTHWHILE * best))
        chosen += own[np.argsort(-rate[own], kind="stable")][:RINGS_A_STOP].tolist()
    return chosen


def _to_plane(draws: Floats) -> Floats:
    """Curves as points without bounds: log tolerance and steepness, logits of the floor and of the rest."""
    tolerance, steepness, ceiling, floor = draws.T[:4]
    part = np.clip((ceiling - floor) / (1 - floor), 1e-6, 1 - 1e-6)
    return np.stack([np.log(tolerance), np.log(steepness), logit(floor), logit(part)], axis=1)


def _heights(points: Floats, tries: float) -> Floats:
    """Chance that a burst holds a keeper in each class of blur, shape (len(LOG_BLUR), points)."""
    log_tolerance, log_steepness, low, part = points.T
    floor = expit(low)
    left = fall(np.exp(LOG_BLUR)[:, None], np.exp(log_tolerance), np.exp(log_steepness))
    frame = floor + (1 - floor) * expit(part) * left
    return np.asarray(1 - (1 - frame) ** tries)


def _information(together: Floats, centre: Floats, tries: float) -> Floats:
    """Fisher information of one burst at each setting about the curve, shape (a, 4, 4)."""
    chance = np.clip(_heights(centre[None], tries), 1e-6, 1 - 1e-6)
    moved = [_heights((centre + _STEP * axis)[None], tries) for axis in np.eye(4)]
    slope = (np.concatenate(moved, axis=1) - chance) / _STEP
    per_class = slope[:, :, None] * slope[:, None, :] / (chance * (1 - chance))[:, :, None]
    return np.asarray(np.tensordot(together, per_class, axes=(1, 0)))
