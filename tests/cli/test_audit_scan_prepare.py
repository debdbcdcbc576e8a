"""The commands as a person types them: exit code, stdout and stderr, and that photographs stay untouched."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner
from worlds.stated import ARCADE_ON as SESSION

from auditor.frames import CONTRACT_COLUMNS

COUNT_KEYS = {
    "found", "read", "unreadable", "frames", "with_zone", "without_zone", "not_zone_focused",
    "with_subject_distance", "stated", "by_rule", "marked", "keepers", "not_kept", "left_out",
    "missing_numbers",
}  # fmt: skip


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def auditor_process(*words, cwd, home):
    """The command in a process of its own, as a person starts it; warnings are errors."""
    environment = os.environ | {"XDG_CACHE_HOME": str(home), "HOME": str(home), "NO_COLOR": "1"}
    command = [sys.executable, "-W", "error", "-m", "auditor", *map(str, words)]
    return subprocess.run(
        command, capture_output=True, text=True, cwd=cwd, env=environment, check=False, timeout=120
    )


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command away from the photographs, with a cache folder of its own."""
    from auditor.cli import make_app

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("NO_COLOR", "1")

    def go(*words, cwd=None):
        monkeypatch.chdir(cwd or tmp_path)
        result = CliRunner().invoke(make_app(), [str(word) for word in words])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Done(result.exit_code, result.stdout, result.stderr)

    return go


@pytest.fixture
def market(walk):
    """Six frames by a lens that tells nothing, with a session file, two keepers and two distances."""
    folder = walk(6, rating=[None, "3", None, "2", "1", "1"])
    (folder / "session.toml").write_text(SESSION)
    (folder / "notes.csv").write_text("file,subject_distance\nP1010001,2m\nP1010002,9m\n")
    return folder


def state_of(folder: Path):
    return {
        str(path.relative_to(folder)): (
            path.stat().st_mtime_ns,
            hashlib.sha256(path.read_bytes()).hexdigest(),
        )
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.slow
def test_audit_writes_every_output_and_leaves_the_photographs_as_they_were(market, tmp_path):
    before = state_of(market)
    done = auditor_process("audit", market, cwd=tmp_path, home=tmp_path / "home")
    assert done.returncode == 0, done.stderr
    assert "Of presses that count, 3 of 5 held a keeper so far" in " ".join(done.stdout.split())
    assert "report.html" in done.stderr
    out = tmp_path / "audit-report"
    for name in ("report.html", "frames.csv", "presets.csv", "distances.csv", "audit.json"):
        assert (out / name).stat().st_size > 0
    assert {path.suffix for path in (out / "charts").iterdir()} == {".svg", ".png"}
    assert state_of(market) == before
    assert [line for line in done.stdout.splitlines() if len(line) > 100 and "auditor " not in line] == []


def test_json_holds_the_contract_and_its_sums(run, market):
    done = run("audit", market, "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout, parse_constant=lambda text: pytest.fail(f"{text} is not JSON"))
    counts = found["counts"]
    assert set(counts) >= COUNT_KEYS
    assert counts["found"] == counts["read"] + counts["unreadable"] == 6
    assert (
        counts["frames"]
        == counts["with_zone"] + counts["without_zone"]
        == counts["marked"] + counts["left_out"]
    )
    assert counts["marked"] == counts["stated"] + counts["by_rule"] == counts["keepers"] + counts["not_kept"]
    preset = found["presets"][0]
    assert (preset["preset"], preset["bursts"], preset["hits"]) == ("arcade", 5, 3)
    assert preset["low"] < preset["hit_rate"] < preset["high"]
    assert found["distances"][0]["preset"] is None


@pytest.mark.slow
def test_scan_gives_the_contract_columns_in_order_and_audit_reads_it_back(run, market, tmp_path):
    for name in ("t.csv", "t.json", "t.parquet"):
        assert run("scan", market, "--out", tmp_path / name).returncode == 0
    table = pd.read_csv(tmp_path / "t.csv")
    assert list(table.columns)[: len(CONTRACT_COLUMNS)] == list(CONTRACT_COLUMNS)
    keys = ("presets", "distances", "counts", "sessions")
    folder = json.loads(run("audit", market, "--json", "--session", market / "session.toml").stdout)
    for name in ("t.csv", "t.json", "t.parquet"):
        done = run("audit", tmp_path / name, "--json", "--session", market / "session.toml")
        assert done.returncode == 0, done.stderr
        again = json.loads(done.stdout)
        differing = {
            k: (again["counts"][k], n) for k, n in folder["counts"].items() if again["counts"][k] != n
        }
        assert set(differing) <= {"merged"}
        for key in keys:
            if key != "counts":
                assert again[key] == folder[key], (name, key)


def test_scan_without_out_prints_csv_on_stdout_alone(run, market):
    done = run("scan", market)
    assert done.stdout.splitlines()[0].startswith("file,files,session,burst,captured_at")
    assert len(done.stdout.splitlines()) == 7


@pytest.mark.slow
def test_a_foreign_table_with_few_columns_is_enough(run, tmp_path):
    table = tmp_path / "mine.csv"
    table.write_text(
        "file,focal_length_mm,f_number,focus_distance_m,subject_distance_m,keeper\n"
        "a,28,8,2.5,2,yes\nb,28,8,2.5,9,no\nc,28,8,inf,3,no\nd,28,,2.5,3,yes\n"
    )
    done = run("audit", table, "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert {p["preset"]: p["frames"] for p in found["presets"]} == {
        "28 mm, f/8 at 2.5 m": 2,
        "28 mm, f/8 at ∞": 1,
    }
    assert found["counts"]["without_zone"] == 1


def test_a_foreign_table_may_spell_its_marks_as_notes_may(run, tmp_path):
    table = tmp_path / "mine.csv"
    table.write_text("file,keeper\na,Yes\nb,FALSE\nc,1\nd,\ne,perhaps\n")
    done = run("scan", table)
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert [row["keeper"] for row in rows] == ["yes", "no", "yes", "", ""]
    assert [row["mark_source"] for row in rows] == ["notes"] * 3 + [""] * 2
    assert "column keeper: 1 cells cannot be read, the first is 'perhaps'." in " ".join(done.stderr.split())


def test_a_folder_with_a_frame_table_and_no_photographs_points_to_the_table(run, tmp_path):
    (tmp_path / "frames.csv").write_text("file\na\n")
    done = run("audit", tmp_path, "--out", tmp_path / "out")
    assert done.returncode == 1
    assert f"There is a frame table: name {tmp_path / 'frames.csv'}." in done.stderr


def test_a_slowest_time_faster_than_the_wanted_one_is_refused(run, market):
    done = run("tune", market, "--wanted-shutter", "1/250", "--slowest-shutter", "1/500")
    assert done.returncode == 1
    assert "The slowest shutter, 1/500 s, is faster than the wanted one, 1/250 s" in done.stderr


def test_rows_without_a_name_are_left_out_and_told(run, tmp_path):
    table = tmp_path / "mine.csv"
    table.write_text("file,keeper\na,yes\n,no\n")
    done = run("scan", table)
    assert [row["file"] for row in csv.DictReader(io.StringIO(done.stdout))] == ["a"]
    assert "1 rows have no name in the column 'file'" in " ".join(done.stderr.split())
    table.write_text("file,keeper\n,no\n")
    assert "has no column 'file' or no row" in run("scan", table).stderr


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "json"])
def test_the_frame_table_says_the_same_as_the_folder(run, market, tmp_path, ending):
    """Also of what a folder of selects or a rule made of frames without a mark."""
    selects = tmp_path / "selects"
    selects.mkdir()
    first = sorted(market.rglob("*.jpg"))[0]
    (selects / first.name).write_bytes(first.read_bytes())
    for rule in (("--keepers", selects), ("--unmarked", "not-kept"), ("--unmarked", "leave-out"), ()):
        table = tmp_path / f"frames.{ending}"
        assert run("scan", market, "--out", table, "--force", *rule).returncode == 0
        folder = json.loads(run("audit", market, "--json", *rule).stdout)
        again = json.loads(run("audit", table, "--json").stdout)
        for name in ("counts", "presets", "distances", "sessions", "tolerance", "causes"):
            assert again[name] == folder[name], (rule, name)


@pytest.mark.slow
def test_a_mark_put_into_the_table_is_counted_by_the_rules(run, tmp_path):
    head = "file,captured_at,keeper,mark_source,counted_as\n"
    lines = [f"P101000{i}.jpg,2031-04-05T12:00:0{i},,,left out\n" for i in range(4)]
    table = tmp_path / "mine.csv"
    table.write_text(head + "".join(lines))
    assert json.loads(run("audit", table, "--json").stdout)["counts"]["marked"] == 0
    lines[3] = lines[3].replace(",,,left out", ",yes,,left out")
    table.write_text(head + "".join(lines))
    assert json.loads(run("audit", table, "--json").stdout)["counts"]["marked"] == 3


def test_results_never_fall_among_the_photographs_by_default(run, market):
    before = state_of(market)
    done = run("audit", ".", cwd=market)
    assert done.returncode == 1
    assert done.stdout == ""
    assert "would be written inside" in done.stderr
    assert f"auditor audit . --out {market.parent / 'audit-report'}" in done.stderr
    assert state_of(market) == before


@pytest.mark.slow
def test_an_explicit_out_inside_is_allowed_and_skipped_next_time(run, market):
    assert run("audit", market, "--out", market / "out").returncode == 0
    again = json.loads(run("audit", market, "--json").stdout)
    assert again["counts"]["found"] == 6


def test_prepare_tells_what_the_files_record_and_reads_its_own_output_back(run, walk, tmp_path):
    folder = walk(4)
    walk(3, start="2031-04-05T16:30:00", folder="walk/later", f_number=8, focal_length_mm=28)
    done = run("prepare", folder)
    assert done.returncode == 0, done.stderr
    session = tmp_path / "audit-notes" / "session.toml"
    text = session.read_text()
    assert "4 frames from ./P1010001.jpg, body A: no focal length, no f-number, no focus distance" in text
    assert "3 frames from later/P1010001.jpg, body A: 28 mm, f/8, no focus distance" in text
    for line in ("# speed_m_s = 1.32", '# culled_to = "..."', '# keepers = "selects"'):
        assert line in text
    again = run("audit", folder, "--json")
    assert again.stderr.startswith("With audit-notes/session.toml and audit-notes/notes.csv")
    problems = json.loads(again.stdout)["problems"]
    assert not [p for p in problems if "session.toml" in str(p["files"]) or "notes.csv" in str(p["files"])]


def test_prepare_asks_once_for_a_cameras_sensor_and_points_out_a_folder_of_copies(run, walk, photo):
    folder = walk(5)
    photo(folder / "best" / "P1010002.jpg", datetime(2031, 4, 5, 14, 1))
    done = run("prepare", folder)
    assert done.stderr.count("No sensor size is recorded of body A (5 frames), so 36×24 mm is assumed") == 1
    assert f"{folder}/best holds only copies, of 1 of the frames: probably your selects." in done.stderr
    assert f"--keepers {folder}/best" in done.stderr
    assert "probably your selects" not in run("prepare", folder, "--keepers", folder / "best").stderr


@pytest.mark.slow
def test_lines_filled_in_make_a_preset_and_stay_when_prepare_runs_again(run, walk, tmp_path):
    folder = walk(4, rating="3")
    run("prepare", folder)
    session = tmp_path / "audit-notes" / "session.toml"
    text = session.read_text()
    for line in (
        "[[preset]]", 'name = "first setting"', 'focal_length = "28mm"    # or lens = "my 28"',
        "f_number = 8", 'focus_distance = "2.5m"', "[[stretch]]", 'preset = "first setting"',
        'from = "P1010001"',
    ):  # fmt: skip
        assert f"# {line}" in text, line
        text = text.replace(f"# {line}", line)
    session.write_text(text)
    for _ in range(2):
        found = json.loads(run("audit", folder, "--json").stdout)
        assert [(p["preset"], p["frames"]) for p in found["presets"]] == [("first setting", 4)]
        done = run("prepare", folder)
        assert done.returncode == 0, done.stderr
    assert session.with_name("session.toml.before").read_text() == text
    assert "4 frames from P1010001, body A: 28 mm, f/8, focus at 2.5 m." in done.stderr


def test_statements_beside_hold_only_for_their_source_and_below_what_lies_among_the_photographs(
    run, walk, tmp_path
):
    folder = walk(4, rating="3")
    other = walk(2, folder="other", rating="3")
    run("prepare", folder, "--distances", "0")
    notes = tmp_path / "audit-notes" / "notes.csv"
    notes.write_text("file,reason,subject_distance\nP1010001,outer,2m\nP1010002,outer,2m\n")
    (folder / "notes.csv").write_text("file,reason\nP1010001,inner\n")

    def reasons(*words):
        done = run("scan", *words, "--out", tmp_path / f"table{len(list(tmp_path.iterdir()))}.csv")
        table = sorted(tmp_path.glob("table*.csv"), key=lambda path: path.stat().st_mtime_ns)[-1]
        with table.open() as file:
            return [row["reason"] for row in csv.DictReader(file)], done.stderr

    told, said = reasons(folder)
    assert told == ["inner", "outer", "", ""]
    assert said.startswith("With audit-notes/session.toml and audit-notes/notes.csv, where nothing among")
    told, said = reasons(other)
    assert (told, "audit-notes" in said) == (["", ""], False)
    (tmp_path / "own.csv").write_text("file,reason\nP1010004,own\n")
    told, said = reasons(folder, "--notes", tmp_path / "own.csv")
    assert told == ["", "", "", "own"]
    assert said.startswith("With audit-notes/session.toml, where")


def test_statements_right_above_the_folder_named_are_not_read_and_that_is_said(run, photo, tmp_path):
    walk = tmp_path / "spring" / "walk-2"
    walk.mkdir(parents=True)
    photo(walk / "P1010001.jpg", datetime(2031, 4, 5, 12))
    (walk.parent / "notes.csv").write_text("file,keeper\nP1010001,yes\n")
    said = run("scan", walk).stderr
    assert said.startswith(
        f"Not read, as the search ends at the folder that is named: {walk.parent}/notes.csv"
    )
    assert "Not read" not in run("scan", walk.parent).stderr
    assert "Not read" not in run("scan", walk, "--notes", walk.parent / "notes.csv").stderr
    (walk / "session.toml").touch()
    assert "Not read" not in run("scan", walk).stderr


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        (("audit", "nowhere"), 1, "nowhere does not exist"),
        (("audit", "MARKET", "--unmarked", "maybe"), 2, "maybe"),
        (("audit", "MARKET", "--confidence", "95"), 2, "--confidence 95"),
        (("audit", "MARKET", "--units", "yards"), 2, "neither m nor ft"),
        (("audit", "MARKET", "--coc", "0.025"), 2, "0.025"),
        (("audit", "MARKET", "--keepers", "gone"), 1, "--keepers gone is not a folder"),
        (("audit", "MARKET", "--session", "gone.toml"), 1, "gone.toml cannot be read"),
        (("audit", "MARKET", "--notes", "gone.csv"), 1, "gone.csv cannot be read"),
        (("scan", "MARKET", "--out", "table.txt"), 1, ".csv, .json or .parquet"),
        (("audit",), 2, "Missing argument"),
    ],
)
def test_a_request_that_makes_no_sense_gets_one_message_and_no_traceback(run, market, words, code, expected):
    done = run(*[market if word == "MARKET" else word for word in words])
    assert done.returncode == code
    assert expected in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.slow
def test_strict_tells_by_its_exit_code_that_something_was_left_out(run, walk):
    folder = walk(3, rating="3")
    (folder / "session.toml").write_text(SESSION)
    assert run("audit", folder, "--strict").returncode == 0
    (folder / "broken.jpg").write_bytes(b"x")
    assert run("audit", folder, "--strict").returncode == 3
    assert run("audit", folder).returncode == 0


@pytest.mark.slow
def test_feet_change_the_bands_and_the_screen_not_the_tables(run, market, tmp_path):
    done = run("audit", market, "--units", "ft")
    assert " ft" in done.stdout
    assert "near_limit_m" in (tmp_path / "audit-report" / "presets.csv").read_text()


def test_every_command_is_explained_in_readme_and_has_help(run):
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    from auditor.cli import COMMANDS

    for name in COMMANDS:
        assert f"`auditor {name}" in readme, f"README does not explain {name}"
        shown = run(name, "--help")
        assert shown.returncode == 0
        assert len(shown.stdout) > 200


@pytest.mark.slow
def test_the_real_camera_files_are_all_accounted_for(run, samples, tmp_path):
    done = run("audit", samples, "--out", tmp_path / "x", "--json")
    assert done.returncode == 0, done.stderr
    counts = json.loads(done.stdout)["counts"]
    pictures = [p for p in samples.iterdir() if p.suffix not in (".csv", ".xmp")]
    assert counts["found"] == len(pictures)
    assert counts["found"] == counts["read"] + counts["unreadable"]


@pytest.mark.parametrize("option", ["--session", "--notes"])
def test_a_second_file_that_replaces_all_others_is_wrong_usage(run, market, option):
    for given in ([option, "a", option, "b"], [f"{option}=a", option, "b"]):
        result = run("scan", market, *given)
        assert result.returncode == 2
        assert f"{option} is given twice" in result.stderr


@pytest.mark.slow
def test_what_was_ignored_is_told_first_and_why_there_is_no_advice(run, walk, tmp_path):
    folder = walk(3, rating="3")
    (folder / "notes.csv").write_text("file,keeper\nP1010001,yes\nP1019999,yes\n")
    told = " ".join(run("audit", folder, "--full", "--out", tmp_path / "out").stdout.split())
    assert told.startswith(f"Not followed: {folder / 'notes.csv'}, line 3: There is no frame 'P1019999'.")
    assert "2 notes read, 1 matched." in told
    why = "No frame has a whole zone setting: focal length, f-number and focus distance."
    assert why in told
    advised = run("advise", folder)
    assert why in " ".join(advised.stdout.split())
    assert advised.stderr.startswith("Not followed: ")
    prepared = " ".join(run("prepare", folder).stderr.split())
    assert prepared.startswith(f"Not followed: {folder / 'notes.csv'}, line 3: There is no frame 'P1019999'.")
    assert "Problems (1)" in prepared
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert page.index("Not followed: ") < page.index("<header")
    assert "2 notes read, 1 matched." in page
