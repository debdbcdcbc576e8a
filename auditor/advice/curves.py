"""The keeper curve as advice uses it: many curves, each as likely as the others, that agree with the data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from auditor.evidence.burst_blur import LOG_BLUR
from auditor.evidence.bursts import burst_codes
from auditor.evidence.keeper_curve import CEILING_LOGIT, FLOOR_LOGIT, keep_probability
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.tolerance_fit import (
    DRAWS,
    STEEPNESS,
    STEEPNESS_SPREAD,
    TOLERANCE_DEGREES,
    TOLERANCE_SPREAD,
    TOLERANCE_TIMES,
)
from auditor.optics.lens import Floats

MOST_FRAMES = 8  # longer bursts count as this long
_SEED = 20_241


@dataclass(frozen=True, slots=True)
class Curves:
    """Draws of the keeper curve, k of them.

    Attributes
    ----------
    draws : numpy.ndarray, shape (k, 5)
        Tolerance [mm], steepness, ceiling and floor of one frame, and growth: a burst of m frames holds a
        keeper with the chance 1 - (1 - p)^(m^growth). Growth is NaN where all bursts are single frames.
    burst_frames, burst_share : numpy.ndarray, shape (b,)
        Numbers of frames of a burst, and the share of the bursts that have so many.
    """

    draws: Floats
    burst_frames: Floats
    burst_share: Floats

    def __len__(self) -> int:
        return len(self.draws)

    @property
    def tries(self) -> float:
        """How many independent frames an average burst is worth."""
        growth = np.nan_to_num(self.draws[:, 4]).mean()
        return float(self.burst_share @ self.burst_frames**growth)

    def heights(self) -> Floats:
        """Chance that a burst holds a keeper in each class of blur, shape (len(LOG_BLUR), k)."""
        tolerance, steepness, ceiling, floor, growth = self.draws.T
        frame = keep_probability(np.exp(LOG_BLUR)[:, None], tolerance, steepness, ceiling, floor)
        result = np.zeros_like(frame)
        for size, share in zip(self.burst_frames, self.burst_share, strict=True):
            times = size ** np.nan_to_num(growth)
            result += share * (1 - (1 - frame) ** times)
        return result


def curves_of(tolerance: Tolerance, lens: str, frames: pd.DataFrame) -> Curves | None:
    """The draws of a fitted tolerance, the lens's own where it has them; None where nothing was fitted.

    Parameters
    ----------
    tolerance : Tolerance
    lens : str
        Name of the lens.
    frames : pandas.DataFrame
        The lens's counted frames, whose bursts advice is about.
    """
    own = tolerance.by_lens.get(lens, tolerance)
    draws = own.draws if own.fitted else tolerance.draws
    if not len(draws):
        return None
    return Curves(draws, *_burst_sizes(frames))


def usual_curves(handbook_mm: float, frames: pd.DataFrame) -> Curves:
    """Curves as photographers have them before anything is known of this one: the priors of the fit.

    Parameters
    ----------
    handbook_mm : float
        Handbook criterion of the sensor [mm].
    frames : pandas.DataFrame
        The lens's counted frames.
    """
    rng = np.random.default_rng(_SEED)
    tolerance = np.log(handbook_mm * TOLERANCE_TIMES) + TOLERANCE_SPREAD * rng.standard_t(
        TOLERANCE_DEGREES, DRAWS
    )
    steepness = np.log(STEEPNESS) + STEEPNESS_SPREAD * rng.standard_normal(DRAWS)
    floor, part = (expit(mean + sd * rng.standard_normal(DRAWS)) for mean, sd in (FLOOR_LOGIT, CEILING_LOGIT))
    ceiling = floor + (1 - floor) * part
    draws = [np.exp(tolerance), np.exp(steepness), ceiling, floor, np.full(DRAWS, np.nan)]
    return Curves(np.stack(draws, axis=1), *_burst_sizes(frames))


def _burst_sizes(frames: pd.DataFrame) -> tuple[Floats, Floats]:
    """Numbers of frames of a burst, and the share of the bursts that have so many."""
    size = np.minimum(np.bincount(burst_codes(frames)), MOST_FRAMES)
    frames_of, bursts = np.unique(size, return_counts=True)
    return frames_of.astype(float), bursts / bursts.sum()
