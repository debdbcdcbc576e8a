"""Draws the frames whose distances are worth a person's minutes, by chance and with the marks hidden.

Distances given to keepers alone would bend every later result. Half of the sample goes to each mark, because
keepers are few and say most; within a mark a preset's part follows the square root of its frames (power
allocation: Bankier, The American Statistician 42, 1988). Each drawn frame then stands for as many
frames of its stratum as its sample weight says.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.frames import LEFT_OUT, was_drawn
from auditor.intake.library.folders import SAMPLE_NAME
from auditor.intake.starter import note_names
from auditor.intake.tables import to_csv_text

SHEET_COLUMNS = ("file", "sharp", "guessed_distance", "subject_distance", "reason")

Truths = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Sample:
    """Frames drawn by chance."""

    rows: npt.NDArray[np.intp]  # the drawn frames, shuffled
    weighted_rows: npt.NDArray[np.intp]  # these and the frames of earlier samples, in the table's order
    weights: npt.NDArray[np.float64]  # how many frames each of the latter stands for
    population: int  # frames that the sample speaks for, those with a distance among them
    with_distance: int  # of the population, passed over since their distance is known
    drawn_before: int  # of the population, answered in an earlier sample without a distance
    again: int = 0  # drawn frames that an earlier draw holds and nobody has answered


def draw_sample(table: pd.DataFrame, n: int, seed: int = 0, waiting: Truths | None = None) -> Sample:
    """Draw n frames by chance, stratified by preset and mark; the same seed draws the same frames.

    Frames with a distance are not drawn: those that an earlier sample drew share their stratum's weight with
    the new ones, the others stand for themselves. Those of the population that an earlier draw holds and
    that are ``waiting``, without distance or answer, come again and count among the n.
    """
    if n < 1:
        raise ValueError(f"n must be above 0, not {n}")
    population = _population(table)
    has_distance = table["subject_distance_m"].notna().to_numpy()
    before = was_drawn(table)
    free = population & ~has_distance & ~before
    by_chance = population & before
    mark = pd.factorize(table["counted_as"].fillna(""), sort=True)[0]
    preset = pd.factorize(table["preset"].fillna(""), sort=True)[0]
    by_both = pd.factorize(pd.MultiIndex.from_arrays([mark, preset]), sort=True)[0]
    again = np.flatnonzero(by_chance & (False if waiting is None else waiting))
    n = min(max(n - len(again), 0), int(free.sum()))
    # Every stratum must be drawn from, or its frames would be spoken for by nobody.
    stratum = next(
        (choice for choice in (by_both, mark) if not n or len(np.unique(choice[free])) <= n),
        np.zeros_like(mark),
    )
    rng = np.random.default_rng(seed)
    strata = np.unique(stratum[free])
    sizes = [int((free & (stratum == s)).sum()) for s in strata]
    marks = [int(mark[stratum == s][0]) for s in strata]
    drawn = [
        rng.choice(np.flatnonzero(free & (stratum == s)), take, replace=False)
        for s, take in zip(strata, allocate(sizes, marks, n), strict=True)
    ]
    chosen = np.sort(np.concatenate([again, *drawn]))
    by_chance[chosen] = True
    stands_for = np.bincount(stratum, population & ~(has_distance & ~before))
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = stands_for / np.bincount(stratum, by_chance)
    weighted = np.flatnonzero(by_chance)
    return Sample(
        rows=np.random.default_rng(seed + 1).permutation(chosen),
        again=len(again),
        weighted_rows=weighted,
        weights=weight[stratum[weighted]],
        population=int(population.sum()),
        with_distance=int((population & has_distance).sum()),
        drawn_before=int((population & before & ~has_distance).sum()) - len(again),
    )


def _population(table: pd.DataFrame) -> Truths:
    """Frames whose distance is worth asking for: of each session the narrowest choice that holds any."""
    counts = ~table["counted_as"].fillna(LEFT_OUT).eq(LEFT_OUT).to_numpy(bool)
    in_preset = table["in_preset"].fillna(False).to_numpy(bool)
    session = pd.factorize(table["session"], use_na_sentinel=False)[0]
    unset = table[["focal_length_mm", "f_number", "focus_distance_m"]].isna().any(axis=1).to_numpy(bool)
    population = np.zeros(len(table), dtype=bool)
    for choice in (counts & in_preset, counts & unset, in_preset, unset):  # what is autofocused is not asked
        population |= choice & ~np.isin(session, session[population])
    return population if population.any() else counts | ~counts.any()


def allocate(sizes: Sequence[int], marks: Sequence[int], n: int) -> list[int]:
    """Share n draws out among strata of given sizes and marks: n in all, or every frame.

    Every mark is owed the same, and within it each stratum in proportion to the square root of its size; at
    least one each where n allows.

    >>> allocate([900, 100], [0, 1], 60)
    [30, 30]
    >>> allocate([900, 10], [0, 1], 60)
    [50, 10]
    """
    roots = np.sqrt(np.asarray(sizes, dtype="float64"))
    total_of = {mark: sum(r for r, m in zip(roots, marks, strict=True) if m == mark) for mark in set(marks)}
    owed = [root / total_of[mark] for root, mark in zip(roots, marks, strict=True)]
    taken = [0] * len(sizes)
    # One after another goes to the stratum that is furthest behind; whoever has none comes first.
    queue = [(-1e9 * share, i) for i, share in enumerate(owed)]
    heapq.heapify(queue)
    for _ in range(min(n, sum(sizes))):
        _, i = heapq.heappop(queue)
        taken[i] += 1
        if taken[i] < sizes[i]:
            heapq.heappush(queue, (-owed[i] / (taken[i] + 0.5), i))
    return taken


def sample_as_csv(table: pd.DataFrame, sample: Sample) -> str:
    """Write the sample weights, in the table's order."""
    files = note_names(table).iloc[sample.weighted_rows]
    weights = [f"{weight:.10g}" for weight in sample.weights.tolist()]
    return to_csv_text(pd.DataFrame({"file": files.to_numpy(object), "sample_weight": weights}))


def sample_beside(notes: Path) -> Path:
    """Where the weights of a notes file lie: ``sample.csv`` beside it, numbered as the notes are.

    >>> sample_beside(Path("notes.new.csv")).name, sample_beside(Path("mine.csv")).name
    ('sample.new.csv', 'sample.csv')
    """
    own = notes.name.startswith("notes.")
    return notes.with_name(notes.name.replace("notes.", "sample.", 1) if own else SAMPLE_NAME)
