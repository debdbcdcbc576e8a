"""Hit rate session by session, between control limits that do not cry wolf.

A funnel plot with overdispersion: sessions differ more than chance alone would have it, because places and
light differ. How much more is estimated from the sessions themselves, without the few extreme ones, and the
limits are widened by it (Spiegelhalter 2005, Stat. Med. 24:1185, and Qual. Saf. Health Care 14:347).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import chdtrc, erfc, ndtri, stdtr

from auditor.evidence.bursts import CountedFrames
from auditor.evidence.proportions import Floats, benjamini_hochberg

LIMIT_COVERAGE = 0.998  # the usual outer limits of a funnel plot
WINSORISED = 0.1  # part of the sessions at either end that does not set the overdispersion
LEFT_OF_VARIANCE = 0.6787  # of a normal variance after winsorising a tenth at either end
FEWEST_SESSIONS = 4
FALSE_CLAIMS = 0.05  # expected share of sessions called outside that are not
DRIFT_LEVEL = 0.01


@dataclass(frozen=True, slots=True)
class OverTime:
    """Sessions in order of time; what is estimated is NaN with fewer than 4 of them.

    Attributes
    ----------
    sessions : pandas.DataFrame
        ``session, starts_at, bursts, hits, hit_rate, low, high``, the common rate ``centre`` with
        ``limit_low`` and ``limit_high``, ``z`` (distance from the centre in widened standard errors) and
        ``outside``.
    """

    sessions: pd.DataFrame
    drift_per_session: float  # change of the log odds from one session to the next
    drifts: bool  # whether the rate rises or falls over the sessions beyond what they scatter


def rates_over_time(counted: CountedFrames, sessions: pd.DataFrame) -> OverTime:
    """Hold the hit rate of each session against the common one.

    ``sessions`` comes from :func:`auditor.evidence.presets.count_sessions`. Reads ``session, captured_at``.
    """
    starts = counted.frames.groupby("session")["captured_at"].min()
    counts = sessions[sessions["bursts"] > 0]
    counts = counts.assign(starts_at=starts.reindex(counts["session"]).to_numpy("datetime64[us]"))
    counts = counts.sort_values(["starts_at", "session"], kind="stable").reset_index(drop=True)
    hits, n = counts["hits"].to_numpy(float), counts["bursts"].to_numpy(float)
    centre = hits.sum() / n.sum() if n.sum() else math.nan
    unknown = np.full(len(counts), np.nan)
    limit_low, limit_high, z, outside = unknown, unknown, unknown, np.zeros(len(counts), dtype=bool)
    drift = drift_p = math.nan
    if len(counts) >= FEWEST_SESSIONS and 0 < centre < 1:
        plain = z_scores(hits, n, centre)
        spread = overdispersion(plain)
        z = plain / math.sqrt(spread)
        limit_low, limit_high = control_limits(n, centre, spread)
        # Student's t, since the overdispersion was learned from the same few sessions.
        chance = 2 * stdtr(len(n) - 1, -np.abs(z)) if spread > 1 else erfc(np.abs(z) / math.sqrt(2))
        outside = benjamini_hochberg(chance) < FALSE_CLAIMS
        outside &= np.abs(z) > ndtri((1 + LIMIT_COVERAGE) / 2)
        drift, drift_p = trend(np.arange(len(n), dtype=float), hits, n)
    held = counts[["session", "starts_at", "bursts", "hits", "hit_rate", "low", "high"]].assign(
        centre=centre, limit_low=limit_low, limit_high=limit_high, z=z, outside=outside
    )
    return OverTime(held, drift, bool(drift_p < DRIFT_LEVEL))


def z_scores(hits: Floats, n: Floats, centre: float) -> Floats:
    """Return how far each rate lies from the centre, in binomial standard errors.

    The arcsine of the square root has variance 1/(4n) whatever the rate, so small sessions and small rates
    get limits that stay within 0 and 1.
    """
    rate = (hits + 0.375) / (n + 0.75)  # Anscombe (1948), Biometrika 35:246
    return np.asarray(2 * np.sqrt(n + 0.5) * (np.arcsin(np.sqrt(rate)) - math.asin(math.sqrt(centre))))


def overdispersion(z: Floats) -> float:
    """Return the variance of winsorised z-scores, at least 1 (Spiegelhalter 2005).

    Divided by what winsorising leaves of a normal variance, which matters with few sessions.
    """
    low, high = np.quantile(z, [WINSORISED, 1 - WINSORISED])
    return max(float(np.mean(np.clip(z, low, high) ** 2)) / LEFT_OF_VARIANCE, 1.0)


def control_limits(n: Floats, centre: float, spread: float) -> tuple[Floats, Floats]:
    """Return the rates between which sessions of n bursts stay in 998 of 1,000 cases."""
    reach = ndtri((1 + LIMIT_COVERAGE) / 2) * math.sqrt(spread) / (2 * np.sqrt(n + 0.5))
    middle = math.asin(math.sqrt(centre))

    def rate(angle: Floats) -> Floats:
        share = np.sin(np.clip(angle, 0, math.pi / 2)) ** 2
        return np.asarray(np.clip((share * (n + 0.75) - 0.375) / n, 0, 1))

    return rate(middle - reach), rate(middle + reach)


def trend(place: Floats, hits: Floats, n: Floats) -> tuple[float, float]:
    """Return the slope of the log odds along a place in time and its p-value, sessions scattering as they do.

    Logistic regression of at least 3 sessions, hits and misses among them; its variance is widened by
    Pearson's chi-squared over its degrees of freedom where that exceeds 1 (McCullagh & Nelder, Generalized
    Linear Models, 2nd ed., 4.5).
    """
    scale = float(np.std(place))
    design = np.stack([np.ones_like(place), (place - place.mean()) / scale], axis=1)
    point = np.array([math.log((hits.sum() + 0.5) / ((n - hits).sum() + 0.5)), 0.0])
    for _ in range(50):
        rate = 1 / (1 + np.exp(-np.clip(design @ point, -30, 30)))
        information = design.T @ (design * (n * rate * (1 - rate))[:, None])
        step = np.linalg.solve(information + 1e-9 * np.eye(2), design.T @ (hits - n * rate))
        point = point + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    pearson = float(((hits - n * rate) ** 2 / np.maximum(n * rate * (1 - rate), 1e-9)).sum())
    degrees = len(n) - 2
    widened = max(pearson / degrees, 1.0)
    variance = np.linalg.inv(information + 1e-9 * np.eye(2))[1, 1] * widened
    ratio = point[1] ** 2 / variance
    if widened == 1.0:
        return float(point[1]) / scale, float(chdtrc(1, ratio))
    return float(point[1]) / scale, float(2 * stdtr(degrees, -math.sqrt(ratio)))
