"""Diaries: photographers who walk again and again, told walk by walk, with the truth of what drifts.

Presses of a walk share its luck (sd 0.7 logit, as people have it); how far people stand, what is set and how
often is pressed differ from walk to walk, too. Written out here without the package's averaging; invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, logit


@dataclass(frozen=True)
class DiaryWorld:
    """What kind of diaries; every drift is the change from the first walk to the last."""

    walks: int = 40
    session_sd: float = 0.7
    keep: tuple[float, float] = (0.02, 0.12)  # of presses
    presses: float = 60.0  # middle of a walk
    presses_sd: float = 0.4  # of its logarithm
    measured: int = 8  # distances a walk
    stricter: float = 0.0  # logit of being kept
    farther: float = 0.0  # log distance
    opener: float = 0.0  # log f-number
    harder: float = 0.0  # logit of the last walk alone: a worse one, or a better one


def draw_diary(seed: int, world: DiaryWorld) -> pd.DataFrame:
    """Draw the table that the package counts walks into, columns that drift and usual need."""
    rng = np.random.default_rng(seed)
    j = world.walks
    along = np.arange(j) / max(j - 1, 1) - 0.5
    presses = np.maximum(np.exp(rng.normal(np.log(world.presses), world.presses_sd, j)).astype(int), 3)
    level = logit(rng.uniform(*world.keep)) + world.stricter * along
    level[-1] += world.harder
    kept = rng.binomial(presses, expit(level + rng.normal(0, world.session_sd, j)))
    measured = rng.poisson(world.measured, j)
    middle = np.log(2.8) + world.farther * along + rng.normal(0, 0.15, j)
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(measured, middle + rng.normal(0, 0.4, j) / np.sqrt(measured), np.nan)
    stops = np.log([4.0, 5.6, 8.0, 11.0])
    used = np.clip(
        rng.normal(np.log(7) + world.opener * along, 0.25), stops[0], stops[-1]
    )  # the walk's mean of them
    return pd.DataFrame(
        {
            "session": np.arange(j) + 1,
            "starts_at": pd.Timestamp("2031-01-05") + pd.to_timedelta(7 * np.arange(j), unit="D"),
            "presses": presses,
            "kept": kept,
            "kept_of": presses,
            "zone_of": measured,
            "log_distance": distance,
            "log_f_number": used,
            "vergence": 1 / np.exp(rng.normal(np.log(2.5), 0.2, j)),
        }
    )
