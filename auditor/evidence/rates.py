"""Hit rates of any grouping of the frames: by bursts, by frames, per hour."""

import numpy as np
import pandas as pd

from auditor.evidence.bursts import burst_codes, is_keeper, number_runs
from auditor.evidence.proportions import clustered_counts, clustered_intervals, wilson
from auditor.frames import captured_s

RATE_COLUMNS = (
    "bursts", "hits", "hit_rate", "low", "high", "frames", "keepers", "frame_rate", "frame_low", "frame_high",
    "keepers_per_hour", "per_hour_low", "per_hour_high",
)  # fmt: skip
_READ = ("counted_as", "session", "burst", "camera", "captured_at")


def hit_rates(frames: pd.DataFrame, by: str, confidence: float = 0.95) -> pd.DataFrame:
    """Count hits and keepers of each value of a column, each rate with its interval.

    Returns ``by`` in order, then :data:`RATE_COLUMNS`: ``hits`` are bursts with a keeper, ``low, high`` are
    Wilson's; the interval of the frames allows for bursts; an hour's is NaN where frames span no time. Frames
    for which ``by`` is unknown are passed over; a burst with frames in two groups counts in both. Hours go
    from the first to the last frame of each run. Reads ``by, counted_as, session, burst, camera,
    captured_at`` of counted frames.
    """
    frames = frames.loc[frames[by].notna(), list({by, *_READ})]
    group, values = pd.factorize(frames[by].to_numpy(), sort=True)
    n_groups = len(values)
    keeper = is_keeper(frames)
    burst = burst_codes(frames.assign(_group=group), "_group")
    n_bursts = int(burst.max()) + 1 if burst.size else 0
    burst_frames = np.bincount(burst, minlength=n_bursts)
    burst_keepers = np.bincount(burst, keeper, minlength=n_bursts)
    burst_group = np.zeros(n_bursts, dtype=np.intp)
    burst_group[burst] = group
    bursts = np.bincount(burst_group, minlength=n_groups)
    hits = np.bincount(burst_group, burst_keepers > 0, minlength=n_groups).astype(int)
    size = np.bincount(group, minlength=n_groups)
    keepers = np.bincount(group, keeper, minlength=n_groups).astype(int)
    low, high = wilson(hits, bursts, confidence)
    frame_low, frame_high = clustered_intervals(
        burst_keepers, burst_frames, burst_group, n_groups, confidence
    )
    fewest, most = clustered_counts(burst_keepers, burst_group, n_groups, confidence)
    times = pd.DataFrame({"seconds": captured_s(frames), "group": group})
    runs = times.groupby(number_runs(frames, group))
    lengths = (runs["seconds"].max() - runs["seconds"].min()).fillna(0.0)
    hours = np.bincount(runs["group"].first(), lengths, minlength=n_groups) / 3600.0
    hours[hours == 0] = np.nan
    columns = (
        bursts, hits, hits / np.maximum(bursts, 1), low, high, size, keepers, keepers / np.maximum(size, 1),
        frame_low, frame_high, keepers / hours, fewest / hours, most / hours,
    )  # fmt: skip
    return pd.DataFrame({by: values} | dict(zip(RATE_COLUMNS, columns, strict=True)))
