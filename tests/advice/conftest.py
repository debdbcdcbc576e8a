"""Small archives for the advice tests."""

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.presets import number_bursts
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.optics.sensors import parse_criterion


@pytest.fixture(scope="session")
def archive():
    """Return a maker of frame tables: every frame a burst of its own, half a minute apart."""

    def make(n=300, seed=4, presets=((8.0, 2.5), (5.6, 3.0), (11.0, 1.5)), **columns):
        rng = np.random.default_rng(seed)
        preset = np.arange(n) * len(presets) // n
        number, focus = np.array(presets).T
        base = {
            "file": [f"F{i:05d}.jpg" for i in range(n)],
            "session": 1,
            "captured_at": pd.date_range("2031-05-01 10:00", periods=n, freq="30s"),
            "camera": "body A",
            "lens": "lens A",
            "preset": [f"preset {p}" for p in preset],
            "focal_length_mm": 28.0,
            "f_number": number[preset],
            "focus_distance_m": focus[preset],
            "exposure_time_s": 1 / 500,
            "iso": rng.choice([800.0, 1600.0, 3200.0], n),
            "sensor_width_mm": 36.0,
            "sensor_height_mm": 24.0,
            "subject_distance_m": 2.5 * np.exp(0.4 * rng.standard_normal(n)),
            "subject_distance_rel_sd": 0.1,
            "counted_as": np.where(rng.random(n) < 0.3, "keeper", "not kept"),
            "in_preset": True,
        }
        table = with_columns(pd.DataFrame(base | columns, index=range(n)))
        return add_zones(number_bursts(table), parse_criterion("handbook"), 1.32)

    return make
