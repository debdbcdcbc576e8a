"""Scans of film without any Exif: rolls stand for sessions, and frames go by folder and natural name."""

import json

import numpy as np
import pytest
from PIL import Image

from auditor.evidence.bursts import burst_codes
from auditor.intake.assembling import read_archive
from auditor.intake.frame_index import number_rolls
from auditor.intake.starter import find_runs, session_as_toml
from auditor.intake.statements.session_file import read_session
from auditor.intake.statements.sheet_file import read_sheet
from auditor.intake.taking import from_sheet
from auditor.journey import run_audit, run_scan
from auditor.settings import Request

SESSION = """
[[camera]]
sensor = "36x24"
[[preset]]
name = "street"
focal_length = "35mm"
f_number = 8
focus_distance = "3m"
[[preset]]
name = "near"
focal_length = "35mm"
f_number = 11
focus_distance = "2m"
[[stretch]]
preset = "street"
from = "roll 1/1"
[[stretch]]
preset = "near"
from = "roll 2/1"
"""


@pytest.fixture
def scans(tmp_path):
    """Two rolls of 36 scans, named 1 to 36 in each."""
    folder = tmp_path / "scans"
    for roll, suffix in (("roll 1", "tif"), ("roll 2", "jpg")):
        (folder / roll).mkdir(parents=True)
        for number in range(1, 37):
            Image.new("L", (30, 20), 90 + number).save(folder / roll / f"{number}.{suffix}")
    return folder


def keep(folder, *names):
    rows = "".join(f"{name},yes\n" for name in names)
    (folder / "notes.csv").write_text(f"file,keeper\n{rows}")


def read(folder):
    return read_archive(Request((folder,)))


def test_frames_go_by_folder_and_natural_name_and_a_roll_is_a_session(scans):
    table = read(scans).table
    names = [
        f"roll {roll}/{number}.{end}" for roll, end in ((1, "tif"), (2, "jpg")) for number in range(1, 37)
    ]
    assert table["file"].tolist() == names
    assert table["session"].tolist() == [1] * 36 + [2] * 36
    assert table["captured_at"].isna().all()


@pytest.mark.parametrize(
    ("names", "rolls"),
    [
        (["r-1.tif", "r-2.tif", "s-1.tif", "s-2.tif"], [1, 1, 2, 2]),
        (["r10-1.tif", "r10-2.tif", "r9-1.tif", "r9-2.tif"], [2, 2, 1, 1]),
        (["dog.tif", "cat.tif", "street.tif"], [1, 1, 1]),
        (["r-1.tif", "r-2.tif", "cat.tif"], [1, 1, 1]),  # one roll and a name of its own
        (["12.tif", "12A.tif", "13.tif"], [1, 1, 1]),
        (["a/1.tif", "b/1.tif", "a/2.tif"], [1, 2, 1]),
        ([f"{k:02d}_roll{r}.tif" for r in (1, 2) for k in range(1, 37)], [1] * 36 + [2] * 36),
        # half frames, numbered through or by the film's own edge
        ([f"{k:04d}-roll{r}.tif" for r in (1, 2) for k in range(1, 77)], [1] * 76 + [2] * 76),
        ([f"{k}{h}_roll{r}.tif" for r in (1, 2) for k in range(37) for h in ("", "A")], [1] * 74 + [2] * 74),
        ([f"{k:02d}{h}_roll.tif" for k in range(37) for h in "ab"], [1] * 74),
        ([f"{k}roll{r}.tif" for r in (1, 2) for k in range(1, 9)], [1] * 8 + [2] * 8),
        ([f"{r:02d}_frame{k}.tif" for r in (1, 2) for k in range(1, 37)], [1] * 36 + [2] * 36),
        ([f"{r}-{k}.tif" for r in range(1, 51) for k in range(1, 37)], np.repeat(range(1, 51), 36).tolist()),
    ],
)
def test_a_roll_is_a_folder_or_what_stands_before_the_numbers(names, rolls):
    assert number_rolls([f"/scans/{name}" for name in names]).tolist() == rolls


def test_a_frame_without_a_time_comes_after_those_with_one_in_a_session_of_its_own(scans, photo):
    from datetime import datetime

    photo(scans / "zoo" / "P1010001.jpg", datetime(2031, 4, 5, 14, 0))
    archive = read(scans)
    by_name = dict(zip(archive.table["file"], archive.table["session"], strict=True))
    assert by_name["zoo/P1010001.jpg"] == 1
    assert (by_name["roll 1/1.tif"], by_name["roll 2/1.jpg"]) == (2, 3)


def test_stretches_take_the_names_of_frames(scans):
    (scans / "session.toml").write_text(
        SESSION.replace('from = "roll 1/1"', 'from = "roll 1/9"\nto = "roll 1/12"')
    )
    archive = read(scans)
    names = archive.table["stated_preset"].astype(object).where(archive.table["stated_preset"].notna(), None)
    assert names.tolist() == [None] * 8 + ["street"] * 3 + [None] * 25 + ["near"] * 36
    assert archive.problems == []


def test_a_time_in_a_stretch_says_that_no_frame_has_one(scans):
    (scans / "session.toml").write_text(SESSION.replace('from = "roll 1/1"', 'from = "14:05"'))
    archive = read(scans)
    assert "14:05 is a time, and no frame here has one." in [p.what for p in archive.problems]
    assert archive.table["stated_preset"][:36].isna().all()


def test_the_rule_for_unmarked_frames_follows_the_order(scans):
    keep(scans, "roll 1/9.tif", "roll 1/12.tif", "roll 2/2.jpg")
    counted = read(scans).table["counted_as"].tolist()
    first = ["not kept"] * 8 + ["keeper"] + ["not kept"] * 2 + ["left out"] * 25
    assert counted == [*first, "not kept", *["left out"] * 35]


def test_culled_to_names_a_scan_and_holds_across_rolls(scans):
    keep(scans, "roll 1/9.tif")
    (scans / "session.toml").write_text('[marks]\nculled_to = "roll 2/10"\n')
    counted = read(scans).table["counted_as"]
    assert (counted == "keeper").sum() == 1
    assert counted[counted == "left out"].index.tolist() == list(range(46, 72))


def test_a_roll_without_a_keeper_between_others_is_named_by_its_first_frame(scans):
    (scans / "roll 3").mkdir()
    for number in (1, 2, 3):
        Image.new("L", (30, 20)).save(scans / "roll 3" / f"{number}.tif")
    keep(scans, "roll 1/9.tif", "roll 3/3.tif")
    said = "\n".join(p.what for p in read(scans).problems)
    assert "No mark in 1 session with 36 frames (roll from roll 2/1.jpg)" in said


def test_two_rolls_come_out_with_zones_rates_and_advice(scans):
    (scans / "session.toml").write_text(SESSION)
    rng = np.random.default_rng(3)
    rows = []
    for roll, suffix in (("roll 1", "tif"), ("roll 2", "jpg")):
        for number in range(1, 37):
            mark = "yes" if number % 6 == 0 else ""
            distance = f"{rng.uniform(1.5, 6):.1f}m" if number % 3 == 0 else ""
            rows.append(f"{roll}/{number}.{suffix},{mark},{distance}")
    (scans / "notes.csv").write_text("\n".join(["file,keeper,subject_distance", *rows]))
    audit = run_audit(Request((scans,)))
    assert audit.counts["with_zone"] == audit.counts["frames"] == 72
    assert audit.table["near_limit_m"].notna().all()
    presets = audit.presets.set_index("preset")
    assert presets.index.tolist() == ["street", "near"]
    # To the last marked frame, 36, which is left out itself; each frame a burst of one.
    assert presets["bursts"].tolist() == presets["frames"].tolist() == [35, 35]
    assert presets["hits"].tolist() == [5, 5]
    assert audit.sessions["first_file"].tolist() == ["roll 1/1.tif", "roll 2/1.jpg"]
    assert audit.counts["with_subject_distance"] == 24
    (lens,) = audit.decisions.lenses
    assert lens.decision.kind in ("keep", "change", "latitude", "not_focus")


@pytest.mark.parametrize("name", ["roll 2/7.jpg", "roll2-7.jpg", "best_roll_2_7 print.jpg"])
def test_a_select_finds_its_frame_by_the_roll_that_its_path_names(scans, tmp_path, name):
    select = tmp_path / "selects" / name
    select.parent.mkdir(parents=True)
    Image.new("L", (30, 20)).save(select)
    Image.new("L", (30, 20)).save(tmp_path / "selects" / "8.jpg")  # of either roll
    archive = read_archive(Request((scans,), keepers_folder=tmp_path / "selects"))
    assert archive.table["file"][archive.table["keeper"].eq("yes")].tolist() == ["roll 2/7.jpg"]
    assert "8.jpg" in [problem.file for problem in archive.problems]


def test_every_scan_is_a_burst_of_its_own(scans):
    (scans / "session.toml").write_text(SESSION)
    assert len(np.unique(burst_codes(run_scan(Request((scans,))).archive.table))) == 72


def test_the_rolls_are_laid_out_for_a_person(scans, tmp_path):
    table = run_scan(Request((scans,))).archive.table
    runs = find_runs(table)
    assert [(len(run.rows), run.first, run.last, run.is_roll) for run in runs] == [
        (36, "roll 1/1.tif", "roll 1/36.tif", True),
        (36, "roll 2/1.jpg", "roll 2/36.jpg", True),
    ]
    text = session_as_toml({}, rolls=[run.first for run in runs])
    assert text.count("# [[stretch]]") == 2
    filled = text.replace("# [[preset]]", "[[preset]]").replace("# [[stretch]]", "[[stretch]]")
    for key in (
        'name = "first',
        'focal_length = "28mm"    #',
        "f_number = 8",
        "focus_distance",
        "preset =",
        "from =",
    ):
        filled = filled.replace(f"# {key}", key)
    (tmp_path / "filled.toml").write_text(filled)
    starts = [stretch.starts for stretch in read_session(tmp_path / "filled.toml").stretches]
    assert starts == ["roll 1/1.tif", "roll 2/1.jpg"]


def test_the_films_size_comes_back_from_the_sheet_without_a_cameras_name(tmp_path):
    sheet = {"sample": "a", "cameras": [{"name": "", "sensor": "36x24"}]}
    (tmp_path / "sheet.json").write_text(json.dumps(sheet))
    filled = from_sheet(read_sheet(tmp_path / "sheet.json"))
    assert filled.session == {"camera": [{"sensor": "36x24"}]}


def test_numbers_are_written_as_short_as_they_stay_the_same():
    text = session_as_toml({"one": {"short": 2.5, "whole": 28, "long": 2.3456789, "far": float("inf")}})
    assert "short = 2.5\nwhole = 28\nlong = 2.3456789\nfar = inf" in text
