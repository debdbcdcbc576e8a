"""The two pictures that README shows are what ``auditor audit demo_metadata`` makes of the demo now."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from auditor.journey import Audit
from auditor.show.charts import render_charts

pytestmark = pytest.mark.slow

KEPT = Path(__file__).resolve().parents[2] / "notebooks" / "pictures"
NAMES = ("presets", "distances")
BLOCK = 12  # pixels; smaller than a dot or a bar, larger than the edge of a letter
DIFFERENCE = 40  # of 255, of a block's mean: what another version of a font or of the drawing may change


@pytest.fixture(scope="module")
def drawn(demo: Audit) -> dict[str, bytes]:
    return {name: chart.png for name, chart in render_charts(demo, NAMES).items()}


def largest_difference(one: Image.Image, other: Image.Image) -> float:
    blocks = [np.asarray(picture.convert("RGB").reduce(BLOCK), dtype=float) for picture in (one, other)]
    return float(np.abs(blocks[0] - blocks[1]).max())


@pytest.mark.parametrize("name", NAMES)
def test_kept_pictures_are_up_to_date(drawn: dict[str, bytes], name: str) -> None:
    with Image.open(KEPT / f"{name}.png") as kept, Image.open(io.BytesIO(drawn[name])) as now:
        assert kept.size == pytest.approx(now.size, abs=2)
        kept, now = (picture.crop((0, 0, *map(min, kept.size, now.size))) for picture in (kept, now))
        assert largest_difference(kept, now) <= DIFFERENCE, "make it anew: auditor audit demo_metadata"


def test_the_comparison_sees_one_rate_that_moved(demo: Audit, drawn: dict[str, bytes]) -> None:
    moved = demo.presets.assign(hit_rate=demo.presets["hit_rate"].where(demo.presets.index != 2, 0.26))
    other = render_charts(replace(demo, presets=moved), ["presets"])["presets"].png
    with Image.open(io.BytesIO(drawn["presets"])) as now, Image.open(io.BytesIO(other)) as changed:
        assert largest_difference(now, changed) > DIFFERENCE


def test_kept_pictures_are_small() -> None:
    assert sum(path.stat().st_size for path in KEPT.iterdir()) < 250_000
