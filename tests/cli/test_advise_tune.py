"""The commands advise and tune, and the light of a plan: text, streams, exit codes, files."""

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from auditor.cli import make_app
from auditor.intake.statements.session_file import read_session
from auditor.simulate.table import simulate_table

DEMO = Path(__file__).resolve().parents[2] / "demo_metadata"
CAUTION = "Look where you walk; local law on photographing people applies."


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("archive") / "frames.csv"
    frames, _ = simulate_table(3, 700)
    frames.drop(columns=[name for name in frames if name.startswith("true_")]).to_csv(path, index=False)
    return path


@pytest.fixture(scope="module")
def run():
    def invoke(*words):
        return CliRunner().invoke(make_app(), [str(word) for word in words], env={"COLUMNS": "100"})

    return invoke


@pytest.mark.slow
@pytest.mark.parametrize("command", ["advise", "tune"])
def test_the_answer_is_short_and_the_tables_come_when_asked(run, table, command):
    result = run(command, table)
    assert result.exit_code == 0, result.stderr
    lines = [line for line in result.stdout.splitlines() if "auditor " not in line]
    assert max(map(len, lines)) <= 60
    assert CAUTION not in result.stdout
    full = run(command, table, "--full").stdout
    assert full.startswith(result.stdout.rstrip())
    assert full.count(CAUTION) == 1
    assert "Sharp of 100 subjects" in full


@pytest.mark.slow
def test_advise_as_json(run, table):
    result = run("advise", table, "--json", "--lens", "28mm")
    values = json.loads(result.stdout)
    assert values["focal_length_mm"] == 28.0
    assert values["other_lenses"] == ["old 35 mm"]
    assert values["settings"][0]["within_experience"] is True


@pytest.mark.slow
def test_stated_limits_of_the_light_count(run, table):
    light = ["--iso-max", "800", "--wanted-shutter", "1/250", "--slowest-shutter", "1/60"]
    values = json.loads(run("advise", table, "--json", *light).stdout)
    assert values["settings"]
    assert all(one["median_iso"] <= 800 for one in values["settings"] if not one["within_experience"])


@pytest.mark.slow
def test_tune_as_json(run, table):
    values = json.loads(run("tune", table, "--json").stdout)
    numbers = [stop["f_number"] for stop in values["stops"]]
    assert numbers == sorted(set(numbers))
    assert set(values["prefer"]) <= {"sun", "open shade", "indoors", "night"}
    assert set(values["prefer"].values()) <= set(numbers)


@pytest.mark.slow
def test_feet(run, table):
    said = run("advise", table, "--units", "ft").stdout
    assert " ft" in said
    assert not re.search(r"\d m\b", said)


@pytest.mark.slow
def test_a_lens_that_is_not_there(run, table):
    result = run("tune", table, "--lens", "90mm")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "'90mm'" in result.stderr
    assert "old 35 mm" in result.stderr


@pytest.mark.slow
def test_an_experiment_is_written_once_and_reads_back(run, table, tmp_path):
    path = tmp_path / "next.toml"
    result = run("advise", table, "--experiment", path)
    assert result.exit_code == 0, result.stderr
    assert "Session file" in result.stderr
    read = read_session(path)
    assert read.problems == ()
    frames = pd.read_csv(table)
    assert {one.lens for one in read.presets} == {frames["lens"].mode()[0]}, "the lens used most"
    before = path.read_text("utf-8")
    again = run("advise", table, "--experiment", path)
    assert again.exit_code == 1
    assert "is there already" in again.stderr
    assert path.read_text("utf-8") == before


@pytest.mark.slow
def test_a_card_of_what_the_demo_advises(run, tmp_path):
    path = tmp_path / "card.pdf"
    result = run("advise", DEMO, "--lens", "35mm", "--cache", "off", "--card", path)
    assert result.exit_code == 0, result.stderr
    assert path.read_bytes().startswith(b"%PDF")
    assert run("advise", DEMO, "--cache", "off", "--card", tmp_path / "card.doc").exit_code == 1


@pytest.mark.slow
def test_without_distances_it_asks_for_them(run, table, tmp_path):
    frames = pd.read_csv(table).assign(subject_distance_m=np.nan)
    path = tmp_path / "blind.csv"
    frames.to_csv(path, index=False)
    result = run("advise", path)
    assert result.exit_code == 0
    assert result.stdout.startswith("Measure sixty distances to learn what to set")
    assert "just shoot" not in result.stdout
    assert f"auditor prepare {path}" in result.stdout
    blind = run("advise", path, "--experiment", tmp_path / "no.toml")
    assert blind.exit_code == 1
    assert "There is no walk to lay out" in blind.stderr
    assert not (tmp_path / "no.toml").exists()
    blind = run("advise", path, "--card", tmp_path / "card.pdf")
    assert blind.exit_code == 1
    assert "no card to write" in blind.stderr
    assert not (tmp_path / "card.pdf").exists()


def test_one_frame(run, table, tmp_path):
    path = tmp_path / "one.csv"
    pd.read_csv(table).head(1).to_csv(path, index=False)
    for command in ("advise", "tune"):
        assert run(command, path).exit_code == 0


@pytest.mark.slow
def test_wishes_that_nothing_meets(run, table, tmp_path):
    wishes = tmp_path / "session.toml"
    wishes.write_text("[advice]\nf_number_min = 18\nf_number_max = 32\n", encoding="utf-8")
    result = run("advise", table, "--json", "--session", wishes)
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    assert all(18 <= one["f_number"] <= 32 or one["within_experience"] for one in told["settings"])


def test_plan_tells_the_light_that_each_stop_needs(run):
    options = ["plan", "--focal-length", "50mm", "--line", "6m", "--spread", "50cm"]
    plain = run(*options)
    assert "Light needed" not in plain.stdout
    assert "Set f/2.8, ring midway between 5 and 7 m: " in plain.stdout
    lit = run(*options, "--wanted-shutter", "1/1000", "--iso-max", "3200")
    assert "Light needed at ISO 3200" in lit.stdout
    rows = json.loads(run(*options, "--iso-max", "3200", "--json").stdout)["settings"]
    # N^2/t = 2^EV S/100: f/4 and 1/250 s at ISO 3200 are 2 x 2 + 7.97 - 5 = 6.97.
    assert {row["f_number"]: row["wanted_ev"] for row in rows}[4.0] == pytest.approx(6.97, abs=0.01)
    assert run(*options, "--wanted-shutter", "1000").exit_code == 2
