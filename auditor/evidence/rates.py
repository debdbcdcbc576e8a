"""Hit rates of any grouping of the frames: by bursts, by frames, per hour."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.evidence.bursts import burst_codes, counted_frames, is_keeper, number_runs
from auditor.evidence.proportions import Floats, clustered_counts, clustered_intervals, wilson
from auditor.frames import captured_s


def hit_rates(table: pd.DataFrame, by: Sequence[str], confidence: float = 0.95) -> pd.DataFrame:
    """Count hits and keepers per group, each rate with its interval.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table; frames left out are ignored, and frames for which a column of ``by`` is unknown.
    by : sequence of str
        Grouping columns. A burst with frames in two groups counts in both.
    confidence : float
        Level of the intervals.

    Returns
    -------
    pandas.DataFrame
        One row per group in order of ``by``: ``bursts``, ``hits`` (bursts with a keeper), ``hit_rate`` with
        ``low`` and ``high`` (Wilson), ``frames``, ``keepers``, ``frame_rate`` with ``frame_low``,
        ``frame_high`` (allowing for bursts) and ``keepers_per_hour`` with ``per_hour_low``,
        ``per_hour_high`` (NaN where a group's frames span no time).
    """
    columns = list(by)
    counted = counted_frames(table)
    counted = counted[counted[columns].notna().all(axis=1)].reset_index(drop=True)
    grouped = counted.groupby(columns, sort=True, observed=True)
    group = grouped.ngroup().to_numpy(dtype=np.intp)
    names = grouped.size().reset_index()[columns]
    n_groups = len(names)

    keeper = is_keeper(counted)
    burst = burst_codes(counted.assign(_group=group), "_group")
    n_bursts = int(burst.max()) + 1 if burst.size else 0
    burst_frames = np.bincount(burst, minlength=n_bursts)
    burst_keepers = np.bincount(burst, keeper, minlength=n_bursts)
    burst_group = np.zeros(n_bursts, dtype=np.intp)
    burst_group[burst] = group

    bursts = np.bincount(burst_group, minlength=n_groups)
    hits = np.bincount(burst_group, burst_keepers > 0, minlength=n_groups).astype(int)
    frames = np.bincount(group, minlength=n_groups)
    keepers = np.bincount(group, keeper, minlength=n_groups).astype(int)
    low, high = wilson(hits, bursts, confidence)
    frame_low, frame_high = clustered_intervals(
        burst_keepers, burst_frames, burst_group, n_groups, confidence
    )
    fewest, most = clustered_counts(burst_keepers, burst_group, n_groups, confidence)
    hours = hours_of_runs(counted, group, n_groups)
    hours[hours == 0] = np.nan
    return names.assign(
        bursts=bursts,
        hits=hits,
        hit_rate=hits / np.maximum(bursts, 1),
        low=low,
        high=high,
        frames=frames,
        keepers=keepers,
        frame_rate=keepers / np.maximum(frames, 1),
        frame_low=frame_low,
        frame_high=frame_high,
        keepers_per_hour=keepers / hours,
        per_hour_low=fewest / hours,
        per_hour_high=most / hours,
    )


def hours_of_runs(table: pd.DataFrame, group: npt.NDArray[np.intp], n_groups: int) -> Floats:
    """Return the hours from the first to the last frame of each run of a group, added up per group.

    Runs are those of :func:`auditor.evidence.bursts.number_runs`. Frames without a capture time are passed
    over.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``camera``, ``session`` and ``captured_at``.
    group : numpy.ndarray of int, shape (n,)
        Group of each frame, 0..n_groups-1.
    n_groups : int

    Returns
    -------
    numpy.ndarray, shape (n_groups,)
    """
    times = pd.DataFrame({"seconds": captured_s(table), "group": group})
    runs = times.groupby(number_runs(table, group))
    lengths = (runs["seconds"].max() - runs["seconds"].min()).fillna(0.0)
    return np.bincount(runs["group"].first(), lengths, minlength=n_groups) / 3600.0
