"""Invented archives in every state that a page must bear, audited by the real code from a frame table."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from auditor.intake.library.thumbnails import thumbnails
from auditor.journey import Audit, run_audit
from auditor.settings import Request
from auditor.show.page.shown_frames import MOST_THUMBNAILS, rows_shown
from auditor.show.page.view import lens_views
from auditor.show.report import build_report

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-sync",
]
PRESETS = [  # name, lens, focal length [mm], f-number, focus distance [m]
    ("arcade", "28 mm", 28.0, 8.0, 2.5),
    ("crossing", "28 mm", 28.0, 11.0, 3.0),
    ("close", "35 mm", 35.0, 5.6, 1.5),
    ("far side", "28 mm", 28.0, 16.0, np.inf),
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for page and sheet: its driver can run only once in a process."""
    playwright = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed: no browser tests"
    )
    if CHROMIUM is None:
        pytest.skip("chromium is not installed (or named in the variable CHROMIUM): no browser tests")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


def invented_frames(
    n: int, *, presets: list[tuple] = PRESETS, marks: bool = True, distances: bool = True, seed: int = 3
) -> pd.DataFrame:
    """Frames of people met around 2.4 m, kept more often where they stood near the focus distance."""
    rng = np.random.default_rng(seed)
    block = np.sort(rng.integers(0, len(presets), n))
    name, lens, focal, f_number, focus = (
        np.array(column) for column in zip(*(presets[b] for b in block), strict=True)
    )
    subject = np.exp(rng.normal(np.log(2.4), 0.55, n))
    miss = np.abs(1 / subject - 1 / focus.astype(float))
    kept = rng.random(n) < 0.08 + 0.5 * np.exp(-((miss / 0.12) ** 2))
    day = rng.integers(0, max(1, min(6, n // 60)), n)
    start = pd.Timestamp("2024-05-04T14:00:00")
    order = np.lexsort((block, day))
    times = start + pd.to_timedelta(day[order], unit="D") + pd.to_timedelta(np.arange(n) * 11.0, unit="s")
    table = pd.DataFrame(
        {
            "camera": "body A",
            "lens": lens[order],
            "preset": name[order],
            "focal_length_mm": focal[order].astype(float),
            "f_number": f_number[order].astype(float),
            "focus_distance_m": focus[order].astype(float),
            "exposure_time_s": 1 / 500,
            "iso": 800,
            "subject_distance_m": np.round(subject[order], 2) if distances else np.nan,
            "keeper": np.where(kept[order], "yes", "no") if marks else None,
            "captured_at": times.strftime("%Y-%m-%dT%H:%M:%S"),
        }
    )
    return table.assign(file=[f"walk/P{number:07d}.JPG" for number in range(n)])


@pytest.fixture
def frames_of() -> Callable[..., pd.DataFrame]:
    """Invent a frame table (see :func:`invented_frames`)."""
    return invented_frames


def audited(frames: pd.DataFrame, folder: Path, **overrides: object) -> Audit:
    """Audit a frame table; further arguments override settings."""
    source = folder / "frames.csv"
    frames.to_csv(source, index=False, encoding="utf-8")
    return run_audit(Request((source,), overrides=overrides, workers=1))


@pytest.fixture
def audit_of(tmp_path: Path) -> Callable[..., Audit]:
    """Audit a frame table (see :func:`audited`)."""
    return lambda frames, **overrides: audited(frames, tmp_path, **overrides)


@pytest.fixture(scope="session")
def walked(tmp_path_factory: pytest.TempPathFactory) -> Audit:
    """An audit of 200 frames in several sessions, shared by the tests that only read it."""
    return audited(invented_frames(200), tmp_path_factory.mktemp("walked"))


@pytest.fixture(scope="session")
def walked_page(walked: Audit) -> str:
    """Its page."""
    return build_report(walked)


@pytest.fixture(scope="session")
def demo_page(demo: Audit) -> str:
    """Its page, with the thumbnails that it holds."""
    views = lens_views(demo)
    rows = rows_shown(views, demo)[:MOST_THUMBNAILS]
    made = thumbnails([demo.paths[row] for row in rows])
    held = {row: jpeg for row, jpeg in zip(rows, made, strict=True) if jpeg}
    return build_report(demo, Path(demo.paths[0]).parent / "out", views=views, thumbnails=held)


@pytest.fixture(scope="session")
def thin(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Audit]:
    """Audits of archives that hold too little, by what they lack."""
    three = [*PRESETS[:1], ("near", "50 mm", 50.0, 4.0, 1.5), ("wide", "21 mm", 21.0, 8.0, 2.0)]
    lone = invented_frames(90, presets=three)
    lone.loc[lone["lens"] != "28 mm", "subject_distance_m"] = np.nan
    tables = {
        "no marks": invented_frames(60, marks=False),
        "no distances": invented_frames(60, distances=False),
        "nothing": invented_frames(40, marks=False, distances=False),
        "twenty frames": invented_frames(20),
        "one preset": invented_frames(60, presets=PRESETS[:1]),
        "one lens of three": lone,
    }
    return {name: audited(frames, tmp_path_factory.mktemp("thin")) for name, frames in tables.items()}
