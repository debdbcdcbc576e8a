"""The door for notebooks: the same answers as the commands, strings in, and results that show themselves."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

import auditor
from auditor.errors import SettingError, SourceError, UnitError
from auditor.notebook.results import Audited

DEMO = Path(__file__).resolve().parents[1] / "demo_metadata"


@pytest.fixture
def audited(demo) -> Audited:
    return Audited(demo)


def test_a_zone_of_a_published_example() -> None:
    # An encyclopaedia's example: 50 mm at f/8 with 0.03 mm, focused at the hyperfocal distance of 10.467 m:
    # sharp from half of it to infinity.
    zone = auditor.zone("50mm", 8, "10.52m", coc="0.03mm")  # 10.467 m from the lens
    assert zone.near_limit_m == pytest.approx(5.233 + 0.05, abs=0.02)
    assert math.isinf(zone.far_limit_m)
    assert "to ∞" in repr(zone)
    assert float(auditor.hyperfocal(50.0, 8.0, 0.03)) == pytest.approx(10.467, abs=0.06)


def test_sources_come_as_text_path_or_list(walk) -> None:
    folder = walk(3, focal_length_mm=28.0, f_number=8.0)
    frames = [
        auditor.scan(given, cache="off", workers=1).frames for given in (str(folder), folder, [str(folder)])
    ]
    assert [len(one) for one in frames] == [3, 3, 3]
    assert "3 frames" in repr(auditor.scan(folder, cache="off", workers=1))


def test_a_misspelt_keyword_is_refused_at_once_with_the_right_one() -> None:
    with pytest.raises(TypeError, match="Did you mean 'confidence'"):
        auditor.audit("nowhere", confidance=0.9)  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="Did you mean 'iso_max'"):
        auditor.advise(None, iso_maximum=6400)  # type: ignore[arg-type, call-arg]


def test_values_are_checked_before_anything_is_read() -> None:
    with pytest.raises((UnitError, SettingError)):
        auditor.audit("nowhere", coc="handbok")
    with pytest.raises(UnitError):
        auditor.audit("nowhere", confidence=1.5)
    with pytest.raises(UnitError):
        auditor.scan("nowhere", units="yards")
    with pytest.raises(SourceError):
        auditor.scan("nowhere")


@pytest.mark.slow
def test_a_walk_is_told_of_by_its_day(audited) -> None:
    began = audited.diary.walks["starts_at"].iloc[0]
    told = auditor.audit(DEMO, cache="off", workers=1, walk=f"{began:%Y-%m-%d}").diary
    assert (told.row, audited.diary.row) == (0, len(audited.diary.walks) - 1)


@pytest.mark.slow
def test_the_answers_are_those_of_the_commands(audited, tmp_path) -> None:
    from typer.testing import CliRunner

    from auditor.cli import make_app

    lens = audited.decisions.lenses[-1].lens
    words = ["advise", str(DEMO), "--lens", lens, "--json", "--cache", "off"]
    typed = json.loads(CliRunner().invoke(make_app(), words).stdout)
    told = auditor.advise(audited, lens).as_json()
    assert told["decision"] == typed["decision"]
    assert told["settings"] == typed["settings"]
    again = auditor.advise(auditor.scan(DEMO, cache="off", workers=1), lens)
    assert again.decision.kind == told["decision"]["kind"]
    tuned = auditor.tune(audited, lens)
    assert len(tuned.stops) == len(tuned.as_json()["stops"])


@pytest.mark.slow
def test_results_show_themselves(audited) -> None:
    for result in (audited, auditor.advise(audited), auditor.tune(audited)):
        assert "\n" not in repr(result)
        assert len(repr(result)) < 400
        assert "<table" in result._repr_html_()
    assert len(audited.frames) == audited.audit.counts["frames"]
    assert audited.chart("presets").startswith(b"\x89PNG")


def test_an_unknown_lens_is_named_with_those_there_are(audited) -> None:
    with pytest.raises(SettingError, match="135 mm"):
        auditor.advise(audited, "135 mm")


@pytest.mark.slow
def test_the_light_may_be_stated(audited) -> None:
    louder = auditor.tune(audited, iso_max=25600, wanted_shutter_s=1 / 1000, slowest_shutter_s=1 / 500)
    assert louder.stops["expected"].to_numpy() == pytest.approx(louder.stops["expected"].to_numpy())
    assert not louder.stops["expected"].equals(auditor.tune(audited).stops["expected"])
