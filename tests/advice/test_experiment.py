"""The next walk: settings that teach most, and a session file that can be read back."""

import numpy as np
import pytest
from auditor.advice.experiment import propose_experiment
from auditor.advice.recommend import advise

from auditor.advice.experiment_file import experiment_session
from auditor.errors import SettingError
from auditor.intake.statements.session import Lens
from auditor.intake.statements.session_file import read_session
from auditor.settings import Settings

LENS = Lens('odd "28"', 28.0, (2.8, 4.0, 5.6, 8.0, 11.0, 16.0), (1.0, 1.2, 1.5, 2.0, 3.0, 5.0, np.inf))
SETTINGS = Settings(iso_max=6400, wanted_shutter_s=1 / 500, slowest_shutter_s=1 / 125)


def test_two_or_three_settings_with_the_advised_one_first(archive, tolerance):
    table = archive(lens=LENS.name)
    walk = propose_experiment(table, [LENS], SETTINGS, tolerance(spread=0.4), bursts=200)
    first = advise(table, [LENS], SETTINGS, tolerance(spread=0.4)).settings[0]
    assert walk.settings[0].f_number == first.f_number
    assert 2 <= len(walk.settings) <= 3
    assert len({(one.f_number, one.focus_distance_m) for one in walk.settings}) == len(walk.settings)
    assert walk.bursts_each * len(walk.settings) >= 200
    assert walk.value >= 0


def test_what_is_known_teaches_nothing_and_more_doubt_teaches_more(archive, tolerance):
    table = archive(presets=((2.8, 2.5), (2.8, 1.5)))
    values = [
        propose_experiment(table, [], SETTINGS, tolerance(spread=spread), bursts=200).value
        for spread in (0.001, 0.3, 0.9)
    ]
    assert values[0] < 1e-4
    assert values[0] < values[1] < values[2]


def test_longer_walks_teach_more(archive, tolerance):
    table = archive(presets=((2.8, 2.5), (2.8, 1.5)))
    short, long = (
        propose_experiment(table, [], SETTINGS, tolerance(spread=0.6), bursts=n).value for n in (20, 2000)
    )
    assert short < long


def test_the_usual_session_sets_the_length(archive, tolerance):
    table = archive(session=np.arange(300) // 150)
    walk = propose_experiment(table, [], SETTINGS, tolerance(spread=0.4))
    assert walk.bursts_each * len(walk.settings) == pytest.approx(150, abs=2)


@pytest.mark.parametrize("units", ["m", "ft"])
def test_the_session_file_reads_back_without_a_problem(archive, tolerance, tmp_path, units):
    settings = SETTINGS.changed(units=units)
    walk = propose_experiment(archive(lens=LENS.name), [LENS], settings, tolerance(spread=0.4))
    path = tmp_path / "session.toml"
    text = experiment_session(walk, settings)
    path.write_text(text, encoding="utf-8")
    read = read_session(path)
    assert read.problems == ()
    assert read.lenses == (LENS,)
    for preset, tried in zip(read.presets, walk.settings, strict=True):
        assert preset.f_number == tried.f_number
        assert preset.focus_distance_m == pytest.approx(tried.focus_distance_m, rel=1e-3)
        assert preset.focal_length_mm == 28.0
    assert read.settings["wanted_shutter_s"] == pytest.approx(1 / 500, rel=1e-9)
    assert "Look where you walk" in text


def test_its_stretches_are_ready_to_be_uncommented(archive, tolerance, tmp_path):
    walk = propose_experiment(archive(), [], SETTINGS, tolerance(spread=0.4))
    text = experiment_session(walk, SETTINGS)
    head, stretches = text.split("first frame.\n", 1)
    uncommented = (
        head
        + "first frame.\n"
        + stretches.replace("# [[", "[[").replace("# preset", "preset").replace("# from", "from")
    )
    path = tmp_path / "session.toml"
    path.write_text(uncommented, encoding="utf-8")
    read = read_session(path)
    assert read.problems == ()
    names = [stretch.preset for stretch in read.stretches]
    assert len(names) >= len(walk.settings)
    counts = {name: names.count(name) for name in names}
    assert len(set(counts.values())) == 1  # every setting as often


def test_without_distances_there_is_nothing_to_plan(archive, unfitted):
    with pytest.raises(SettingError, match="Without known subject distances"):
        propose_experiment(archive(subject_distance_m=np.nan), [], SETTINGS, unfitted)
