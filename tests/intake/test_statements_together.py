"""What people state holds whichever way a folder is read, and a slip never flows on."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from worlds.stated import ARCADE_AND_GATE as PRESETS
from worlds.stated import read, said

from auditor.evidence.subjects import pressed_at_anyone
from auditor.intake.tables import write_table
from auditor.journey import count_steps, gathered, run_scan
from auditor.optics.blur import motion_mm
from auditor.settings import Request


def stated(archive):
    return [name if isinstance(name, str) else None for name in archive.table["stated_preset"]]


# --- months add up -----------------------------------------------------------------------------------


@pytest.fixture
def months(tmp_path, photo):
    """Two months with the same file names; notes and a session file in one walk, notes above by path."""
    top = tmp_path / "photos"
    for month, day in (("June", 5), ("July", 6)):
        for walk in ("walk-1", "walk-2"):
            for i in range(1, 4):
                at = datetime(2031, day, 3 + int(walk[-1]), 14, i)
                photo(top / month / walk / f"P101{i:04d}.jpg", at, camera=f"body {month}")
    inner = top / "June" / "walk-2"
    (inner / "session.toml").write_text(
        f'{PRESETS}[[camera]]\nsensor = "36x24"\n'
        '[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n[[stretch]]\npreset = "gate"\nfrom = "P1010003"\n'
    )
    (inner / "notes.csv").write_text(
        "file,subject_distance,keeper\nP1010001,2m,yes\n./P1010002,3m,\nJune/walk-2/P1010003.jpg,4m,no\n"
    )
    (inner / "sample.csv").write_text("file,sample_weight\nwalk-2/P1010001,7\n")
    return top


WAYS = {
    "the month": lambda top: (top / "June",),
    "two months": lambda top: (top / "June", top / "July"),
    "the folder above": lambda top: (top,),
    "the walk": lambda top: (top / "June" / "walk-2",),
}


@pytest.mark.parametrize("way", WAYS)
def test_statements_hold_whichever_way_the_folder_is_read(months, way):
    archive = read(*WAYS[way](months))
    own = archive.table[[("June" in p and "walk-2" in p) for p in archive.paths]]
    assert own["subject_distance_m"].tolist() == [2.0, 3.0, 4.0]
    assert own["stated_preset"].tolist() == ["arcade", "arcade", "gate"]
    assert own["keeper"].fillna("").tolist() == ["yes", "", "no"]
    assert own["sample_weight"].tolist()[0] == 7.0
    assert archive.table["subject_distance_m"].notna().sum() == 3
    assert archive.problems == []
    assert "3 notes read, 3 matched." in archive.remarks


def test_named_notes_hold_for_several_sources_by_the_end_of_a_path(months, tmp_path):
    notes = tmp_path / "elsewhere" / "notes.csv"
    notes.parent.mkdir()
    notes.write_text(
        "file,subject_distance\nJune/walk-1/P1010001,2m\nJuly/walk-1/P1010001.JPG,3m\nP1010001,5m\nwalk-1/P1010002,6m\n"
    )
    archive = read(months / "June", months / "July", notes_file=notes)
    at = dict(zip(archive.table["file"], archive.table["subject_distance_m"], strict=True))
    assert (at["June/walk-1/P1010001.jpg"], at["July/walk-1/P1010001.jpg"]) == (2.0, 3.0)
    assert "'P1010001' could be 4 frames" in said(archive)
    assert "'walk-1/P1010002' could be 2 frames" in said(archive)
    assert "4 notes read, 2 matched." in archive.remarks


def test_many_rows_without_their_frame_are_one_line_with_a_number(walk):
    folder = walk(2)
    rows = "".join(f"Q{i:07d},3m\n" for i in range(50))
    (folder / "notes.csv").write_text(f"file,subject_distance\n{rows}P1010001,3m\n")
    archive = read(folder)
    assert len(archive.problems) == 4
    assert "50 rows in all name no frame" in said(archive)
    assert "51 notes read, 1 matched." in archive.remarks


# --- a slip never flows on ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("second", "expected", "why"),
    [
        ('preset = "gaet"\nfrom = "P1010004"', ["arcade"] * 3 + [None] * 3, "there is no preset 'gaet'"),
        ('preset = "bad"\nfrom = "P1010004"', ["arcade"] * 3 + [None] * 3, "has a key that cannot be used"),
        ('preset = "gate"\nform = "P1010004"', [None] * 6, "nobody knows where the next one begins"),
        ('preset = "gate"\nfrom = "P1O10004"', [None] * 6, "nobody knows where the next one begins"),
        ('preset = "gate"\nfrom = "P1010004"\nto = "25 o\'clock"', ["arcade"] * 3 + [None] * 3, "not a time"),
    ],
)
def test_a_stretch_with_a_slip_ends_the_one_before_and_sets_nothing(walk, second, expected, why):
    folder = walk(6)
    (folder / "session.toml").write_text(
        f'{PRESETS}[[preset]]\nname = "bad"\nf_number = 8\nfocus_distence = "2m"\n'
        f'[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n[[stretch]]\n{second}\n'
    )
    archive = read(folder)
    assert stated(archive) == expected
    assert archive.table["focus_distance_m"].notna().tolist() == [name is not None for name in expected]
    assert why in said(archive)
    assert any(problem.ignored for problem in archive.problems)


def test_a_marker_that_was_deleted_still_ends_the_stretch_before_by_its_number(walk):
    folder = walk(6)
    (folder / "P1010004.jpg").unlink()
    (folder / "session.toml").write_text(
        f'{PRESETS}[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
        '[[stretch]]\npreset = "gate"\nfrom = "P1010004"\n'
    )
    archive = read(folder)
    assert stated(archive) == ["arcade"] * 3 + [None] * 2
    assert "Frames of a stretch have no setting, because there is no frame 'P1010004'" in said(archive)
    (folder / "notes.csv").write_text("file,subject_distance\nP1010001,near\nP1010002,far\n")
    first = gathered(read(folder).problems)[0]
    assert first.what.startswith("Frames of a stretch"), "what changes most comes first"
    assert first.frames == 2


def test_times_may_stand_without_quotes(walk):
    folder = walk(4)
    (folder / "session.toml").write_text(f'{PRESETS}[[stretch]]\npreset = "gate"\nfrom = 14:02:00\n')
    assert stated(read(folder)) == [None, None, "gate", "gate"]


def test_a_question_ends_its_sentence(walk):
    folder = walk(2)
    (folder / "session.toml").write_text('[marks]\nunmarked = "keepr"\n')
    (*_, problem) = read(folder).problems
    assert problem.next.endswith("; did you mean 'keeper'?")


def test_a_note_with_an_unknown_preset_leaves_the_frame_without_a_setting(walk):
    folder = walk(2)
    (folder / "session.toml").write_text(f'{PRESETS}[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n')
    (folder / "notes.csv").write_text("file,preset,focus_distance\nP1010001,gaet,\nP1010002,,2\n")
    archive = read(folder)
    assert stated(archive) == [None, "arcade"]
    assert archive.table["focus_distance_m"].isna().all()  # the second cell has no unit
    assert "did you mean 'gate'?" in said(archive)


def test_what_was_ignored_comes_first_and_what_changes_more_frames_before_less(walk):
    folder = walk(6, focal_length_mm=28.0, f_number=[8, 8, 8, 8, 5.6, 8], distance=(4, 1))
    (folder / "session.toml").write_text(
        f'{PRESETS}[lihgt]\niso_max = 100\n[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
    )
    problems = gathered(read(folder).problems)
    assert [p.ignored for p in problems] == [True, False, False]
    assert [p.frames for p in problems[1:]] == [6, 1]


# --- presets and lenses ------------------------------------------------------------------------------


def test_a_preset_without_a_lens_is_split_by_what_was_on_the_camera(walk):
    folder = walk(6, focal_length_mm=[28.0, 28.0, 35.0, 35.0, 28.0, 28.0], f_number=[8, 8, 8, 8, 5.6, 5.6])
    (folder / "session.toml").write_text(
        '[[camera]]\nsensor = "36x24"\n[[preset]]\nname = "arcade"\nfocus_distance = "2.5m"\n'
        '[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
    )
    table = run_scan(Request((folder,), cache=None)).archive.table
    assert table["preset"].tolist() == (
        ["arcade (28 mm, f/8)"] * 2 + ["arcade (35 mm, f/8)"] * 2 + ["arcade (28 mm, f/5.6)"] * 2
    )
    assert (table.groupby("preset")["near_limit_m"].nunique() == 1).all()


def test_one_name_for_two_settings_in_two_files_is_never_pooled(walk):
    top = walk(2, folder="all/a").parent
    walk(2, folder="all/b", start="2031-05-05T14:00:00")
    for folder, focus in (("a", "2.5m"), ("b", "4m")):
        (top / folder / "session.toml").write_text(
            f'{PRESETS.replace("2.5m", focus)}[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
        )
    table = run_scan(Request((top,), cache=None)).archive.table
    assert table["preset"].tolist() == ["arcade (at 2.5 m)"] * 2 + ["arcade (at 4 m)"] * 2


def test_distances_from_the_lens_survive_whichever_file_states_the_focal_length(walk):
    folder = walk(2)
    (folder / "session.toml").write_text(
        '[distances]\nfrom = "lens"\n[[preset]]\nname = "arcade"\nfocus_distance = "2.5m"\nf_number = 8\n'
        '[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
    )
    (folder / "notes.csv").write_text(
        "file,focal_length,subject_distance\nP1010001,28mm,2.5m\nP1010002,,2.5m\n"
    )
    archive = read(folder)
    # By hand: 2.5 m from the lens is 2.5 + v from the sensor, v = u f / (u - f) = 2.5 * 0.028 / 2.472.
    expected = 2.5 + 2.5 * 0.028 / 2.472
    assert archive.table["focus_distance_m"][0] == pytest.approx(expected, rel=1e-9)
    assert archive.table["subject_distance_m"][0] == pytest.approx(expected, rel=1e-9)
    assert np.isnan(archive.table["focus_distance_m"][1])
    assert "focus_distance counts from the lens and cannot be converted" in said(archive)
    assert "subject_distance counts from the lens and cannot be converted" in said(archive)


# --- sensors -----------------------------------------------------------------------------------------


def equivalents(folder, values):
    """Put 35 mm-equivalents into photographs."""
    from PIL import Image

    for number, value in values.items():
        path = folder / f"P101{number:04d}.jpg"
        with Image.open(path) as picture:
            exif = picture.getexif()
            exif.get_ifd(0x8769)[0xA405] = value
            picture.save(path, exif=exif)


def test_the_sensor_is_the_mode_over_a_cameras_frames_and_disagreement_is_listed(walk):
    folder = walk(6, focal_length_mm=28.0)
    equivalents(folder, {1: 42, 2: 42, 3: 42, 4: 84})  # 1.5 x three times, once 3 x, twice nothing
    archive = read(folder)
    np.testing.assert_allclose(archive.table["sensor_width_mm"], [24.0] * 6, rtol=1e-9)
    assert archive.table["sensor_source"].tolist() == ["exif"] * 6
    assert "35 mm-equivalent of 1 of 6 frames of body A gives a sensor diagonal of 14.4 mm" in said(archive)


def test_a_sensor_stated_once_holds_for_the_camera_everywhere(walk):
    top = walk(1, folder="all/a").parent
    walk(1, folder="all/b", start="2031-05-05T14:00:00")
    (top / "a" / "session.toml").write_text('[[camera]]\nname = "body A"\nsensor = "1.5x"\n')
    table = read(top).table
    assert table["sensor_width_mm"].tolist() == [24.0, 24.0]
    assert table["sensor_source"].tolist() == ["session"] * 2


def test_a_focal_length_that_no_lens_for_the_size_has_refuses_it_unless_it_was_stated(walk):
    folder = walk(2, focal_length_mm=[5.0, 28.0], f_number=8.0, distance=(5, 2))
    archive = read(folder)
    assert archive.table["sensor_source"].tolist() == ["unknown", "assumed"]
    assert archive.table["sensor_width_mm"].isna().tolist() == [True, False]
    assert any("1 frame has a focal length that no lens" in remark for remark in archive.remarks)
    assert archive.problems == []
    assert run_scan(Request((folder,), cache=None)).archive.table["near_limit_m"].isna().tolist() == [
        True,
        False,
    ]
    (folder / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    assert read(folder).table["sensor_source"].tolist() == ["session"] * 2


def test_a_smaller_copy_never_speaks_for_a_frame_that_has_a_full_file_and_its_shares_are_flagged(
    tmp_path, photo
):
    begin = datetime(2031, 4, 5, 14, 0)
    for i in range(1, 13):
        photo(
            tmp_path / f"P101{i:04d}-full.jpg",
            begin + timedelta(minutes=i),
            size=(360, 240),
            focal_length_mm=28,
        )
    photo(tmp_path / "P1010001.jpg", begin + timedelta(minutes=1), size=(36, 24), focal_length_mm=28)
    photo(tmp_path / "P1010020.jpg", begin + timedelta(minutes=20), size=(36, 24), focal_length_mm=28)
    (tmp_path / "session.toml").write_text('[[camera]]\nsensor = "36x24"\n')
    (tmp_path / "notes.csv").write_text("file,standing_share\nP1010020,50%\nP1010002-full,50%\n")
    archive = read(tmp_path)
    assert archive.table["files"][0] == "P1010001-full.jpg|P1010001.jpg"
    assert archive.table["pixel_width"].tolist() == [360] * 12 + [36]
    flagged = [p.file for p in archive.problems if "smaller than its camera's own" in p.what]
    assert flagged == ["P1010020.jpg"]


# --- every column of the notes -----------------------------------------------------------------------


def test_every_column_of_the_notes_is_read(walk):
    folder = walk(2, focal_length_mm=28.0)
    (folder / "notes.csv").write_text(
        "file,sharp,sharp_seen,sharp_shown_px,subject_distance,guessed_distance,pupils_share,seated_share\n"
        "P1010001,yes,shown,1600,6ft; 4m,2m,2%,40%\nP1010002,maybe,pixels,,3m,,,\n"
    )
    archive = read(folder)
    first = archive.table.iloc[0]
    assert (first["sharp"], first["sharp_source"], first["sharp_seen"]) == ("yes", "notes", "shown")
    assert first["sharp_shown_px"] == 1600.0
    assert first["subject_distance_m"] == pytest.approx(6 * 0.3048, rel=1e-12)
    assert first["other_subjects_m"] == "4"
    assert archive.table["sharp"].isna().tolist() == [False, True]
    assert "sharp: 'maybe' is not allowed. Write yes, no or unsure." in said(archive)
    assert "no column" not in said(archive)


@pytest.mark.slow
def test_many_session_files_cost_no_more_than_one():
    """A short form of tests/bench/bench_statements.py; the bench itself holds 1.5 at 250 folders."""
    from tests.bench.bench_statements import compare

    assert compare(folders=60, frames=10, rounds=3) < 2.5


def test_a_file_that_lies_away_from_all_frames_counts_from_the_source(walk, photo, tmp_path):
    folder = walk(3)
    photo(folder / "later" / "P1010002.jpg", datetime(2031, 4, 5, 15, 0))
    session = tmp_path / "audit-notes" / "session.toml"
    session.parent.mkdir()
    session.write_text(
        f'{PRESETS}[[stretch]]\npreset = "arcade"\nfrom = "./P1010002.jpg"\n'
        '[[stretch]]\npreset = "gate"\nfrom = "later/P1010002"\n'
    )
    archive = read(folder, session_file=session)
    assert archive.problems == []
    assert stated(archive) == [None, "arcade", "arcade", "gate"]


def test_markers_are_no_frames_of_the_walk_though_a_stretch_may_begin_at_one(tmp_path, photo):
    folder = tmp_path / "walk"
    for i in range(1, 7):
        photo(folder / f"P101{i:04d}.jpg", datetime(2031, 4, 5, 14, i), rating="3" if i == 5 else None)
    (folder / "session.toml").write_text(
        f'{PRESETS}[[stretch]]\npreset = "arcade"\nfrom = "P1010001"\n'
        '[[stretch]]\npreset = "gate"\nfrom = "P1010003"\npressed = "anyone"\n'
        '[marks]\nmarkers = ["P1010003", "P1010009"]\n'
    )
    (folder / "notes.csv").write_text("file,sharp,subject_distance\nP1010004,yes,6ft; 13ft\nP1010005,no,\n")
    scanned = run_scan(Request((folder,), cache=None))
    archive, table = scanned.archive, scanned.archive.table
    assert table["file"].tolist() == [f"P101{i:04d}.jpg" for i in (1, 2, 4, 5, 6)]
    assert stated(archive) == ["arcade", "arcade", "gate", "gate", "gate"]
    assert pressed_at_anyone(table).tolist() == [False, False, True, True, True]
    assert table["other_subjects_m"].tolist()[2] == "3.9624"
    counts = count_steps(archive)
    assert [counts[name] for name in ("frames", "markers", "sharp", "soft", "unsure")] == [5, 1, 1, 1, 0]
    assert counts["marked"] + counts["left_out"] == counts["frames"]
    assert "markers names 'P1010009', which is no frame." in said(archive)
    assert len(archive.paths) == len(archive.counted_to_end) == 5
    write_table(table, tmp_path / "frames.csv")
    again = run_scan(Request((tmp_path / "frames.csv",), cache=None)).archive.table
    assert again["other_subjects_m"].tolist() == table["other_subjects_m"].tolist()
    assert again["subject_distance_m"].to_numpy() == pytest.approx(table["subject_distance_m"], nan_ok=True)


def test_a_tape_s_reading_of_the_ring_moves_the_zone(tmp_path, photo):
    """A ring that focuses 2.2 m at its mark of 2 m; focus_distance_m stays the mark."""
    folder = tmp_path / "walk"
    photo(folder / "P1010001.jpg", datetime(2031, 4, 5, 14), focal_length_mm=28.0, f_number=8)
    text = '[[lens]]\nname = "a"\nfocal_length = "28mm"\n%s[[preset]]\nname = "p"\nlens = "a"\nf_number = 8\n'
    text += 'focus_distance = "2m"\n[[stretch]]\npreset = "p"\n'
    found = {}
    for check in ("", 'ring_check = { mark = "2m", focuses = "2.2m" }\n'):
        (folder / "session.toml").write_text(text % check)
        found[bool(check)] = run_scan(Request((folder,), cache=None)).archive.table.iloc[0]
    assert np.isnan(found[False]["focus_true_m"])
    assert found[True]["focus_true_m"] == pytest.approx(2.2, rel=1e-6)
    assert found[True]["focus_distance_m"] == 2.0
    assert found[True]["near_limit_m"] > found[False]["near_limit_m"]


def test_movement_in_the_light_of_a_flash_goes_by_its_stated_duration(tmp_path, photo):
    """At 1/60 s a flash of 1/1000 s freezes; unset nobody knows; the shutter cuts what is longer than it."""
    folder = tmp_path / "walk"
    for number, (flash, time) in enumerate([(1, 1 / 60), (0, 1 / 60), (1, 1 / 2000)], 1):
        at = datetime(2031, 4, 5, 14, number)
        photo(folder / f"P101000{number}.jpg", at, flash=flash, exposure_time_s=time, focal_length_mm=28.0)
    (folder / "notes.csv").write_text("file,subject_distance\nP1010001,3m\nP1010002,3m\nP1010003,3m\n")

    def moved(light, source=folder):
        (folder / "session.toml").write_text(light)
        scan = run_scan(Request((source,), cache=None))
        return scan.archive.table["motion_mm"].to_numpy(), scan

    plain = float(motion_mm(28.0, 3.0, 1.32, 1 / 60))
    assert moved("")[0] == pytest.approx([np.nan, plain, np.nan], nan_ok=True)
    seen, scan = moved('[light]\nflash_duration = "1/1000"\n')
    frozen = [float(motion_mm(28.0, 3.0, 1.32, time)) for time in (1 / 1000, 1 / 60, 1 / 2000)]
    assert seen == pytest.approx(frozen, rel=1e-6)
    assert scan.problems == []
    write_table(scan.archive.table, tmp_path / "frames.csv")
    assert moved("", tmp_path / "frames.csv")[0] == pytest.approx(frozen, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "why"),
    [("1000", "could mean 1/1000 s"), ("2s", "at most 0.1"), ("fast", "not an exposure time")],
)
def test_a_flash_duration_that_cannot_be_is_one_problem(walk, value, why):
    folder = walk(2, flash=1)
    (folder / "session.toml").write_text(f'[light]\nflash_duration = "{value}"\n')
    archive = read(folder)
    (problem,) = archive.problems
    assert why in problem.what + problem.next
    assert "flash_duration" in problem.what
    assert archive.table["flash_duration_s"].isna().all()


def test_a_flash_duration_without_a_flash_is_said(walk):
    folder = walk(2, flash=0)
    (folder / "session.toml").write_text('[light]\nflash_duration = "1/1000"\n')
    assert "no file says that a flash fired" in said(read(folder))
