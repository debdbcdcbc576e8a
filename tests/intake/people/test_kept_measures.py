"""Which measured pictures are kept for another run, and which come from the run before."""

from __future__ import annotations

import os
import sys
import textwrap
import time
from contextlib import closing

import pytest

from auditor.intake.library.cache import Cache
from auditor.intake.library.folders import ENTRY_SETTLED_NS
from auditor.intake.people import measuring
from auditor.intake.people.measurements import Face, MeasuredPicture, measure_version, pack_picture
from auditor.intake.people.measuring import ENDED, _Run, measure_pictures
from auditor.intake.photofile.opening import UNFORESEEN

OLD = 1_700_000_000
FACE = Face(500, 300, 200, 200, 0.9, 150.0, 0.0, 600, 330, 600, 480)
MEASURED = MeasuredPicture(width=2400, height=1600, faces=(FACE,), blurs_px=(5.0,))


@pytest.fixture
def picture(tmp_path):
    """A file that has not changed for long."""
    path = tmp_path / "P1010001.jpg"
    path.write_bytes(b"no picture")
    os.utime(path, (OLD, OLD))
    time.sleep(ENTRY_SETTLED_NS / 1e9 + 0.015)
    return path


def is_kept(tmp_path, picture, measured: MeasuredPicture, meanwhile=lambda: None) -> bool:
    """Whether a picture that was measured so is there for another run."""
    places = [(str(picture.parent), picture.name)]
    with closing(Cache(tmp_path / "pictures.sqlite", measure_version())) as store:
        run = _Run([[str(picture)]], store, None)
        meanwhile()
        run._take(0, pack_picture(measured))
        assert run.pictures == [measured]
        store.flush()
        return bool(list(store.recall(places, run.stamps)))


@pytest.mark.parametrize(
    ("error", "kept"),
    [
        (None, True),
        ("the file ends too early", True),
        ("no permission to read it", False),
        (f"{UNFORESEEN} (X)", False),
    ],
)
def test_what_may_be_measured_next_time_is_not_kept(tmp_path, picture, error, kept):
    assert is_kept(tmp_path, picture, MeasuredPicture(error=error)) == kept


def test_a_picture_that_changed_while_it_was_measured_is_not_kept(tmp_path, picture):
    assert not is_kept(tmp_path, picture, MEASURED, lambda: picture.write_bytes(b"another"))


def test_a_picture_that_may_still_be_changing_is_not_kept(tmp_path, picture):
    os.utime(picture)
    assert not is_kept(tmp_path, picture, MEASURED)


@pytest.mark.parametrize("workers", [None, 0, 2])
def test_a_kept_picture_is_told_without_measuring_it(tmp_path, picture, workers):
    assert is_kept(tmp_path, picture, MEASURED)
    (tmp_path / "pictures.sqlite").rename(tmp_path / "read-pictures.sqlite")
    told: list[tuple[int, int]] = []
    found, problems = measure_pictures(
        [[str(picture)]], tmp_path / "read.sqlite", workers, lambda *at: told.append(at)
    )
    assert (found, problems, told) == ([MEASURED], [], [(1, 1)])


@pytest.fixture
def module(tmp_path, monkeypatch):
    """Measure by a module of our own, which notes in a file whenever it is started."""

    def use(code: str):
        started = tmp_path / "started.txt"
        (tmp_path / "other_process.py").write_text(
            f"import os\nopen({str(started)!r}, 'a').write('x')\n{textwrap.dedent(code)}"
        )
        monkeypatch.setattr(sys, "path", [*sys.path, str(tmp_path)])
        monkeypatch.setattr(measuring, "MODULE", "other_process")
        return started

    return use


@pytest.mark.parametrize("tries", [1, 2])
def test_where_every_process_ends_early_so_many_rounds_are_tried(module, tmp_path, monkeypatch, tries):
    started = module("def main(): os._exit(1)")
    monkeypatch.setattr(measuring, "MOST_TRIES", tries)
    found, _ = measure_pictures([[str(tmp_path / name)] for name in "abcd"], None, 1)
    assert [picture.error for picture in found] == [ENDED] * 4
    assert len(started.read_text()) == tries


def test_a_picture_that_ends_its_process_is_left_and_the_others_are_measured(module, tmp_path):
    (tmp_path / "answer").write_bytes(pack_picture(MEASURED))
    started = module(f"""
        from auditor.intake.library.reader_process import serve
        def answer(paths):
            if "deadly" in paths[0]:
                os._exit(1)
            return open({str(tmp_path / "answer")!r}, "rb").read()
        def main():
            serve(answer)
        """)
    names = ["deadly.jpg", "a.jpg", "b.jpg"]
    told: list[tuple[int, int]] = []
    found, _ = measure_pictures([[str(tmp_path / n)] for n in names], None, 1, lambda *at: told.append(at))
    assert found == [MeasuredPicture(error=ENDED), MEASURED, MEASURED]
    assert told == [(1, 3), (2, 3)]
    assert len(started.read_text()) >= 2
