"""Measuring an archive: once a picture, whatever happens to the processes, and notes win."""

from __future__ import annotations

import os
import sqlite3
import sys
import textwrap
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from auditor.frames import MEASURED_COLUMNS
from auditor.intake.people import measuring
from auditor.intake.people.facedistance import RESIZED
from auditor.intake.people.facemodel import can_find_faces
from auditor.intake.people.filling import NO_FACE, SAME_BURST, faces_to_write, fill_in, one_of_each_burst
from auditor.intake.people.measurements import Face, MeasuredPicture, pack_picture, unpack_picture
from auditor.intake.people.measuring import ENDED, measure_pictures
from auditor.intake.people.proposals import propose_faces
from auditor.intake.resolve import with_measured
from auditor.journey import run_audit, run_scan
from auditor.settings import Request
from tests.intake.people.scenes import background, with_face

OLD = 1_700_000_000
SIZE = (2400, 1600)  # pixels of 0.015 mm
FACE = Face(500, 300, 200, 200, 0.9, 150.0, 0.0, 600, 330, 600, 480)

needs_detector = pytest.mark.skipif(not can_find_faces(), reason="the extra people is not installed")
pytestmark = [needs_detector, pytest.mark.slow]  # even the cache asks for the detector's version


def face_px_at(distance_m: float, focal_mm: float = 35.0) -> float:
    """Thin lens: 117.85 mm from chin to nose root, the distance counted from the sensor plane."""
    d = distance_m * 1000
    u = (d + (d * d - 4 * focal_mm * d) ** 0.5) / 2
    return 117.85 * focal_mm / (u - focal_mm) / 0.015


def save(path: Path, picture: Image.Image, minute: int) -> None:
    exif = Image.Exif()
    exif[0x0110] = "body A"
    ifd = exif.get_ifd(0x8769)
    ifd[0x9003] = f"2031:04:05 14:{minute:02d}:00"
    for tag, value in ((0x920A, 35), (0x829D, 8), (0x9206, 3)):
        ifd[tag] = IFDRational(value, 1)
    ifd[0x829A], ifd[0xA405] = IFDRational(1, 250), 35
    path.parent.mkdir(exist_ok=True)
    picture.save(path, quality=92, exif=exif)
    os.utime(path, (OLD, OLD))


@pytest.fixture(scope="module")
def walk(tmp_path_factory) -> Path:
    """People at 1.5, 2 and 3 m, two of them in one frame, and a frame with nobody."""
    folder = tmp_path_factory.mktemp("walk") / "walk"
    for i, distance in enumerate((1.5, 2.0, 3.0)):
        save(folder / f"P101000{i}.jpg", with_face(face_px_at(distance), (700, 200), size=SIZE), i)
    both = with_face(face_px_at(2.0), (300, 400), size=SIZE)
    both.paste(with_face(face_px_at(4.0), (600, 300), size=SIZE).crop((600, 300, 950, 800)), (1900, 300))
    save(folder / "P1010003.jpg", both, 3)
    save(folder / "P1010004.jpg", background("coffee", SIZE), 4)
    (folder / "notes.csv").write_text("file,keeper,subject_distance\nP1010001,yes,9m\nP1010002,no,\n")
    return folder


@pytest.fixture(scope="module")
def cache(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("cache") / "read.sqlite"


@pytest.fixture(scope="module")
def scanned(walk, cache):
    return run_scan(Request((walk,), cache=cache, workers=1, measure=True))


def test_distances_come_from_the_pictures_and_notes_win(scanned):
    table = scanned.archive.table.set_index("file")
    assert table["subject_distance_source"].tolist() == ["picture", "notes", "picture", "picture", "unknown"]
    measured = table["subject_distance_m"]
    assert measured.iloc[[0, 2]].tolist() == pytest.approx([1.5, 3.0], rel=0.1)
    assert measured.iloc[1] == 9.0
    assert table["measured_distance_m"].iloc[1] == pytest.approx(2.0, rel=0.1)
    assert np.all(table["subject_distance_rel_sd"].iloc[[0, 2]].between(0.07, 0.12))
    assert table["faces_found"].tolist() == [1, 1, 1, 2, 0]
    assert table["not_measured"].iloc[4] == NO_FACE
    assert np.isfinite(table["defocus_mm"].iloc[0])


def test_all_faces_are_kept_and_one_of_each_frame_is_the_subject(scanned):
    faces = scanned.pictures.faces
    assert faces.groupby("frame").size().tolist() == [1, 1, 1, 2]
    assert faces.groupby("frame")["is_subject"].sum().tolist() == [1, 1, 1, 1]
    two = faces[faces["frame"] == 3].sort_values("distance_m")
    assert two["distance_m"].tolist() == pytest.approx([2.0, 4.0], rel=0.1)
    assert two["is_subject"].tolist() == [True, False]
    counts = scanned.pictures.counts
    assert (counts["with_face"], counts["chosen"], counts["filled"]) == (4, 4, 3)


def test_rows_to_write_speak_of_every_frame(scanned):
    rows = faces_to_write(scanned.pictures, scanned.archive.table)
    assert rows["file"].tolist() == [f"P101000{i}.jpg" for i in (0, 1, 2, 3, 3, 4)]
    assert rows["refused"].iloc[-1] == NO_FACE


def test_a_second_run_measures_nothing(scanned, walk, cache, monkeypatch):
    monkeypatch.setattr(measuring, "read_in_processes", lambda *_: pytest.fail("a process was started"))
    again = run_scan(Request((walk,), cache=cache, workers=1, measure=True))
    assert again.pictures.faces.equals(scanned.pictures.faces)


def test_a_changed_picture_is_measured_again(walk, cache, tmp_path):
    path = tmp_path / "P1010000.jpg"
    path.write_bytes((walk / "P1010000.jpg").read_bytes())
    os.utime(path, (OLD, OLD))
    time.sleep(0.05)
    first, _ = measure_pictures([[str(path)]], cache, 1)
    path.write_bytes((walk / "P1010004.jpg").read_bytes())
    os.utime(path, (OLD + 5, OLD + 5))
    second, _ = measure_pictures([[str(path)]], cache, 1)
    assert (len(first[0].faces), len(second[0].faces)) == (1, 0)


def test_a_stopped_run_goes_on_where_it_was(walk, tmp_path):
    frames = [[str(walk / f"P101000{i}.jpg")] for i in range(4)]
    cache = tmp_path / "c.sqlite"

    class StoppedError(Exception):
        pass

    def stop(done: int, _: int) -> None:
        if done == 2:
            raise StoppedError

    with pytest.raises(StoppedError):
        measure_pictures(frames, cache, 1, stop)
    told: list[tuple[int, int]] = []
    rest, _ = measure_pictures(frames, cache, 1, lambda *at: told.append(at))
    assert told[-1] == (4, 4)
    assert all(len(picture.faces) for picture in rest)
    with closing(sqlite3.connect(measuring.beside(cache, "pictures"))) as kept:
        assert kept.execute("SELECT count(*) FROM file").fetchone() == (4,)


def test_a_picture_that_kills_its_process_costs_only_itself(walk, tmp_path, monkeypatch):
    """The real process, but one path makes it end as a crash of native code would."""
    (tmp_path / "deadly_process.py").write_text(
        textwrap.dedent("""
        import os
        from auditor.intake.people import measuring_process
        from auditor.intake.library.reader_process import serve
        def answer(paths):
            if "P1010001" in paths[0]:
                os.abort()
            return measuring_process.measure_packed(paths)
        def main():
            serve(answer)
        """)
    )
    monkeypatch.setattr(sys, "path", [*sys.path, str(tmp_path)])
    monkeypatch.setattr(measuring, "MODULE", "deadly_process")
    frames = [[str(walk / f"P101000{i}.jpg")] for i in (1, 0, 2)]
    for workers in (1, 2):
        found, _ = measure_pictures(frames, None, workers)
        assert [picture.error for picture in found] == [ENDED, None, None]
        assert [len(picture.faces) for picture in found] == [0, 1, 1]


def test_packing_loses_nothing_and_damage_is_seen():
    nan = float("nan")
    picture = MeasuredPicture(
        None, 6000, 4000, True, False, True, (Face(1.5, 2, 3, 4, 0.9, 70.0, 0.1, 1, 2, 3, 4),), (nan,)
    )
    assert repr(unpack_picture(pack_picture(picture))) == repr(picture)
    data = bytearray(pack_picture(picture))
    data[20] ^= 1
    with pytest.raises(ValueError, match="check sum"):
        unpack_picture(bytes(data))


def test_cut_pictures_are_refused(scanned):
    """A picture smaller than its camera's others, of the same shape: nobody can tell what was cut off."""
    table = scanned.archive.table.iloc[[0] * 10].reset_index(drop=True)
    table["subject_distance_m"] = np.nan
    table.loc[9, ["pixel_width", "pixel_height"]] = [1200, 800]
    pictures = [MeasuredPicture(width=2400, height=1600, faces=(FACE,), blurs_px=(5.0,))] * 10
    table, facts = fill_in(table, pictures, np.arange(10))
    assert table["not_measured"].tolist()[9] == RESIZED
    assert with_measured(table, facts.claims)["subject_distance_m"].notna().tolist() == [True] * 9 + [False]
    assert facts.refused == {RESIZED: 1}


def test_of_each_burst_only_the_first_frame_is_measured(scanned):
    """Rows out of the order of time; the second burst begins with the third row."""
    table = scanned.archive.table.iloc[[0] * 4].reset_index(drop=True).drop(columns=list(MEASURED_COLUMNS))
    table["captured_at"] = pd.to_datetime("2031-04-05 14:00:00") + pd.to_timedelta([1, 0, 60, 61], unit="s")
    table["burst"] = pd.array([1, 1, 2, 2], dtype="Int64")
    table["subject_distance_m"] = np.nan
    rows = one_of_each_burst(table)
    assert rows.tolist() == [1, 2]
    pictures = [MeasuredPicture(width=2400, height=1600, faces=(FACE,), blurs_px=(5.0,))] * 2
    table, facts = fill_in(table, pictures, rows)
    table = with_measured(table, facts.claims)
    assert table["subject_distance_m"].notna().tolist() == [False, True, True, False]
    assert table["not_measured"].tolist()[::3] == [SAME_BURST, SAME_BURST]
    assert table["faces_found"].isna().tolist() == [True, False, False, True]
    assert (facts.counts["frames"], facts.counts["tried"]) == (4, 2)
    assert facts.only_who_faced_the_camera


def test_a_distance_by_another_hand_takes_the_flag_away(scanned):
    assert not scanned.pictures.only_who_faced_the_camera


def test_the_nearest_are_named_so_that_somebody_looks(scanned):
    named = scanned.pictures.look_at
    assert [file for file, _ in named] == [f"P101000{i}.jpg" for i in (0, 3, 1, 2)][: len(named)]
    assert [distance for _, distance in named] == sorted(distance for _, distance in named)


def test_a_picture_cut_short_is_measured_and_said(walk, tmp_path):
    path = tmp_path / "P1010000.jpg"
    path.write_bytes((walk / "P1010000.jpg").read_bytes()[:-60])
    facts = run_scan(Request((tmp_path,), cache=None, workers=1, measure=True)).pictures
    assert facts.counts["chosen"] == 1
    assert [problem.what for problem in facts.problems if "last bytes" in problem.what]
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    facts = run_scan(Request((tmp_path,), cache=None, workers=1, measure=True)).pictures
    (problem,) = [problem.what for problem in facts.problems if "not measured" in problem.what]
    assert problem == "Its picture was not measured: the file ends too early."


def test_proposals_are_shares_of_the_picture(walk, cache, scanned):
    """The two ends lie on the face, and their distance is that of a face of this length."""
    archive = scanned.archive
    proposed = propose_faces(archive.table, archive.paths, [0, 4], Request((walk,), cache=cache))
    assert list(proposed) == [0]  # nobody on the other one
    (first,) = proposed[0]
    assert first.measure == "face"
    (nose_x, nose_y), (chin_x, chin_y) = first.ends
    length = np.hypot((chin_x - nose_x) * SIZE[0], (chin_y - nose_y) * SIZE[1])
    assert length == pytest.approx(face_px_at(1.5), rel=0.08)
    assert nose_x == pytest.approx(chin_x, abs=0.05)
    assert nose_y < chin_y
    assert first.distance_m == pytest.approx(1.5, rel=0.1)
    assert 0.08 < first.rel_sd < 0.12


def test_audit_carries_the_error_into_the_evidence(walk, cache):
    result = run_audit(Request((walk,), cache=cache, measure=True))
    assert result.counts["with_subject_distance"] == 4
    assert result.pictures.counts["filled"] == 3


def test_off_unless_asked(walk, monkeypatch):
    monkeypatch.setattr(measuring, "read_in_processes", lambda *_: pytest.fail("a process was started"))
    table = run_scan(Request((walk,), cache=None)).archive.table
    assert table["subject_distance_m"].notna().sum() == 1
    assert "faces_found" not in table
