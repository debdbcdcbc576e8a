"""Invented people who keep 1 to 8 frames of 100, mostly for the moment, with each frame's chance to be kept.

What is mimicked: outings differ, near subjects interest more, of a burst the best frame is picked, people get
stricter with time, distances are measured with an error and a bias. Each trouble can be left out. Only the
optics and the light are the package's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import expit

from auditor.evidence.presets import number_bursts
from auditor.evidence.weights import add_weights
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.intake.sampling import draw_sample
from auditor.optics.blur import airy_mm, combined_mm, defocus_mm, motion_mm
from auditor.optics.lens import sharp_zone
from auditor.optics.sensors import parse_criterion

FOCAL_MM, COC_MM = 28.0, 43.267 / 1442
STOPS, RINGS_M = (4.0, 5.6, 8.0, 11.0), (1.2, 1.5, 2.0, 2.5, 3.0, 4.0)
BURST_SIZES, BURST_SHARES = (1, 2, 3, 4, 5), (0.62, 0.18, 0.1, 0.06, 0.04)
TROUBLES = ("outings", "near", "best", "stricter", "error")


@dataclass(frozen=True)
class Person:
    """One invented person: how often a frame would be kept for its moment, and what blur takes from it."""

    kept: float  # share of the frames kept, about
    tolerance_mm: float
    steepness: float
    floor: float  # share of the height that is left however blurred a frame is
    median_m: float
    spread: float  # of the log distance
    presets: tuple[tuple[float, float], ...]
    outing_sd: float = 0.7  # logit
    near: float = 0.7  # logit for each factor e that the subject is nearer
    stricter: float = -0.8  # logit from the first session to the last
    picks_best: bool = True
    error: float = 0.10  # of a measured distance
    bias: float = 0.05  # to one side
    presses_inside: bool = False

    def without(self, *troubles: str) -> Person:
        """Return the same person without some of the troubles."""
        calm = {
            "outings": {"outing_sd": 0.0},
            "near": {"near": 0.0},
            "best": {"picks_best": False},
            "stricter": {"stricter": 0.0},
            "error": {"error": 0.0, "bias": 0.0},
        }
        return replace(self, **{key: value for name in troubles for key, value in calm[name].items()})


def draw_person(rng: np.random.Generator, *, presses_inside: bool = False) -> Person:
    """One person at random, with three presets."""
    rings = rng.choice(RINGS_M, 3, replace=False)
    return Person(
        kept=float(rng.uniform(0.01, 0.08)),
        tolerance_mm=float(np.exp(rng.normal(np.log(1.4 * COC_MM), 0.5))),
        steepness=float(np.exp(rng.normal(np.log(3.2), 0.3))),
        floor=float(rng.uniform(0.02, 0.5)),
        median_m=float(np.exp(rng.normal(np.log(2.6), 0.2))),
        spread=float(rng.uniform(0.35, 0.55)),
        presets=tuple(zip(rng.choice(STOPS, 3).tolist(), rings.tolist(), strict=True)),
        bias=float(rng.choice([-0.05, 0.05])),
        presses_inside=presses_inside,
    )


def walk(
    person: Person, rng: np.random.Generator, frames: int = 400, sessions: int = 5
) -> tuple[pd.DataFrame, np.ndarray]:
    """A frame table whose distances are as they would be measured, and each frame's chance to be kept."""
    count = 3 * frames if not person.presses_inside else 12 * frames
    size = rng.choice(BURST_SIZES, count, p=BURST_SHARES)
    distance = person.median_m * np.exp(person.spread * rng.standard_normal(count))
    session = np.sort(rng.integers(0, sessions, count))
    stretch = rng.integers(0, 9, count)
    order = np.lexsort((stretch, session))
    session, stretch = session[order], stretch[order]
    preset = rng.permuted(np.tile(np.resize(np.arange(3), 9), (sessions, 1)), axis=1)[session, stretch]
    number, focus = np.array(person.presets).T[:, preset]
    if person.presses_inside:
        zone = sharp_zone(FOCAL_MM, number, focus, COC_MM)
        looks = distance * np.exp(0.12 * rng.standard_normal(count))
        pressed = (looks >= zone.near_limit_m) & (looks <= zone.far_limit_m) | (rng.random(count) < 0.15)
    else:
        pressed = np.ones(count, dtype=bool)
    chosen = np.flatnonzero(pressed)
    if chosen.size > frames:  # more than enough presses: a part of them, over all sessions
        chosen = np.sort(rng.choice(chosen, frames, replace=False))
    while size[chosen].sum() > frames:
        chosen = np.delete(chosen, rng.integers(chosen.size))
    burst = np.repeat(np.arange(chosen.size), size[chosen])
    at = chosen[burst]
    n = at.size
    blur = _blur(number[at], focus[at], distance[at], rng)
    left = person.floor + (1 - person.floor) * expit(-person.steepness * np.log(blur / person.tolerance_mm))
    tilt = person.near * np.log(person.median_m / distance[at])
    tilt += person.outing_sd * rng.standard_normal(sessions)[session[at]]
    tilt += person.stricter * (session[at] / max(sessions - 1, 1) - 0.5)
    first = np.flatnonzero(np.diff(burst, prepend=-1))
    if person.picks_best:  # a burst is kept for its moment, and of its frames one, mostly the sharpest
        left = np.maximum.reduceat(left, first)[burst] * left**4 / np.add.reduceat(left**4, first)[burst]
    wanted = min(person.kept, 0.6 * left.mean())
    level = brentq(lambda shift: (expit(shift + tilt) * left).mean() - wanted, -15, 15)
    chance = expit(level + tilt) * left
    kept = rng.random(n) < chance
    if person.picks_best:
        draw = rng.random(burst[-1] + 1)[burst]
        upto = np.cumsum(chance) - np.repeat(np.cumsum(chance)[first] - chance[first], size[chosen])
        kept = (draw < upto) & (draw >= upto - chance)
    measured = distance[at] * np.exp(person.bias + person.error * rng.standard_normal(n))
    start = pd.Timestamp("2031-05-01 10:00") + pd.to_timedelta(session[at], unit="D")
    table = pd.DataFrame(
        {
            "file": [f"street_{i:05d}.jpg" for i in range(n)],
            "session": session[at] + 1,
            "captured_at": start + pd.to_timedelta(20.0 * burst + 0.5 * _place(burst), unit="s"),
            "camera": "body A",
            "lens": "lens A",
            "preset": [f"f/{person.presets[p][0]:g} at {person.presets[p][1]:g} m, {p}" for p in preset[at]],
            "focal_length_mm": FOCAL_MM,
            "f_number": number[at],
            "exposure_time_s": 1 / 500,
            "iso": rng.choice([400.0, 800.0, 1600.0], n),
            "sensor_width_mm": 36.0,
            "sensor_height_mm": 24.0,
            "focus_distance_m": focus[at],
            "subject_distance_m": measured,
            "subject_distance_rel_sd": 0.1,
            "keeper": np.where(kept, "yes", "no"),
            "counted_as": np.where(kept, "keeper", "not kept"),
            "in_preset": True,
        }
    )
    return with_zones(number_bursts(with_columns(table))), chance


def measure_some(table: pd.DataFrame, n: int, seed: int) -> pd.DataFrame:
    """Leave the distances of a drawn sample alone, and weigh it, as an audit does."""
    unknown = table.assign(subject_distance_m=np.nan, sample_weight=np.nan)
    rows = draw_sample(unknown, n, seed).rows
    drawn = np.zeros(len(table), dtype=bool)
    drawn[rows] = True
    known = table.assign(
        subject_distance_m=table["subject_distance_m"].where(drawn),
        drawn=pd.array(drawn, dtype="boolean"),
    )
    return with_zones(add_weights(known))


def with_zones(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its zones, sides and blurs."""
    return add_zones(table, parse_criterion("handbook"), 1.3)


def _blur(
    number: np.ndarray, focus: np.ndarray, distance: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    speed = np.maximum(1.3 + 0.4 * rng.standard_normal(number.size), 0.0)
    across = motion_mm(FOCAL_MM, distance, speed, np.full(number.size, 1 / 500), crossing_deg=90)
    sine = np.abs(np.sin(rng.uniform(0, 2 * np.pi, number.size)))
    return combined_mm(defocus_mm(FOCAL_MM, number, focus, distance), across * sine, airy_mm(number, 0.0))


def _place(burst: np.ndarray) -> np.ndarray:
    """Place of each frame in its burst, from 0."""
    first = np.flatnonzero(np.diff(burst, prepend=-1))
    return np.arange(burst.size) - first[burst]
