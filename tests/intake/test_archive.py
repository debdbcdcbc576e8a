"""From folders to the table of stated facts: grouping, stretches, notes, selects and marks on real files."""

import shutil
from datetime import datetime

import numpy as np
import pytest
from worlds.stated import ARCADE, read, said

from auditor.errors import SourceError
from auditor.intake.assembling import read_archive
from auditor.intake.statements.selects import probable_selects
from auditor.settings import Request
from auditor.writing import ResultsFolder

NOON = datetime(2031, 4, 5, 12, 0, 0)


def column(archive, name):
    return dict(zip(archive.table["file"], archive.table[name], strict=True))


PRESETS = f"""{ARCADE}
[[preset]]
name = "gate"
focal_length = "28mm"
f_number = 5.6
focus_distance = "10ft"
"""


# --- one frame, however many files -------------------------------------------------------------------


def test_a_raw_file_its_jpeg_and_two_sidecars_are_one_frame(tmp_path, photo, packet):
    photo(tmp_path / "P1010001.jpg", NOON)
    shutil.copy(tmp_path / "P1010001.jpg", tmp_path / "P1010001.dng")
    (tmp_path / "P1010001.xmp").write_bytes(packet(2))
    (tmp_path / "P1010001.jpg.xmp").write_bytes(packet(4))
    archive = read(tmp_path)
    assert len(archive.table) == 1
    assert archive.found == archive.read == 2
    assert archive.merged == 1
    assert archive.table["files"][0] == "P1010001.dng|P1010001.jpg|P1010001.jpg.xmp|P1010001.xmp"
    assert archive.table["keeper"][0] == "yes"
    assert archive.table["mark_source"][0] == "sidecar"


def test_an_unreadable_jpeg_beside_its_raw_file_is_counted_once(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", NOON)
    (tmp_path / "P1010001.jpg").rename(tmp_path / "P1010001.dng")
    (tmp_path / "P1010001.jpg").touch()
    archive = read(tmp_path)
    assert (archive.found, archive.unreadable, archive.merged, len(archive.table)) == (2, 1, 0, 1)


def test_edited_exports_and_copies_join_their_frame(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", NOON, subsec="10", size=(48, 32))
    photo(tmp_path / "P1010001-web.jpg", NOON, subsec="10")
    photo(tmp_path / "best" / "P1010001.jpg", NOON, subsec="10")
    photo(tmp_path / "P1010002.jpg", NOON, subsec="60")
    archive = read(tmp_path)
    assert archive.table["file"].tolist() == ["P1010001.jpg", "P1010002.jpg"]
    assert archive.merged == 2


def test_an_export_joins_by_its_name_also_where_another_frame_shares_the_whole_second(tmp_path, photo):
    for name in ("P1010001", "P1010002", "P1010001-web", "P1010002 (edited)"):
        photo(tmp_path / f"{name}.jpg", NOON)
    archive = read(tmp_path)
    assert archive.table["files"].tolist() == [
        "P1010001.jpg|P1010001-web.jpg",
        "P1010002.jpg|P1010002 (edited).jpg",
    ]


def test_a_counter_is_an_export_only_if_the_whole_second_holds_one_frame_of_that_camera(tmp_path, photo):
    for name in ("P1010001", "P1010002", "P1010001-2"):
        photo(tmp_path / f"{name}.jpg", NOON)
    assert len(read(tmp_path).table) == 3
    (tmp_path / "P1010002.jpg").unlink()
    assert len(read(tmp_path).table) == 1


def test_an_export_that_lost_its_time_joins_the_frame_whose_number_it_continues_in_words(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", NOON, size=(48, 32))
    photo(tmp_path / "P1010001-web.jpg", None)
    for name in ("12", "12a", "13 print", "market", "market-dog"):  # 12a is a frame of film
        photo(tmp_path / f"{name}.jpg", None)
    archive = read(tmp_path)
    assert archive.merged == 1
    assert "P1010001.jpg|P1010001-web.jpg" in archive.table["files"].tolist()


def test_one_name_with_two_times_is_two_frames_and_said(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", NOON)
    photo(tmp_path / "P1010001.jpeg", NOON.replace(hour=15))
    archive = read(tmp_path)
    assert len(archive.table) == 2
    assert "another capture time" in said(archive)


def test_an_unreadable_picture_still_counts_through_its_sidecar(tmp_path, photo, packet):
    photo(tmp_path / "P1010001.jpg", NOON)
    (tmp_path / "P1010002.jpg").write_bytes(b"not a picture")
    (tmp_path / "P1010003.jpg").write_bytes(b"nor this")
    (tmp_path / "P1010003.xmp").write_bytes(packet(3))
    archive = read(tmp_path)
    assert (archive.found, archive.read, archive.unreadable) == (3, 1, 2)
    assert column(archive, "keeper")["P1010003.jpg"] == "yes"
    assert "P1010002.jpg" not in column(archive, "keeper")
    assert "P1010002.jpg" in said(archive)


# --- stretches ---------------------------------------------------------------------------------------


def test_stretches_by_frame_name_fill_in_what_the_files_do_not_say(walk):
    folder = walk(6)
    (folder / "session.toml").write_text(
        PRESETS
        + '[[stretch]]\npreset="arcade"\nfrom="P1010002"\n[[stretch]]\npreset="gate"\nfrom="p1010005.JPG"\n'
    )
    archive = read(folder)
    assert archive.problems == []
    assert [p if isinstance(p, str) else None for p in archive.table["stated_preset"]] == [
        None, "arcade", "arcade", "arcade", "gate", "gate",
    ]  # fmt: skip
    assert archive.table["focus_distance_source"].tolist() == ["unknown"] + ["session"] * 5
    assert archive.table["focus_distance_m"][5] == pytest.approx(3.048, rel=1e-12)  # 10 ft, exact
    assert np.isnan(archive.table["f_number"][0])


def test_a_stretch_ends_with_the_session(walk, photo):
    folder = walk(3)
    photo(folder / "P1010100.jpg", datetime(2031, 4, 5, 19, 0))
    (folder / "session.toml").write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="P1010001"\n')
    assert read(folder).table["stated_preset"].isna().tolist() == [False, False, False, True]


def test_the_file_wins_over_a_stretch_in_f_number_and_the_stretch_in_focus_distance(walk):
    folder = walk(3, f_number=[8.0, 5.6, None], focal_length_mm=28.0, distance=(4, 1))
    (folder / "session.toml").write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="P1010001"\n')
    archive = read(folder)
    assert archive.table["f_number"].tolist() == [8.0, 5.6, 8.0]
    assert archive.table["focus_distance_m"].tolist() == [2.5, 2.5, 2.5]
    assert archive.table["stated_preset"].isna().tolist() == [False, True, False]
    assert "another f-number" in said(archive)
    assert "another focus distance" in said(archive)


def test_a_stretch_leaves_frames_of_another_lens_alone(walk):
    folder = walk(2, focal_length_mm=[50.0, None])
    (folder / "session.toml").write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="P1010001"\n')
    archive = read(folder)
    assert archive.table["stated_preset"].isna().tolist() == [True, False]
    assert "1 frame of another lens or focal length" in archive.remarks[0]
    assert archive.problems == []  # nothing is to be done


@pytest.mark.parametrize(
    ("stretches", "expected", "covered"),
    [
        ('[[stretch]]\npreset="arcade"\nfrom="P1019999"\n', "no frame 'P1019999'", 0),
        ('[[stretch]]\npreset="arcade"\nfrom="14:01"\n', "", 5),
        ('[[stretch]]\npreset="arcade"\nfrom="2031-04-05 14:01"\nto="14:03"\n', "", 2),
        ('[[stretch]]\npreset="arcade"\nfrom="P1010003"\nto="P1010002"\n', "before it begins", 0),
        ('[[stretch]]\npreset="arcade"\nfrom="P1010001"\ncamera="body Z"\n', "body Z", 0),
        (
            '[[stretch]]\npreset="arcade"\nfrom="P1010001"\nto="P1010004"\n'
            '[[stretch]]\npreset="gate"\nfrom="P1010003"\nto="P1010006"\n',
            "overlap",
            4,
        ),
    ],
)
def test_each_mistake_in_a_stretch_gets_one_message_and_the_rest_goes_on(walk, stretches, expected, covered):
    folder = walk(6)
    (folder / "session.toml").write_text(PRESETS + stretches)
    archive = read(folder)
    assert len(archive.problems) == (1 if expected else 0)
    assert expected in said(archive)
    assert archive.table["stated_preset"].notna().sum() == covered
    assert len(archive.table) == 6


@pytest.mark.parametrize(
    ("stretch", "what"),
    [
        ('from="2031-04-04 09:00"', "begins at 2031-04-04 09:00, and no frame was taken soon after"),
        ('from="2031-04-06 09:00"', "begins at 2031-04-06 09:00, and no frame was taken soon after"),
        ('from="2031-04-04 09:00"\nto="2031-04-04 10:00"', "No frame lies from 2031-04-04 09:00 to"),
    ],
)
def test_a_stretch_without_frames_is_told_and_covers_none(walk, stretch, what):
    folder = walk(6)
    (folder / "session.toml").write_text(f'{PRESETS}[[stretch]]\npreset="arcade"\n{stretch}\n')
    archive = read(folder)
    assert what in said(archive)
    assert archive.table["stated_preset"].isna().all()


@pytest.mark.parametrize(
    ("camera", "unplaced", "holds"),
    [(None, None, False), (None, "body B", False), ("body A", None, False), ("body A", "body A", False),
     ("body A", "body B", True)],
)  # fmt: skip
def test_a_stretch_sets_nothing_where_the_next_of_its_camera_begins_nobody_knows_where(
    walk, camera, unplaced, holds
):
    folder = walk(4, camera=["body A", "body B"] * 2)
    own, other = (f'camera="{name}"\n' if name else "" for name in (camera, unplaced))
    (folder / "session.toml").write_text(
        f'{PRESETS}[[stretch]]\npreset="arcade"\nfrom="P1010001"\n{own}'
        f'[[stretch]]\npreset="gate"\nfrom="P1019999"\n{other}'
    )
    assert (read(folder).table["stated_preset"].dropna().tolist() == ["arcade"] * 2) is holds


def test_a_long_stretch_may_begin_days_before_its_first_frame(walk):
    folder = walk(6)
    long = 'from="2031-04-01"\nto="2031-04-30"'
    (folder / "session.toml").write_text(f'{PRESETS}[[stretch]]\npreset="arcade"\n{long}\n')
    assert read(folder).table["stated_preset"].eq("arcade").all()


def test_a_preset_that_leaves_frames_without_a_zone_is_told(walk):
    folder = walk(4, f_number=[8, 8, None, None])
    preset = '[[preset]]\nname="half"\nfocal_length="28mm"\n[[stretch]]\npreset="half"\nfrom="P1010001"\n'
    (folder / "session.toml").write_text(preset)
    text = said(read(folder))
    assert "states no focus_distance and the files record none" in text
    assert "no f_number and the files record none, so that these frames have no sharp zone: P1010003" in text
    assert "states no focal_length" not in text


def test_an_empty_folder_of_selects_is_told(walk, tmp_path):
    folder = walk(3)
    (tmp_path / "selects").mkdir()
    archive = read_archive(Request((folder,), keepers_folder=tmp_path / "selects"))
    assert "holds no pictures, so it marks nothing" in said(archive)


def test_a_last_mark_long_after_the_others_is_named(walk):
    """Marked in turn to the twentieth frame, and one favourite much later."""
    rating = [3 if i % 4 == 0 and i <= 20 else None for i in range(120)]
    assert "stands alone" not in said(read(walk(120, rating=rating)))
    rating[110] = 5
    text = said(read(walk(120, rating=rating)))
    assert "stands alone, long after the one before: P1010111.jpg" in text


def test_the_nearest_name_is_told_as_it_is_written(walk):
    folder = walk(3)
    (folder / "notes.csv").write_text("file,keeper\nP101O002,yes\n")
    assert "The nearest name is 'P1010002'" in said(read(folder))


def test_a_frame_name_that_is_there_twice_and_a_time_without_a_date_over_two_days(walk, photo):
    folder = walk(3)
    photo(folder / "b" / "P1010002.jpg", datetime(2031, 4, 6, 14, 1))
    (folder / "session.toml").write_text(
        PRESETS + '[[stretch]]\npreset="arcade"\nfrom="P1010002"\n[[stretch]]\npreset="gate"\nfrom="14:01"\n'
    )
    archive = read(folder)
    assert "'P1010002' is there 2 times" in said(archive)
    assert "could be any of 2 days" in said(archive)
    assert archive.table["stated_preset"].isna().all()
    (folder / "session.toml").write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="b/P1010002"\n')
    assert column(read(folder), "stated_preset")["b/P1010002.jpg"] == "arcade"


def test_the_nearest_session_file_applies_whole_and_a_named_one_replaces_all(walk):
    top = walk(2).parent
    walk(2, folder="walk/inner", start="2031-04-05T15:00:00")
    (top / "walk" / "session.toml").write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="2031-04-05"\n')
    (top / "walk" / "inner" / "session.toml").write_text("")
    archive = read(top / "walk")
    assert archive.table["stated_preset"].notna().tolist() == [True, True, False, False]
    named = top / "other.toml"
    named.write_text(PRESETS + '[[stretch]]\npreset="gate"\nfrom="2031-04-05"\n')
    assert read(top / "walk", session_file=named).table["stated_preset"].tolist() == ["gate"] * 4


def test_a_session_file_kept_elsewhere_holds_only_where_no_other_does(walk, tmp_path):
    folder = walk(2)
    outer, named = tmp_path / "outer.toml", tmp_path / "named.toml"
    outer.write_text(PRESETS + '[[stretch]]\npreset="arcade"\nfrom="2031-04-05"\n')
    named.write_text(PRESETS + '[[stretch]]\npreset="gate"\nfrom="2031-04-05"\n')
    assert read(folder, outer_session=outer).table["stated_preset"].tolist() == ["arcade"] * 2
    both = read(folder, outer_session=outer, session_file=named)
    assert both.table["stated_preset"].tolist() == ["gate"] * 2
    (folder / "session.toml").touch()
    assert read(folder, outer_session=outer).table["stated_preset"].isna().all()


def test_clock_offset_and_distances_from_the_lens(walk):
    folder = walk(1)
    (folder / "session.toml").write_text(
        '[distances]\nfrom="lens"\n[[camera]]\nclock_offset="-1h"\n'
        + PRESETS
        + '[[stretch]]\npreset="arcade"\nfrom="13:00"\n'
    )
    table = read(folder).table
    assert table["captured_at"][0] == datetime(2031, 4, 5, 13, 0)
    # By hand: 2.5 m from the lens is 2.5 + v from the sensor, v = u f / (u - f) = 2.5 * 0.028 / 2.472.
    assert table["focus_distance_m"][0] == pytest.approx(2.5 + 2.5 * 0.028 / 2.472, rel=1e-9)


# --- notes -------------------------------------------------------------------------------------------


def test_notes_win_over_files_and_empty_cells_change_nothing(walk):
    folder = walk(3, f_number=4.0, focal_length_mm=28.0, rating=3)
    (folder / "notes.csv").write_text(
        "file;keeper;subject_distance;f_number;reason\nP1010001;no;7ft;;blink\nP1010002.jpg;;2,5m;8;\n"
    )
    archive = read(folder)
    table = archive.table
    assert archive.table["keeper"].tolist() == ["no", "yes", "yes"]
    assert table["mark_source"].tolist() == ["notes", "embedded", "embedded"]
    assert table["subject_distance_m"][0] == pytest.approx(2.1336, rel=1e-9)
    assert table["subject_distance_m"][1] == 2.5
    assert table["subject_distance_rel_sd"][1] == 0.15
    assert table["f_number"].tolist() == [4.0, 8.0, 4.0]
    assert table["reason"][0] == "blink"
    assert "1 marks disagree between notes and embedded" in said(archive)


def test_the_nearest_filled_cell_wins(walk):
    folder = walk(1, folder="walk/inner").parent
    (folder / "notes.csv").write_text("file,subject_distance,reason\ninner/P1010001,4m,far\n")
    (folder / "inner" / "notes.csv").write_text("file,subject_distance\nP1010001,2m\n")
    table = read(folder).table
    assert (table["subject_distance_m"][0], table["reason"][0]) == (2.0, "far")


def test_mistakes_in_notes_name_their_line(walk):
    folder = walk(2)
    (folder / "notes.csv").write_text(
        "file,keepr,subject_distance,preset\nP1010001,yes,2,\nP1010001,yes,3m,\nP1010009,,3m,\nP1010002,,,nowhere\n"
    )
    text = said(read(folder))
    assert "line 1: There is no column 'keepr'; did you mean 'keeper'? It was ignored." in text
    assert "line 2: subject_distance: '2' has no unit" in text
    assert "line 3: A second note for the frame P1010001.jpg. The first" in text
    assert "line 4: There is no frame 'P1010009'." in text
    assert "line 5: There is no preset 'nowhere'" in text


# --- selects -----------------------------------------------------------------------------------------


def test_a_folder_of_selects_marks_keepers_and_is_not_read_as_frames(walk, photo):
    folder = walk(5)
    begin = datetime(2031, 4, 5, 14, 0)
    (folder / "session.toml").write_text('[marks]\nkeepers = "selects"\n')
    photo(folder / "selects" / "P1010001.jpg", begin)  # stem and time
    photo(folder / "selects" / "my best one.jpg", begin.replace(minute=2))  # renamed: camera and time
    photo(folder / "selects" / "best-P1010004-print.jpg", None)  # a stem contained in its name
    photo(folder / "selects" / "stranger.jpg", datetime(2030, 1, 1))
    archive = read(folder)
    assert len(archive.table) == 5
    assert archive.table["keeper"].notna().tolist() == [True, False, True, True, False]
    assert archive.table["counted_as"].tolist() == ["keeper", "not kept", "keeper", "keeper", "not kept"]
    assert "stranger.jpg: A file in the folder of selects matches no frame" in said(archive)


def test_selects_end_the_choosing_only_in_sessions_in_which_one_of_them_matched(walk, photo):
    folder = walk(4)
    for number in range(5, 9):
        photo(
            folder / f"P101000{number}.jpg",
            datetime(2031, 5, 9, 14, number),
            rating=3 if number == 6 else None,
        )
    photo(folder.parent / "sel" / "P1010002.jpg", datetime(2031, 4, 5, 14, 1))
    archive = read(folder, keepers_folder=folder.parent / "sel")
    assert archive.table["counted_as"].tolist() == [
        "not kept", "keeper", "not kept", "not kept",
        "not kept", "left out", "left out", "left out",
    ]  # fmt: skip


def test_a_folder_of_nothing_but_copies_of_some_frames_is_probably_one_of_selects(walk, photo):
    folder = walk(5)
    begin = datetime(2031, 4, 5, 14, 0)
    for number in (1, 4):
        photo(folder / "best" / f"P101000{number}.jpg", begin.replace(minute=number - 1))
        photo(folder / "mixed" / f"P101000{number}.jpg", begin.replace(minute=number - 1))
    photo(folder / "mixed" / "P1010009.jpg", begin.replace(hour=16))
    files = read(folder).table["files"]
    assert probable_selects(files) == {"best": 2}
    assert probable_selects(["raw/1.dng|jpg/1.jpg", "raw/2.dng|jpg/2.jpg"]) == {}  # as many of each


def test_one_stem_with_another_time_is_no_match(walk, photo):
    folder = walk(2)
    photo(folder.parent / "sel" / "P1010001.jpg", datetime(2029, 1, 1))
    archive = read(folder, keepers_folder=folder.parent / "sel")
    assert archive.table["keeper"].isna().all()


# --- marks -------------------------------------------------------------------------------------------


def test_ratings_are_real_numbers_and_zero_or_absent_is_unmarked(walk):
    # ISO 16684-1:2011, Table 5: xmp:Rating is a Real, -1 rejected, 0 unrated, absent means 0.
    folder = walk(6, rating=["1.0", "0", None, "-1", "5", "2"])
    keeper = read(folder).table["keeper"]
    assert [k if isinstance(k, str) else None for k in keeper] == ["yes", None, None, "no", "yes", "yes"]


def test_min_rating_labels_and_exif_rating(walk):
    folder = walk(
        4,
        rating=["1", None, None, None],
        label=[None, "Green", "Red", None],
        exif_rating=[None, None, None, 3],
    )
    (folder / "session.toml").write_text(
        '[marks]\nmin_rating = 2\nkeeper_labels = ["green"]\nreject_labels = ["RED"]\n'
    )
    table = read(folder).table
    assert table["keeper"].tolist() == ["no", "yes", "no", "yes"]
    assert table["mark_source"].tolist() == ["embedded", "embedded", "embedded", "exif"]


@pytest.mark.parametrize(
    ("ratings", "rule", "expected"),
    [
        # before the last mark unmarked means not kept; the last mark and all after it are left out
        ([None, "3", None, "3", None, None], None, "not kept,keeper,not kept,left out,left out,left out"),
        ([None, "3", None, "3", None, None], "not-kept", "not kept,keeper,not kept,keeper,not kept,not kept"),
        (
            [None, "3", None, "3", None, None],
            "leave-out",
            "left out,keeper,left out,keeper,left out,left out",
        ),
        ([None, "-1", None, None, "-1", None], None, ",".join(["left out"] * 6)),
        ([None, "-1", None, None, "-1", None], "keeper", "keeper,not kept,keeper,keeper,not kept,keeper"),
        ([None] * 6, None, ",".join(["left out"] * 6)),
        (["3", "-1", "-1", "-1", "-1", "3"], None, "keeper,not kept,not kept,not kept,not kept,keeper"),
    ],
)
def test_what_unmarked_frames_count_as(walk, ratings, rule, expected):
    archive = read(walk(6, rating=ratings), unmarked=rule)
    assert ",".join(archive.table["counted_as"]) == expected


def test_a_session_with_only_rejects_and_one_without_marks_are_named(walk):
    top = walk(2, rating="3").parent
    walk(2, folder="walk/b", start="2031-04-06T10:00:00")
    walk(2, folder="walk/c", start="2031-04-07T10:00:00", rating=["-1", None])
    walk(2, folder="walk/d", start="2031-04-08T10:00:00", rating="3")
    text = said(read(top / "walk"))
    assert "Only rejects are marked in 1 session with 2 frames (2031-04-07 10:00)" in text
    assert "No mark in 1 session with 2 frames (2031-04-06 10:00)" in text
    assert (
        "4 of 4 frames are keepers (100 %); had you looked through these and kept none, 4 of 6 (67 %)" in text
    )


def test_culled_to_overrides_every_other_end(walk):
    folder = walk(6, rating=[None, "3", None, None, None, None])
    (folder / "session.toml").write_text('[marks]\nculled_to = "P1010004"\n')
    assert read(folder).table["counted_as"].tolist() == [
        "not kept", "keeper", "not kept", "not kept", "left out", "left out",
    ]  # fmt: skip


def test_frames_without_a_time_are_counted_in_the_order_of_their_names(walk, photo):
    folder = walk(3, rating=["3", None, "3"])
    for number in (9, 10, 11):
        photo(folder / f"scan{number}.jpg", None, rating=3 if number == 10 else None)
    counted = column(read(folder), "counted_as")
    assert [counted[f"scan{number}.jpg"] for number in (9, 10, 11)] == ["not kept", "left out", "left out"]


# --- sources -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["missing", "empty", "none readable"])
def test_a_source_that_cannot_be_read_ends_with_one_message(tmp_path, what):
    folder = tmp_path / "walk"
    if what != "missing":
        folder.mkdir()
    if what == "none readable":
        (folder / "a.jpg").write_bytes(b"\0")
    with pytest.raises(SourceError) as error:
        read(folder)
    assert "walk" in error.value.what
    assert error.value.next_step


def test_folders_that_hold_our_results_are_skipped_and_links_to_folders_not_followed(walk, photo):
    folder = walk(2)
    chart = photo(folder / "chart.jpg", NOON).read_bytes()
    (folder / "chart.jpg").unlink()
    ResultsFolder(folder / "audit-report").write_all({"charts/a.jpg": chart, "audit.json": "{}"})
    (folder / "loop").symlink_to(folder)
    archive = read(folder)
    assert len(archive.table) == 2
    assert "results was passed over" in said(archive)
    assert "link to a folder was not followed" in said(archive)


@pytest.mark.parametrize("how", ["beside", "below", "changed", "forged"])
def test_photographs_in_a_folder_of_our_results_are_never_passed_over(walk, photo, how):
    folder = walk(2)
    chart = photo(folder / "chart.jpg", NOON).read_bytes()
    (folder / "chart.jpg").unlink()
    out = folder / "audit-report"
    ResultsFolder(out).write_all({"a.jpg": chart, "charts/b.jpg": chart})
    if how == "beside":
        photo(out / "P1010009.jpg", NOON)
    elif how == "below":
        photo(out / "charts" / "deeper" / "P1010009.jpg", NOON)
    elif how == "changed":
        photo(out / "a.jpg", NOON.replace(minute=9))
    else:
        (out / "written.json").write_text('{"files": {"a.jpg": [""], "charts/b.jpg": []}}')
    archive = read(folder)
    assert len(archive.table) == {"forged": 4}.get(how, 3)
    assert "that this tool wrote was passed over" in said(archive) or how == "forged"


def test_an_empty_mark_of_ours_hides_no_photographs(walk, photo):
    folder = walk(2)
    for minute, name in enumerate(("audit", "written")):
        photo(folder / name / f"P101001{minute}.jpg", NOON.replace(minute=30 + minute))
        (folder / name / f"{name}.json").write_text("{}")
    assert len(read(folder).table) == 4


def test_numbers_missing_inside_a_session_are_counted(tmp_path, photo):
    for minute, number in enumerate((9997, 9998, 1, 2, 6)):
        photo(tmp_path / f"P{number:04d}.jpg", NOON.replace(minute=minute))
    # By hand: 9999 is missing before the counter rolls over to 1, and 3, 4, 5 before 6.
    assert read(tmp_path).missing_numbers == 4


def test_renamed_files_make_the_missing_numbers_unknown(tmp_path, photo):
    for name in ("gate", "arcade", "stall"):
        photo(tmp_path / f"{name}.jpg", NOON)
    assert read(tmp_path).missing_numbers is None


def test_rows_that_stand_twice_in_a_table_are_counted_once_and_told(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text("file,f_number,focal_length_mm\nA.jpg,8,28\nB.jpg,8,28\nA.jpg,8,28\nA.jpg,5.6,28\n")
    archive = read_archive(Request((path,)))
    assert archive.table["f_number"].tolist() == [8.0, 8.0, 5.6]
    assert any("are repeated" in problem.what for problem in archive.problems)
