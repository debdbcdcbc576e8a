"""What a person made is never lost by what is written, and nobody meets half a file."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image

from auditor import writing
from auditor.errors import OutputError
from auditor.writing import ResultsFolder, keep_before, read_written, write_file


def names(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def test_a_new_file_is_written_as_it_is_and_nothing_else_is_left(tmp_path):
    write_file(tmp_path / "a.csv", "x,ü\r\n")
    write_file(tmp_path / "b.csv", iter(["1,", "2\n"]))
    assert (tmp_path / "a.csv").read_bytes() == "x,ü\r\n".encode()
    assert (tmp_path / "b.csv").read_text() == "1,2\n"
    assert names(tmp_path) == ["a.csv", "b.csv"]


def test_a_single_file_is_replaced_only_when_forced(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text("file,files,session\n")
    with pytest.raises(OutputError, match="is there already"):
        write_file(path, "new")
    assert path.read_text() == "file,files,session\n"
    write_file(path, "new", force=True)
    assert path.read_text() == "new"


def picture(path: Path) -> Path:
    Image.new("RGB", (8, 8)).save(path, format="PNG" if path.suffix == ".png" else "JPEG")
    return path


@pytest.mark.parametrize("name", ["photo.png", "photo.jpg", "named-wrong.txt", "photo.pdf"])
def test_a_picture_is_never_replaced(tmp_path, name):
    path = picture(tmp_path / name)
    before = path.read_bytes()
    with pytest.raises(OutputError, match="is a picture"):
        write_file(path, b"card", force=True)
    with pytest.raises(OutputError, match="is a picture"):
        ResultsFolder(tmp_path, force=True).write_all({name: b"card"})
    assert path.read_bytes() == before


NOTES = "file,keeper,subject_distance\nP1010001,yes,2.5m\n"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("mine.csv", NOTES),
        ("mine.csv", NOTES.replace(",", ";")),
        ("notes.csv", "x"),
        ("walk.toml", "[light]\n"),
    ],
)
def test_what_a_person_may_have_filled_is_never_replaced(tmp_path, name, text):
    (tmp_path / name).write_text(text)
    for write in (lambda: write_file(tmp_path / name, "t", force=True),
                  lambda: ResultsFolder(tmp_path, force=True).write_all({name: "t"})):  # fmt: skip
        with pytest.raises(OutputError, match="filled in"):
            write()
    assert (tmp_path / name).read_text() == text


def test_links_are_never_written_through(tmp_path):
    photo = picture(tmp_path / "photo.png")
    before = photo.read_bytes()
    (tmp_path / "card.txt").symlink_to(photo)
    with pytest.raises(OutputError, match="is a link"):
        write_file(tmp_path / "card.txt", "card", force=True)
    photographs = tmp_path / "photographs"
    photographs.mkdir()
    results = tmp_path / "results"
    results.mkdir()
    (results / "charts").symlink_to(photographs)
    with pytest.raises(OutputError, match="link to elsewhere"):
        ResultsFolder(results, force=True).write_all({"charts/a.svg": "<svg/>"})
    assert photo.read_bytes() == before
    assert names(photographs) == []


def test_a_results_folder_replaces_its_own_and_tells_what_it_wrote(tmp_path):
    folder = ResultsFolder(tmp_path / "report")
    folder.write_all({"report.html": "one", "charts/a.png": b"\x89PNG one"})
    folder.write_all({"report.html": "two", "charts/a.png": b"\x89PNG two"})
    assert (tmp_path / "report/report.html").read_text() == "two"
    sums = read_written(tmp_path / "report")
    assert sums["charts/a.png"] == [hashlib.sha256(b"\x89PNG two").hexdigest()]
    assert names(tmp_path) == ["report/charts/a.png", "report/report.html", "report/written.json"]


def test_what_was_changed_since_or_came_from_elsewhere_stays_and_nothing_else_is_replaced(tmp_path):
    folder = ResultsFolder(tmp_path)
    folder.write_all({"a.html": "one", "b.html": "one"})
    (tmp_path / "b.html").write_text("mine")
    with pytest.raises(OutputError, match="changed since"):
        folder.write_all({"a.html": "two", "b.html": "two"})
    assert [(tmp_path / name).read_text() for name in ("a.html", "b.html")] == ["one", "mine"]
    ResultsFolder(tmp_path, force=True).write_all({"a.html": "two", "b.html": "two"})
    assert [(tmp_path / name).read_text() for name in ("a.html", "b.html")] == ["two", "two"]


def test_a_filled_file_is_kept_each_time_it_is_taken_in(tmp_path):
    folder = ResultsFolder(tmp_path)
    for filled in ("first", "second"):
        folder.write_all({"notes.csv": f"template {filled}"}, keeping=True)
        (tmp_path / "notes.csv").write_text(filled)
    folder.write_all({"notes.csv": "merged"}, keeping=True)
    assert (tmp_path / "notes.csv").read_text() == "merged"
    assert (tmp_path / "notes.csv.before").read_text() == "first"
    assert (tmp_path / "notes.csv.before-2").read_text() == "second"
    assert keep_before(tmp_path / "notes.csv").name == "notes.csv.before-3"


def test_a_person_s_part_file_stays(tmp_path):
    (tmp_path / "frames.csv.part").write_text("mine")
    write_file(tmp_path / "frames.csv", "x")
    assert (tmp_path / "frames.csv.part").read_text() == "mine"


def test_a_text_that_breaks_half_way_leaves_the_former_file_whole(tmp_path):
    def broken():
        yield "half"
        raise OSError(28, "No space left on device")

    folder = ResultsFolder(tmp_path)
    folder.write_all({"a.csv": "one", "b.csv": "one"})
    with pytest.raises(OutputError, match="No space left"):
        folder.write_all({"a.csv": "two", "b.csv": broken()})
    with pytest.raises(OutputError, match="No space left"):
        write_file(tmp_path / "c.csv", broken())
    assert (tmp_path / "a.csv").read_text() == "one"
    assert names(tmp_path) == ["a.csv", "b.csv", "written.json"]


def test_a_run_that_is_cut_short_between_two_files_can_be_repeated(tmp_path, monkeypatch):
    folder = ResultsFolder(tmp_path)
    folder.write_all({"a.csv": "one", "b.csv": "one"})
    put = writing.os.replace

    def stopped(source, target):
        if Path(target).name == "b.csv":
            raise KeyboardInterrupt
        put(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(writing.os, "replace", stopped)
        with pytest.raises(KeyboardInterrupt):
            folder.write_all({"a.csv": "two", "b.csv": "two"})
    folder.write_all({"a.csv": "three", "b.csv": "three"})
    assert (tmp_path / "a.csv").read_text() == (tmp_path / "b.csv").read_text() == "three"


def test_of_two_runs_to_one_place_the_later_wins_whole(tmp_path):
    many = [f"{i}.csv" for i in range(40)]

    def run(number: int) -> None:
        ResultsFolder(tmp_path).write_all({name: str(number) for name in many})

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(run, range(24)))
    assert len({(tmp_path / name).read_text() for name in many}) == 1
    assert len(read_written(tmp_path)) == len(many)


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"files": 3}', '{"files": {"a": 3}}', "[" * 100_000, "\xff"]
)
def test_a_damaged_list_of_what_was_written_lists_nothing(tmp_path, text):
    (tmp_path / "written.json").write_bytes(text.encode("latin-1"))
    assert read_written(tmp_path) == {}
    (tmp_path / "a.html").write_text("mine")
    with pytest.raises(OutputError):
        ResultsFolder(tmp_path).write_all({"a.html": "ours"})
    assert (tmp_path / "a.html").read_text() == "mine"


def test_names_as_long_as_the_system_allows(tmp_path):
    path = tmp_path / ("n" * 248 + ".csv")
    write_file(path, "x")
    assert path.read_text() == "x"
    with pytest.raises(OutputError):
        write_file(tmp_path / ("n" * 300 + ".csv"), "x")


def test_the_home_folder_is_not_told(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    write_file(tmp_path / "a.csv", "x")
    with pytest.raises(OutputError) as error:
        write_file(tmp_path / "a.csv", "y")
    assert error.value.what.startswith("~/a.csv ")


def test_what_is_written_obeys_the_user_s_mask(tmp_path):
    code = "import os; os.umask(0o027); from pathlib import Path; from auditor.writing import write_file;"
    subprocess.run(
        [sys.executable, "-c", f"{code} write_file(Path({str(tmp_path / 'a.csv')!r}), 'x')"], check=True
    )
    assert (tmp_path / "a.csv").stat().st_mode & 0o777 == 0o640


def test_the_list_is_valid_json(tmp_path):
    ResultsFolder(tmp_path).write_all({"ü.csv": "x"})
    assert json.loads((tmp_path / "written.json").read_text("utf-8"))["files"]["ü.csv"]
