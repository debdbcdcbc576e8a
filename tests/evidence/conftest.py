"""Small frame tables for the evidence tests."""

import numpy as np
import pandas as pd
import pytest

from auditor.frames import with_columns


@pytest.fixture
def frame_table():
    """Return a maker of frame tables: columns in, the missing ones filled, keepers as 0/1 under ``kept``."""

    def make(kept, **columns):
        n = len(kept)
        verdict = np.where(
            np.asarray(kept) == 1, "keeper", np.where(np.asarray(kept) == 0, "not kept", "left out")
        )
        base = {
            "file": [f"F{i:05d}.JPG" for i in range(n)],
            "session": 0,
            "burst": range(n),
            "captured_at": pd.Timestamp("2024-05-04 10:00") + pd.to_timedelta(np.arange(n) * 10, unit="s"),
            "camera": "body A",
            "in_preset": True,
            "counted_as": verdict,
        }
        return with_columns(pd.DataFrame(base | columns, index=range(n)))

    return make
