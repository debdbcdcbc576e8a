"""Small archives for the advice tests."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.presets import number_bursts
from auditor.evidence.tolerance import Tolerance
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.optics.sensors import parse_criterion

BENCH = Path(__file__).resolve().parents[1] / "bench"


def load_bench(name):
    """A module of tests/bench, under its own name so that others there find it."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture(scope="session")
def photographers():
    return load_bench("photographers")


@pytest.fixture(scope="session")
def bench(photographers):
    return load_bench("bench_advice")


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


@pytest.fixture(scope="session")
def tolerance():
    """Return a maker of fitted tolerances whose curve is known, or spread by so much (log)."""

    def make(blur_mm=0.045, steepness=4.0, ceiling=0.5, floor=0.02, spread=0.0, flags=(), k=200):
        rng = np.random.default_rng(1)
        draws = np.tile([blur_mm, steepness, ceiling, floor, np.nan], (k, 1))
        draws[:, 0] *= np.exp(spread * rng.standard_normal(k))
        return Tolerance(
            blur_mm=blur_mm, low=blur_mm / 2, high=blur_mm * 2, times_handbook=blur_mm / 0.03,
            ceiling=ceiling, floor=floor, steepness=steepness, tries=1.0, bursts=300, hits=90,
            flags=tuple(flags), confidence=0.95, fit_p_value=0.5, calibration=pd.DataFrame(), draws=draws,
        )  # fmt: skip

    return make


@pytest.fixture(scope="session")
def unfitted():
    """A tolerance where nothing could be fitted."""
    nan = np.nan
    return Tolerance(
        blur_mm=nan, low=nan, high=nan, times_handbook=nan, ceiling=nan, floor=nan, steepness=nan, tries=1.0,
        bursts=0, hits=0, flags=("not_enough", "no_distances"), confidence=0.95, fit_p_value=nan,
        calibration=pd.DataFrame(), draws=np.empty((0, 5)),
    )  # fmt: skip
