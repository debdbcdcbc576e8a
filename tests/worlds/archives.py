"""Archives straight from stated truths: blur and verdicts by formulas of their own, not the package's.

A photographer walks with one lens and five presets in stretches; people pass at log-normal distances and in
every direction at 1.3 m/s; each frame or burst is kept with a chance that falls with its true blur; the
subject distance is then guessed with an error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from worlds.people import blur_parts_mm

from auditor.frames import with_columns

SPEED_M_S = 1.3
COC_MM = 0.030


@dataclass(frozen=True)
class World:
    """What differs between the cases of the bench.

    ``bursts``: ``single`` frames; ``alike``: 1 to 6 frames whose verdicts correlate with 0.5; ``one kept``:
    the burst is kept or not, and one frame of it stands for it; ``best kept``: of the frames that deserve it
    only the first is kept. ``curve``: ``logistic`` in log blur, or ``gaussian`` in blur. ``presses``:
    ``always`` or ``inside`` (only when the subject looks inside the sharp zone). ``guess``: ``normal``
    errors, ``heavy`` tails, or all ``far`` by 10 %.
    """

    name: str
    tolerance_mm: tuple[float, float] = (0.02, 0.09)
    guess_sd: float = 0.12
    bursts: str = "single"
    curve: str = "logistic"
    presses: str = "always"
    guess: str = "normal"


@dataclass(frozen=True)
class Truth:
    """The keeper curve that an archive was drawn from."""

    tolerance_mm: float
    ceiling: float
    floor: float
    steepness: float


def draw_truth(rng, world):
    low, high = np.log(world.tolerance_mm)
    return Truth(
        tolerance_mm=float(np.exp(rng.uniform(low, high))),
        ceiling=float(rng.uniform(0.2, 0.6)),
        floor=float(rng.uniform(0.01, 0.05)),
        steepness=float(np.exp(rng.uniform(np.log(2.5), np.log(6.0)))),
    )


def draw_archive(rng, world, bursts):
    """Return the frame table and the truth behind it."""
    truth = draw_truth(rng, world)
    focal = float(rng.choice([28.0, 35.0, 50.0]))
    f_numbers, focuses = rng.choice([4, 5.6, 8, 11, 16], 5), rng.choice([1.5, 2, 2.5, 3, 4, 5], 5)
    shutters = np.exp(rng.uniform(np.log(1 / 1000), np.log(1 / 125), 5))
    preset = np.sort(rng.integers(0, 5, bursts))
    n_number, focus = f_numbers[preset], focuses[preset]
    median, spread = np.exp(rng.normal(np.log(2.8), 0.2)), rng.uniform(0.3, 0.5)
    distance = _distances(rng, world, bursts, median, spread, focal, n_number, focus)
    exposure = shutters[preset] * np.exp(rng.normal(0, 0.3, bursts))
    crossing = np.abs(np.sin(rng.uniform(0, 2 * np.pi, bursts)))
    blur = np.sqrt(
        sum(p**2 for p in blur_parts_mm(focal, n_number, focus, distance, exposure, SPEED_M_S, crossing))
    )
    kept, burst = _verdicts(rng, world, keep_chance(world, truth, blur))
    guessed = _guesses(rng, world, distance)
    parts = blur_parts_mm(focal, n_number, focus, guessed, exposure, SPEED_M_S, np.sqrt(0.5))
    columns = {
        "preset": np.array([f"preset {i}" for i in range(5)], dtype=object)[preset],
        "f_number": n_number,
        "focus_distance_m": focus,
        "exposure_time_s": exposure,
        "subject_distance_m": guessed,
        "defocus_mm": parts[0],
        "motion_mm": parts[1],
        "diffraction_mm": parts[2],
        "blur_mm": np.sqrt(sum(p**2 for p in parts)),
    }
    table = pd.DataFrame({name: np.asarray(values)[burst] for name, values in columns.items()})
    inside = table["defocus_mm"] <= COC_MM
    table = table.assign(
        file=[f"S{i:06d}.JPG" for i in range(len(table))],
        session=0,
        burst=burst,
        lens="one lens",
        focal_length_mm=focal,
        subject_distance_source="notes",
        coc_mm=COC_MM,
        coc_criterion="handbook",
        in_zone=inside,
        side=np.where(
            inside, "in", np.where(table["subject_distance_m"] < table["focus_distance_m"], "near", "far")
        ),
        sensor_width_mm=36.0,
        sensor_height_mm=24.0,
        in_preset=True,
        counted_as=np.where(kept, "keeper", "not kept"),
    )
    return with_columns(table), truth


def keep_chance(world, truth, blur):
    """The true chance of a keeper; every curve is half way down at the tolerance."""
    if world.curve == "gaussian":
        left = 0.5 ** ((blur / truth.tolerance_mm) ** 2)
    else:
        left = 1 / (1 + (blur / truth.tolerance_mm) ** truth.steepness)
    return truth.floor + (truth.ceiling - truth.floor) * left


def _distances(rng, world, n, median, spread, focal, n_number, focus):
    distance = np.maximum(median * np.exp(rng.normal(0, spread, n)), 0.5)
    if world.presses == "inside":
        for _ in range(60):
            looks = distance * np.exp(rng.normal(0, world.guess_sd, n))
            defocus = blur_parts_mm(focal, n_number, focus, np.maximum(looks, 0.4), 0.0, SPEED_M_S, 0.0)[0]
            again = defocus > COC_MM
            if not again.any():
                break
            fresh = np.maximum(median * np.exp(rng.normal(0, spread, n)), 0.5)
            distance = np.where(again, fresh, distance)
    return distance


def _guesses(rng, world, distance):
    if world.guess == "heavy":  # the same middle, far more blunders
        error = world.guess_sd * rng.standard_t(3, distance.size)
    else:
        error = world.guess_sd * rng.standard_normal(distance.size)
    shift = 1.1 if world.guess == "far" else 1.0
    return np.maximum(shift * distance * np.exp(np.clip(error, -1.2, 1.2)), 0.35)


def _verdicts(rng, world, chance):
    """Return each frame's verdict and the burst it belongs to."""
    n = chance.size
    if world.bursts == "single":
        return rng.random(n) < chance, np.arange(n)
    burst = np.repeat(np.arange(n), rng.integers(1, 7, n))
    first = np.diff(burst, prepend=-1) > 0
    common = rng.random(n) < chance
    if world.bursts == "one kept":
        return common[burst] & first, burst
    copies = rng.random(burst.size) < np.sqrt(0.5)  # pairs of frames then correlate with 0.5
    kept = np.where(copies, common[burst], rng.random(burst.size) < chance[burst])
    if world.bursts == "best kept":
        earlier = pd.Series(kept).groupby(burst).cumsum().to_numpy() - kept
        kept = kept & (earlier == 0)
    return kept, burst
