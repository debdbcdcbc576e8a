"""``auditor measure`` as a person types it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from auditor.cli import make_app
from auditor.intake.people import facemodel
from auditor.intake.people.facemodel import can_find_faces

needs_detector = pytest.mark.skipif(not can_find_faces(), reason="the extra people is not installed")


@pytest.fixture
def folder(walk) -> Path:
    """Three small pictures of nothing."""
    return walk(3, focal_length_mm=35.0, f_number=8.0, distance=(3, 1), size=(300, 200))


def digest(folder: Path) -> dict[str, str]:
    return {str(p): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.slow
@needs_detector
def test_rows_go_to_stdout_and_words_to_stderr(folder):
    before = digest(folder)
    result = CliRunner().invoke(make_app(), ["measure", str(folder), "--cache", "off"])
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    assert lines[0].startswith("file,is_subject,choice,score,distance_m")
    assert not {"left", "top", "width", "height"} & set(lines[0].split(","))
    assert len(lines) == 4
    assert "no face found" in lines[1]
    assert "never compared" in result.stderr
    assert digest(folder) == before


@pytest.mark.slow
@needs_detector
def test_results_go_to_a_file_or_as_json(folder, tmp_path):
    out = tmp_path / "faces.csv"
    result = CliRunner().invoke(make_app(), ["measure", str(folder), "--cache", "off", "--out", str(out)])
    assert result.exit_code == 0
    assert result.stdout == ""
    assert len(out.read_text("utf-8").splitlines()) == 4
    result = CliRunner().invoke(make_app(), ["measure", str(folder), "--cache", "off", "--json"])
    told = json.loads(result.stdout)
    assert told["counts"] == {
        "frames": 3, "tried": 3, "opened": 3, "previews": 0, "with_face": 0, "chosen": 0,
        "ambiguous": 0, "filled": 0,
    }  # fmt: skip
    assert told["faces"][0]["distance_m"] is None


@pytest.mark.parametrize("command", [["measure"], ["audit", "--measure"]])
def test_without_a_detector_the_command_says_how_to_get_one(folder, monkeypatch, tmp_path, command):
    monkeypatch.setattr(facemodel.util, "find_spec", lambda name: None)
    monkeypatch.chdir(tmp_path.parent)
    result = CliRunner().invoke(make_app(), [*command, str(folder), "--cache", "off"])
    assert result.exit_code == 1
    assert "focus-zone-auditor[people]" in result.stderr


@pytest.mark.slow
@needs_detector
def test_faces_are_proposed_only_when_asked(folder, tmp_path):
    from tests.intake.people.scenes import with_face

    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')  # none is told without it
    path = folder / "P1010001.jpg"
    with Image.open(path) as written:
        exif = written.getexif().tobytes()
    with_face(60, at=(350, 100), size=(1200, 800)).save(path, exif=exif)
    for more, wanted in ((["--measure"], 1), ([], 0)):
        out = tmp_path / f"notes{len(more)}"
        typed = ["prepare", str(folder), "--distances", "3", "--out", str(out), "--cache", "off", *more]
        result = CliRunner().invoke(make_app(), typed)
        assert result.exit_code == 0, result.stderr
        assert (out / "sheet.html").read_text("utf-8").count('"measure": "face"') == wanted
