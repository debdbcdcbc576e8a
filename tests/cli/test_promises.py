"""What the README promises of every command: photographs, people's work, the terminal, other systems."""

from __future__ import annotations

import csv
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote_to_bytes
from xml.etree import ElementTree

import pytest
from PIL import Image
from typer.testing import CliRunner

from auditor import request
from auditor.cli import make_app
from auditor.cli import run as cli_run
from auditor.cli.places import lies_in, output_folder
from auditor.errors import OutputError
from auditor.text import json_text, printable, printable_lines
from auditor.writing import read_written

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
NOON = datetime(2031, 4, 5, 12)
HOSTILE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200e\u200f]")


@pytest.fixture
def home(tmp_path, monkeypatch):
    (tmp_path / "home").mkdir()
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home" / ".cache"))
    monkeypatch.setenv("NO_COLOR", "1")
    return tmp_path / "home"


@pytest.fixture
def run(home):
    def go(*words):
        return CliRunner().invoke(make_app(), [str(word) for word in words])

    return go


def process(*words, cwd=None, **environment):
    command = [sys.executable, "-m", "auditor", *map(str, words)]
    return subprocess.run(
        command, capture_output=True, cwd=cwd, env=os.environ | environment, check=False, timeout=120
    )


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# --- nothing lands among photographs, and nobody's work is lost ------------------------------------------


@pytest.mark.parametrize("form", ["folder", "above", "file", "glob", "link", "table", "json", "twice"])
def test_default_outputs_never_fall_among_photographs(walk, tmp_path, monkeypatch, form):
    folder = walk(3)
    monkeypatch.chdir(folder)
    frame = folder / "P1010001.jpg"
    sources = {
        "folder": [Path()], "above": [tmp_path], "twice": [tmp_path / "elsewhere", folder],
        "file": [Path("P1010001.jpg")], "glob": sorted(folder.glob("*.jpg")),
    }.get(form, [])  # fmt: skip
    if form == "link":
        (tmp_path / "link").symlink_to(folder)
        sources = [tmp_path / "link"]
    elif form == "table":
        (folder / "frames.csv").write_text(f"\ufeffFile;keeper\n{frame.name};yes\n", encoding="utf-8")
        sources = [Path("frames.csv")]
    elif form == "json":
        (tmp_path / "frames.json").write_text(json.dumps([{"file": f"walk/{frame.name}"}]))
        sources = [tmp_path / "frames.json"]
    (tmp_path / "elsewhere").mkdir()
    with pytest.raises(OutputError) as error:
        output_folder(None, "audit-report", sources, "audit")
    place = Path(error.value.next_step.rsplit("--out ", 1)[1].strip("'"))
    assert output_folder(place, "audit-report", sources, "audit") == place
    assert not any(lies_in(place, source if source.is_dir() else source.parent) for source in sources[-1:])


def test_a_table_away_from_its_photographs_needs_no_other_place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "frames.csv").write_text("file\nP1010001.jpg\n")
    assert output_folder(None, "audit-report", [Path("frames.csv")], "audit") == Path("audit-report")


def test_a_folder_is_told_by_what_it_is_not_by_its_letters(tmp_path, monkeypatch):
    """As where the system takes Photos and photos for one: two names, one folder."""
    (tmp_path / "Photos").mkdir()
    (tmp_path / "photos-too").symlink_to(tmp_path / "Photos")
    monkeypatch.chdir(tmp_path / "photos-too")
    assert lies_in(Path("audit-report"), tmp_path / "Photos")
    assert not lies_in(tmp_path / "audit-report", tmp_path / "Photos")


@pytest.mark.slow
def test_no_command_replaces_what_is_there(run, walk, tmp_path):
    folder = walk(3, focal_length_mm=28, f_number=8, distance=(5, 2))
    place = tmp_path / "place"
    place.mkdir()
    Image.new("RGB", (8, 8)).save(place / "photo.png")
    shutil.copy(place / "photo.png", place / "card.png")
    (place / "mine.csv").write_text("file,keeper\nP1010001,yes\n")
    (place / "report.html").write_text("a stranger's")
    (place / "frames.csv.part").write_text("mine")
    (place / "linked.txt").symlink_to(place / "photo.png")
    before = contents(place)
    commands = [
        ("card", "--focal-length", "28mm", "--out", place / "photo.png"),
        ("card", "--focal-length", "28mm", "--out", place / "linked.txt"),
        ("scan", folder, "--out", place / "mine.csv"),
        ("advise", folder, "--card", place / "card.png"),
    ]
    for words in commands:
        for force in ((), ("--force",)):
            assert run(*words, *force).exit_code == 1, words
    assert run("audit", folder, "--out", place).exit_code == 1
    assert run("scan", folder, "--out", place / "frames.csv").exit_code == 0
    now = contents(place)
    assert {path: now.get(path) for path in before} == before
    assert run("audit", folder, "--out", place, "--force").exit_code == 0
    assert (place / "report.html").read_text("utf-8").startswith("<!")
    assert (place / "photo.png").read_bytes() == before[str(place / "photo.png")]
    assert set(read_written(place)) > {"report.html", "audit.json", "unreadable.csv"}


@pytest.mark.slow
def test_an_audit_is_repeated_without_a_word_and_its_folder_passed_over(run, walk):
    folder = walk(3, focal_length_mm=28, f_number=8, distance=(5, 2))
    for _ in range(2):
        done = run("audit", folder, "--out", folder / "report", "--json")
        assert done.exit_code == 0, done.stderr
        counts = json.loads(done.stdout)["counts"]
        assert (counts["found"], counts["frames"]) == (3, 3)


# --- nothing disappears ----------------------------------------------------------------------------------


def test_every_unreadable_file_is_named_in_the_files(run, walk, tmp_path):
    folder = walk(2)
    for i in range(30):
        (folder / f"X{i:07d}.jpg").write_bytes(b"\0")
    (folder / "P1010001.xmp").write_text("<broken")
    assert run("audit", folder, "--out", tmp_path / "out").exit_code == 0
    problems = json.loads((tmp_path / "out" / "audit.json").read_text("utf-8"))["problems"]
    assert all(isinstance(problem["files"], list) for problem in problems)
    named = {file for problem in problems for file in problem["files"]}
    assert named >= {f"X{i:07d}.jpg" for i in range(30)}
    lines = (tmp_path / "out" / "unreadable.csv").read_text("utf-8").splitlines()
    assert lines[0] == "file,why"
    assert len(lines) == 32


# --- faults of ours --------------------------------------------------------------------------------------


def test_an_unforeseen_fault_is_one_line_with_its_details_in_a_file(run, walk, tmp_path, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise LookupError("nobody thought of this")

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(request, "make_request", broken)
    done = run("audit", walk(2))
    assert done.exit_code == 1
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert "please report" in line
    details = Path(line.rsplit("Details: ", 1)[1])
    assert "nobody thought of this" in details.read_text("utf-8")


@pytest.mark.parametrize("kind", ["pipe", "device", "folder", "deep"])
def test_a_criterion_is_measured_by_ordinary_files_only(run, tmp_path, kind):
    path = Path("/dev/zero") if kind == "device" else tmp_path / "audit.json"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "deep":
        path.write_text("[" * 200_000)
    done = run(
        "zone", "--focal-length", "28", "--f-number", "8", "--focus", "2,5m", "--coc", f"measured={path}"
    )
    assert done.exit_code == 1
    assert str(path) in done.stderr


def test_ends_that_a_command_chooses_are_no_faults(run, walk):
    assert run("audit", walk(2), "--strict", "--out", walk(2).parent / "out").exit_code == 3
    assert run("audit", walk(2), "--workers", "0").exit_code == 2
    assert run("audit", walk(2), "--confidence", "7").exit_code == 2


# --- text at the borders ---------------------------------------------------------------------------------

EVIL = "a\x1b[31m\u202egpj.\x07\x9b&<$\\frac$;\t=1+1"


@pytest.mark.slow
def test_no_text_from_outside_reaches_the_terminal_or_the_files_raw(run, tmp_path, photo):
    folder = tmp_path / "walk"
    for i in range(12):
        photo(folder / f"P10\x1b1{i:04d}.jpg", NOON.replace(minute=i), camera="c\x1b]0;x\x07",
              lens="l\u202e\x9b", focal_length_mm=28, f_number=8, distance=(5, 2), rating=i % 2,
              label="\u202e")  # fmt: skip
    name = json.dumps(EVIL, ensure_ascii=True)
    (folder / "session.toml").write_text(
        f'[[preset]]\nname = {name}\nfocal_length = "28mm"\nf_number = 8\nfocus_distance = "2.5m"\n'
        f'[[stretch]]\npreset = {name}\nfrom = "2031-04-05 12:00"\nto = "2031-04-05 12:30"\n'
        "[subject]\nspeed = 1\n"
    )
    (folder / "notes.csv").write_text("file,reason\nP\x1b[2Jx,y\nP10\\u001b10001,\u202e=cmd\n")
    out = tmp_path / "out\x1b"
    done = run("audit", folder, "--out", out)
    assert done.exit_code == 0, done.stderr
    assert not HOSTILE.search(done.stdout + done.stderr)
    for command in ("scan", "advise", "tune"):
        for option in ((), ("--json",)):
            shown = run(command, folder, *option) if (command, option) != ("scan", ("--json",)) else done
            assert not HOSTILE.search(shown.stdout + shown.stderr), command
    texts = [path for path in out.rglob("*") if path.suffix in {".html", ".csv", ".json", ".svg"}]
    assert len(texts) > 8
    for path in texts:
        assert not HOSTILE.search(path.read_text("utf-8")), path
        if path.suffix == ".svg":
            ElementTree.fromstring(path.read_text("utf-8"))
    assert '"' in next(line for line in (out / "frames.csv").read_text("utf-8").splitlines() if "$" in line)


EVIL_NAMES = [
    "P1 \"'&<script>alert(1)<.jpg", "P2\u202egpj.exe.jpg", "P3\x1b[2J\x07\x9b.jpg", "P4\nline\tb.jpg",
    "P5`${alert(1)}`.jpg", "=1+1,;'.jpg", "P7<!--<script>.jpg", "P8\u2028\u0085]]>.jpg",
    os.fsdecode(b"P9\xff.jpg"), "P10 &lt;%22#?.jpg",
]  # fmt: skip


class _Elements(HTMLParser):
    """What a browser would take for elements, and the text in each script."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.handlers, self.scripts = Counter(), [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags[tag] += 1
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        if tag == "script":
            self.scripts.append("")

    def handle_data(self, data):
        if self.scripts and self.cdata_elem == "script":
            self.scripts[-1] += data


def test_hostile_names_pass_through_the_sheet_and_back_safely(run, tmp_path, photo):
    pages = []
    for kind in ("plain", "evil"):
        evil = kind == "evil"
        for i, name in enumerate(EVIL_NAMES):
            plain = f"P101{i:04d}.jpg"
            photo(tmp_path / kind / (name if evil else plain), NOON.replace(minute=i), f_number=8,
                  camera="</script><script>alert(2)</script>" if evil else "c",
                  lens="<!--<script>\u202e" if evil else "l", focal_length_mm=28)  # fmt: skip
        done = run("prepare", tmp_path / kind, "--out", tmp_path / f"{kind} notes")
        assert done.exit_code == 0, done.stderr
        assert not HOSTILE.search(done.stdout + done.stderr)
        pages.append((tmp_path / f"{kind} notes" / "sheet.html").read_text("utf-8"))
    assert not HOSTILE.search(pages[1])
    plain, evil = map(_Elements, pages)
    assert (evil.tags, evil.handlers) == (plain.tags, [])
    data = json.loads(evil.scripts[0])
    names = {frame["file"]: frame for frame in data["frames"]}
    assert len(names) == len(EVIL_NAMES)
    for frame in data["frames"]:
        assert (tmp_path / "evil notes" / os.fsdecode(unquote_to_bytes(frame["src"]))).is_file()
    preset = {"name": EVIL, "focal_length": "28mm", "f_number": 8, "focus_distance": "2.5m"}
    answered = {"measure": "typed", "sharp": "yes", "sharp_seen": "shown", "answered": "2031-04-05T14:00:00Z"}
    frames = [answered | {"file": file, "distances": [2.0 + i / 10]} for i, file in enumerate(names)]
    start = {"preset": EVIL, "from": data["rolls"][0]["groups"][0]["frames"][0]["label"]}
    filled = {"sample": data["sample"], "cameras": [], "presets": [preset], "stretches": [start]}
    filled |= {"markers": [], "frames": frames}
    (tmp_path / "sheet.json").write_text(json.dumps(filled))
    done = run(
        "prepare", tmp_path / "evil", "--out", tmp_path / "evil notes", "--take", tmp_path / "sheet.json"
    )
    assert done.exit_code == 0, done.stderr
    assert not HOSTILE.search(done.stdout + done.stderr)
    notes, session = tmp_path / "evil notes" / "notes.csv", tmp_path / "evil notes" / "session.toml"
    done = run("scan", tmp_path / "evil", "--notes", notes, "--session", session, "--out", tmp_path / "t.csv")
    assert done.exit_code == 0, done.stderr
    assert not HOSTILE.search(done.stdout + done.stderr + (tmp_path / "t.csv").read_text("utf-8"))
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["file"].removeprefix("'"): row for row in csv.DictReader(file)}
    assert {row["preset"] for row in rows.values()} == {printable_lines(EVIL)}
    for answer in frames:
        told = rows[answer["file"]]["subject_distance_m"]
        assert told == str(round(answer["distances"][0], 1))


def test_codes_stand_for_what_is_hostile_and_all_else_stays():
    assert printable("a\nb\u202e") == "a\\u000ab\\u202e"
    assert printable_lines("a\nb\tc\r\x1b") == "a\nb\tc\\u000d\\u001b"
    assert json.loads(json_text({"a": EVIL})) == {"a": EVIL}
    assert not HOSTILE.search(json_text({"a": EVIL}))
    for text in ("Füße · 漢字 🙂 👩‍👩‍👧", "می‌خواهم"):
        assert printable(text) == text


def test_a_typed_path_cannot_command_the_terminal(run):
    done = run("audit", "no\x1b[2Jwhere")
    assert done.exit_code == 1
    assert "no\\u001b[2Jwhere" in done.stderr


# --- other systems ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "ascii", "utf-8"])
def test_pipes_get_utf_8_whatever_the_system_prefers(home, encoding):
    words = ("card", "--focal-length", "28mm")
    done = process(*words, PYTHONIOENCODING=encoding, LC_ALL="C", PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr
    assert "∞" in done.stdout.decode("utf-8")


def test_a_narrow_screen_shows_marks_for_what_it_lacks(monkeypatch):
    import io

    class Screen(io.TextIOWrapper):
        def isatty(self) -> bool:
            return True

    for encoding in ("cp1252", "latin-1"):
        screen = Screen(io.BytesIO(), encoding=encoding)
        monkeypatch.setattr(sys, "stdout", screen)
        cli_run.prepare_streams()
        cli_run.echo("8 漢 ∞")
        screen.flush()
        assert screen.buffer.getvalue().decode(encoding).strip() == "8 ? ?"


@pytest.mark.slow
def test_settings_of_the_user_s_other_charts_change_nothing(home, walk, tmp_path):
    folder = walk(6, focal_length_mm=28, f_number=8, distance=(5, 2), rating=[1, None, 1, 0, 1, None])
    (tmp_path / "matplotlibrc").write_text(
        "backend: nonsense\ntext.usetex: True\nfont.size: 40\nsavefig.dpi: 7\n"
    )
    charts = []
    for name, own in (("a", {}), ("b", {"MPLBACKEND": "nonsense", "MATPLOTLIBRC": str(tmp_path)})):
        done = process("audit", folder, "--out", tmp_path / name, cwd=tmp_path, **own)
        assert done.returncode == 0, done.stderr
        charts.append(contents(tmp_path / name / "charts").values())
    assert list(charts[0]) == list(charts[1])


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent otherwise there")
@pytest.mark.parametrize("after_s", [0.05, 0.3, 0.6])
def test_ctrl_c_while_the_program_is_loading_is_no_traceback(home, tmp_path, after_s):
    command = [sys.executable, "-c", "from auditor.cli import main; import sys, time\n"
               "sys.argv = ['auditor', 'simulate', '--out', sys.argv[1]]; print('up', flush=True); main()",
               str(tmp_path / "out")]  # fmt: skip
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert child.stdout is not None
    child.stdout.readline()
    time.sleep(after_s)
    child.send_signal(signal.SIGINT)
    _, told = child.communicate(timeout=60)
    assert child.returncode in (130, 0)
    assert b"Traceback" not in told


# --- privacy ---------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_home_folder_is_not_told_in_any_output(run, walk, home):
    folder = home / "photos"
    shutil.move(walk(3, focal_length_mm=28, f_number=8, distance=(5, 2)), folder)
    (folder / "session.toml").write_text("[nothing]\nx = 1\n")
    (folder / "notes.csv").write_text("file,keeper\nnowhere,yes\n")
    (folder / "X0000001.jpg").write_bytes(b"")
    out = home / "report"
    assert run("audit", folder, "--out", out, "--session", folder / "session.toml").exit_code == 0
    for path in out.rglob("*"):
        if path.is_file():
            assert str(home).encode() not in path.read_bytes(), path


def test_forget_clears_the_cache_after_asking(run, walk, home):
    folder = walk(3)
    assert run("scan", folder).exit_code == 0
    cache = home / ".cache" / "focus-zone-auditor"
    assert run("audit", folder, "--out", home / "out").exit_code == 0
    assert (cache / "read-thumbnails.sqlite").exists()
    (cache / "below").mkdir()
    (cache / "below" / "a.jpg").write_bytes(b"small")
    (cache / "link").symlink_to(folder)
    before = contents(folder)
    asked = CliRunner().invoke(make_app(), ["forget"], input="n\n")
    assert "Nothing was cleared" in asked.stderr
    assert (cache / "read.sqlite").exists()
    done = run("forget", "--yes")
    assert done.exit_code == 0
    assert not cache.exists()
    assert contents(folder) == before
    assert "Nothing is kept" in run("forget", "--yes").stdout


# --- pictures --------------------------------------------------------------------------------------------

EPS = (
    b'%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 64 64\n%%ImageData: 64 64 8 3 0 1 1 "x"\n'
    b"%%EndComments\nshowpage\n%%EOF\n"
)
HOSTILE_PICTURES = {
    "P1010001.jpg": EPS,
    "P1010002.jpg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "P1010003.jpg": b"\0\0\x01\0\x01\0\x10\x10\0\0\x01\0\x20\0" + bytes(1200),  # an icon
    "P1010004.jpg": b"\xff\xd8\xff\xe0" + bytes(64 << 20),  # a marker is looked for to the end
    "P1010005.jpg": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + b"\x7f\xff\xff\xff" * 2 + bytes(60),
    "P1010006.jpg": b"",
    "P1010007.jpg": None,  # gone
}


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="programs are found otherwise there")
def test_no_picture_stops_the_report_or_starts_a_program(home, tmp_path, walk):
    folder = walk(12, focal_length_mm=28, f_number=8, distance=(5, 2), rating=[0, 5] * 6)
    notes = "".join(f"P101{i:04d},{2 + i / 9:.1f}m\n" for i in range(1, 13))
    (folder / "notes.csv").write_text("file,subject_distance\n" + notes)
    assert process("scan", folder, "--out", folder / "frames.csv").returncode == 0
    for name, data in HOSTILE_PICTURES.items():
        (folder / name).unlink()
        if data is not None:
            (folder / name).write_bytes(data)
    cut = folder / "P1010008.jpg"
    cut.write_bytes(cut.read_bytes()[:-200])
    programs = tmp_path / "programs"
    programs.mkdir()
    for name in ("gs", "inkscape", "convert", "magick", "rsvg-convert", "xdg-open"):
        (programs / name).write_text(f"#!/bin/sh\n: > {tmp_path}/started\nexit 1\n")
        (programs / name).chmod(0o755)
    path = f"{programs}:/usr/bin:/bin"
    openly = "import sys; from PIL import Image; Image.open(sys.argv[1]).load()"
    subprocess.run(
        [sys.executable, "-c", openly, folder / "P1010001.jpg"],
        env=os.environ | {"PATH": path}, check=False, capture_output=True,
    )  # fmt: skip
    assert (tmp_path / "started").exists(), "such a picture does start a program where any format is opened"
    (tmp_path / "started").unlink()
    for source in (folder / "frames.csv", folder):
        begin = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        done = process("audit", source, "--out", tmp_path / f"out of {source.name}", cwd=tmp_path, PATH=path)
        assert done.returncode == 0, done.stderr.decode()
        assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - begin < 20
        page = (tmp_path / f"out of {source.name}" / "report.html").read_text("utf-8")
        assert 1 <= page.count("/9j/") <= 5  # thumbnails of what is sound, each once
        assert "<script>alert" not in page
    assert not (tmp_path / "started").exists()


# --- the table in the README -----------------------------------------------------------------------------


def test_each_promise_in_the_readme_names_a_test_that_exists():
    text = (ROOT / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| .+ \| ((?:`test_\w+`(?:, )?)+) \|$", text, re.MULTILINE)
    named = {name for row in rows for name in re.findall(r"`(test_\w+)`", row)}
    there = {name for path in (ROOT / "tests").rglob("test_*.py")
             for name in re.findall(r"^def (test_\w+)", path.read_text("utf-8"), re.MULTILINE)}  # fmt: skip
    assert len(named) > 15
    assert named <= there


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--full", "--json"])
def test_a_reader_that_has_seen_enough_costs_no_report(walk, home, tmp_path, option):
    """As with `| head`: the pipe is closed before the first line."""
    folder = walk(6, focal_length_mm=28.0, f_number=8, rating=[1, 0, 1, 0, 0, 1])
    words = [sys.executable, "-m", "auditor", "audit", str(folder), "--out", "out", "--cache", "off", option]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path) as running:
        running.stdout.close()
        said = running.stderr.read().decode()
        assert running.wait(timeout=120) == 0, said
    assert "Report: " in said
    assert "BrokenPipe" not in said
    assert {"report.html", "audit.json", "frames.csv"} <= {path.name for path in (tmp_path / "out").iterdir()}
