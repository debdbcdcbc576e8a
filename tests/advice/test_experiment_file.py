"""The file of the next walk: what stands in it is read back as it was meant."""

from __future__ import annotations

import math

import pytest

from auditor.advice.experiment_file import experiment_session
from auditor.advice.next_walk import Block, WalkPlan
from auditor.advice.paired import Setting
from auditor.intake.statements.session import Lens, RingReading, ScaleReading
from auditor.intake.statements.session_file import read_session
from auditor.settings import Settings

WALK = WalkPlan(
    lens='old "35" mm',
    purpose="compare",
    blocks=(
        Block("arcade", Setting(8.0, 2.5), 15, "zone"),
        Block("far side", Setting(11.0, math.inf), 15, "zone"),
        Block("far side", Setting(11.0, math.inf), 15, "zone"),
        Block("arcade", Setting(8.0, 2.5), 15, "zone"),
    ),
    presses=60,
)


@pytest.fixture
def written(tmp_path):
    def write(walk=WALK, lens=None, **settings):
        text = experiment_session(walk, 35.0, lens, Settings(**settings))
        (tmp_path / "next.toml").write_text(text, encoding="utf-8")
        read = read_session(tmp_path / "next.toml")
        assert read.problems == ()
        return text, read

    return write


def test_presets_and_lens_are_read_back(written):
    text, read = written(
        lens=Lens('old "35" mm', 35.0, f_stops=(2.8, 8.0, 11.0), ring_m=(1.0, 2.5, math.inf))
    )
    assert [(p.name, p.f_number, p.focus_distance_m) for p in read.presets] == [
        ("arcade", 8.0, 2.5), ("far side", 11.0, math.inf),
    ]  # fmt: skip
    (lens,) = read.lenses
    assert (lens.name, lens.focal_length_mm, lens.f_stops) == ('old "35" mm', 35.0, (2.8, 8.0, 11.0))
    assert lens.ring_m == (1.0, 2.5, math.inf)
    assert read.stretches == ()
    assert '60 presses, 15 with "arcade", 30 with "far side", 15 with "arcade".' in text
    assert "Hold the palm" in text
    assert "[light]" not in text


def test_what_was_read_off_the_lens_stays_with_it(written):
    lens = Lens(
        'old "35" mm', 35.0,
        scale=(ScaleReading(8.0, 2.5, 1.2, math.inf),),
        ring_checks=(RingReading(2.0, 2.2), RingReading(10.0, math.inf)),
    )  # fmt: skip
    (read,) = written(lens=lens)[1].lenses
    assert (read.scale, read.ring_checks) == (lens.scale, lens.ring_checks)


def test_stated_limits_of_the_light_are_written_and_no_others(written):
    assert dict(written(iso_max=6400, wanted_shutter_s=1 / 500)[1].settings) == {
        "iso_max": 6400, "wanted_shutter_s": pytest.approx(1 / 500),
    }  # fmt: skip
    assert dict(written(slowest_shutter_s=1 / 60)[1].settings) == {"slowest_shutter_s": pytest.approx(1 / 60)}


def test_feet_stay_feet(written):
    text, read = written(units="ft")
    assert 'focus_distance = "8.202ft"' in text
    assert read.presets[0].focus_distance_m == pytest.approx(2.5, rel=1e-3)


def test_a_ring_in_metres_stays_in_metres_whatever_the_unit_in_use(written):
    text, _ = written(lens=Lens('old "35" mm', 35.0, ring_m=(1.0, 2.5, math.inf)), units="ft")
    assert 'ring = ["1m", "2.5m", "inf"]' in text
    assert 'focus_distance = "2.5m"' in text


def test_a_walk_for_anyone_says_so_where_its_stretch_is_put_in(written):
    walk = WalkPlan("lens", "anyone", (Block("arcade", Setting(8.0, 2.5), 60, "anyone"),), 60)
    text, _ = written(walk)
    assert '# pressed = "anyone"' in text
    assert "Hold the palm" not in text, "nothing is changed on it"
