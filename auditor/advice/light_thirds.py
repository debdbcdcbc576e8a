"""Bright, medium and dim light: which setting serves each, and whether one serves all."""

from __future__ import annotations

import numpy as np

from auditor.advice.expectation import Grid
from auditor.advice.exposures import Exposures
from auditor.advice.limits import EV_STEP
from auditor.advice.preference import in_order
from auditor.advice.result import LightKind
from auditor.advice.valuing import Ground, valued

KINDS = (("bright", 2 / 3, 1.0), ("medium", 1 / 3, 2 / 3), ("dim", 0.0, 1 / 3))  # shares from the darkest on
SURE = 0.9  # chance from which on another setting is surely better
LEAST_SPREAD = 1.0  # [stops] between dim and bright; a steadier light is one kind


def kinds_of_light(exposures: Exposures) -> list[tuple[str, Exposures]]:
    """Split the light met into thirds; empty where it is unknown or hardly varies."""
    light = exposures.light
    if not light.frames:
        return []
    split = [(name, exposures.in_light(light.between(low, high))) for name, low, high in KINDS]
    middle = [float(part.light.ev @ part.light.share) for _, part in split]
    return split if middle[0] - middle[-1] >= LEAST_SPREAD else []


def settings_by_light(
    ground: Ground, grid: Grid, allowed: np.ndarray, chosen: int
) -> tuple[tuple[LightKind, ...], bool]:
    """Best setting in each kind of light, and whether the chosen one serves them all.

    It does where, in no kind of light, another one is surely better and by as much as is worth acting on.

    Parameters
    ----------
    ground : Ground
    grid : Grid
        Settings, a of them.
    allowed : numpy.ndarray of bool, shape (a,)
        Those that may be advised.
    chosen : int
        The setting for all light.
    """
    kinds, serves = [], True
    assert ground.exposures is not None  # the ground is complete
    for name, exposures in kinds_of_light(ground.exposures):
        expected = ground.expect(grid, exposures)
        isos = exposures.median_isos(grid.f_number)
        best = int(in_order(expected.rate, allowed, isos)[0])
        loss = float(expected.rate[best] - expected.rate[chosen])
        surely = expected.chance_better(chosen)[best] >= SURE
        serves &= not (surely and loss >= ground.settings.worth * expected.rate[chosen])
        light = exposures.light
        kinds.append(
            LightKind(
                name=name,
                from_ev=float(light.ev[0] - EV_STEP / 2),
                to_ev=float(light.ev[-1] + EV_STEP / 2),
                setting=valued(ground, grid, expected, [best], exposures)[0],
                loss=max(loss, 0.0),
            )
        )
    return tuple(kinds), serves
