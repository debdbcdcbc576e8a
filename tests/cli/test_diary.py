"""An audit after every walk into one folder: what is read, what is kept; it says what a fresh one says."""

from __future__ import annotations

import json
import os
import time
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from typer.testing import CliRunner
from worlds.people import World, draw_archive

from auditor.advice.past import ADVICE_NAME
from auditor.cli import make_app
from auditor.intake.library import reading
from auditor.intake.tables import to_csv_text

pytestmark = pytest.mark.slow  # whole audits, four and more in a row
WALKS, OLD = (1, 2, 5), 1_500_000_000  # sessions when an audit is made; a file time beyond doubt


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Audit after some of five walks into one folder, and after the last anew into another."""
    folder = tmp_path_factory.mktemp("diary")
    world = World(frames=150, sessions=5, distances=40, verdicts=40, keep=(0.08, 0.09))
    table = draw_archive(3, world).table
    found = []
    for walk in WALKS:
        source = folder / "frames.csv"
        source.write_text(to_csv_text(table[table["session"] <= walk]), encoding="utf-8")
        out = run("audit", source, "--out", folder / "one", "--no-pictures", "--cache", "off")
        lines = (folder / "one" / ADVICE_NAME).read_text("utf-8")
        found.append((out.stdout, json.loads((folder / "one" / "audit.json").read_text("utf-8")), lines))
    run("audit", source, "--out", folder / "fresh", "--no-pictures", "--cache", "off")
    return folder, found


def run(*words, code=0):
    result = CliRunner().invoke(make_app(), [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result


def test_an_audit_after_each_walk_says_what_a_fresh_one_says(told):
    folder, found = told
    fresh = json.loads((folder / "fresh" / "audit.json").read_text("utf-8"))
    own = dict(found[-1][1])
    assert own.pop("past_advice") != []
    assert fresh.pop("past_advice") == []
    assert own == fresh
    line = (folder / "fresh" / ADVICE_NAME).read_text("utf-8").splitlines()[-1]
    assert line == found[-1][2].splitlines()[-1]


def test_each_walk_adds_a_line_and_leaves_the_others(told):
    lines = [text for _, _, text in told[1]]
    assert [text.count("\n") for text in lines] == [1, 2, 3]
    for earlier, later in pairwise(lines):
        assert later.startswith(earlier)


def test_the_screen_tells_of_the_walk(told):
    folder, found = told
    first, last = found[0][0], found[-1][0]
    assert "This walk, 2031-05-01" in first
    assert "No usual yet: 0 earlier walks, 4 are" in first
    assert "Last time" not in first
    start = datetime.fromisoformat(found[-1][1]["sessions"][-1]["starts_at"])
    assert f"This walk, {start:%Y-%m-%d %H:%M}" in last
    assert "usual" in last
    assert "Expected after" in last, "nothing had been advised"
    assert last.index("Next walk") < last.index("This walk") < last.index("Report")
    page = (folder / "one" / "report.html").read_text("utf-8")
    assert page.index('id="next"') < page.index('id="walk"') < page.index('id="presets"')
    walk = page.split('id="walk"')[1].split("</section>")[0]
    assert "your usual" in walk
    assert "Walks over time" in page


def test_another_walk_can_be_asked_for(told):
    folder, found = told
    session = found[-1][1]["sessions"][2]
    day = session["starts_at"][:10]
    out = run(
        "audit",
        folder / "frames.csv",
        "--out",
        folder / "third",
        "--walk",
        day,
        "--no-pictures",
        "--cache",
        "off",
    )
    assert f"The walk, {day}" in out.stdout
    audit = json.loads((folder / "third" / "audit.json").read_text("utf-8"))
    assert audit["walk"]["session"] == 3
    wrong = run("audit", folder / "frames.csv", "--out", folder / "third", "--walk", "1999-01-01", code=1)
    assert "No walk began at '1999-01-01'" in wrong.output
    assert day in wrong.output


def test_what_a_person_changed_stays_and_stops_nothing(told, tmp_path):
    out, source = tmp_path / "mine", tmp_path / "frames.csv"
    text = (told[0] / "frames.csv").read_text("utf-8")
    source.write_text("".join(text.splitlines(keepends=True)[:40]), encoding="utf-8")
    command = ("audit", source, "--out", out, "--no-pictures", "--cache", "off")
    run(*command)
    file = out / ADVICE_NAME
    mine = file.read_text("utf-8").replace('"advice": "', '"advice": "(never again) ') + "not a line\n"
    file.write_text(mine, encoding="utf-8")
    again = run(*command)
    assert file.read_text("utf-8") == mine
    assert "tells no advice" in " ".join(again.output.split())
    file.write_bytes(b"\xff\xfe no text")
    assert "is not UTF-8 text" in " ".join(run(*command).output.split())
    assert file.read_bytes() == b"\xff\xfe no text"
    file.write_text(mine, encoding="utf-8")
    (out / "presets.csv").write_text("changed", encoding="utf-8")
    run(*command, code=1)
    assert file.read_text("utf-8") == mine


def test_after_one_new_walk_its_files_alone_are_read(tmp_path, photo, monkeypatch):
    archive, cache = tmp_path / "archive", tmp_path / "read.sqlite"

    def walk(number):
        start = datetime(2031, 5, number, 14)
        for i in range(8):
            facts = {
                "focal_length_mm": 28,
                "f_number": 8,
                "distance": (5, 2),
                "rating": 3 if i in (2, 7) else None,
            }
            photo(
                archive / f"walk{number}" / f"P10{number}{i:04d}.jpg", start + timedelta(minutes=i), **facts
            )

    read = []
    real = reading.read_packed
    monkeypatch.setattr(reading, "read_packed", lambda path: read.append(path) or real(path))
    command = ("audit", archive, "--out", tmp_path / "out", "--cache", cache, "--workers", "1")
    for number in (1, 2, 3):
        walk(number)
        for path in (archive / f"walk{number}").iterdir():
            os.utime(path, (OLD, OLD))  # a file that may still be changing is not kept
        time.sleep(0.05)
        read.clear()
        run(*command)
        assert len(read) == 8
        assert all(f"walk{number}" in str(path) for path in read)
    before = {path: path.read_bytes() for path in archive.rglob("*") if path.is_file()}
    run(*command)
    assert {path: path.read_bytes() for path in archive.rglob("*") if path.is_file()} == before
