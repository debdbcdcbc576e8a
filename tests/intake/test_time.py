"""Capture times and the cameras' numbering: camera-local time throughout, each camera by its own clock."""

from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from auditor.frames import captured_s, with_columns
from auditor.intake.assembling import read_archive
from auditor.intake.library.numbering import missing_numbers, numbers_in_names
from auditor.intake.statements.session_file import read_session
from auditor.settings import Request


def read(source, **options):
    return read_archive(Request((source,), **options))


def times(archive):
    return {
        file: at.to_pydatetime()
        for file, at in zip(archive.table["file"], archive.table["captured_at"], strict=True)
    }


def write_exif(path, **texts):
    """Write texts into the Exif IFD of a photograph: 0x9011 is OffsetTimeOriginal (Exif 2.31)."""
    tags = {"offset": 0x9011, "serial": 0xA431}
    with Image.open(path) as picture:
        exif = picture.getexif()
        ifd = exif.get_ifd(0x8769)
        for name, text in texts.items():
            ifd[tags[name]] = text
        picture.save(path, exif=exif)


# --- clocks ------------------------------------------------------------------------------------------


def test_an_offset_moves_the_clock_of_its_camera_alone(tmp_path, photo):
    photo(tmp_path / "A0000001.jpg", datetime(2031, 4, 5, 14, 0), camera="body A")
    photo(tmp_path / "B0000001.jpg", datetime(2031, 4, 5, 15, 2, 30), camera="body B")
    photo(tmp_path / "C0000001.jpg", datetime(2031, 4, 5, 14, 5), camera="body C")
    (tmp_path / "session.toml").write_text('[[camera]]\nname = "body B"\nclock_offset = "-1h 2m"\n')
    assert times(read(tmp_path)) == {
        "A0000001.jpg": datetime(2031, 4, 5, 14, 0),
        "B0000001.jpg": datetime(2031, 4, 5, 14, 0, 30),
        "C0000001.jpg": datetime(2031, 4, 5, 14, 5),
    }


def test_two_bodies_of_one_model_are_told_apart_by_their_serial_numbers(tmp_path, photo):
    for name, serial in (("A0000001", "10021234"), ("B0000001", "10025678")):
        photo(tmp_path / f"{name}.jpg", datetime(2031, 4, 5, 14, 0), camera="body")
        write_exif(tmp_path / f"{name}.jpg", serial=serial)
    (tmp_path / "session.toml").write_text('[[camera]]\nname = "body 43f"\nclock_offset = "+30s"\n')
    archive = read(tmp_path)
    assert archive.table["camera"].tolist() == ["body dc0", "body 43f"]
    assert times(archive)["B0000001.jpg"] - times(archive)["A0000001.jpg"] == timedelta(seconds=30)
    assert archive.problems == []


def test_an_entry_without_a_name_is_for_every_camera_that_has_none_of_its_own(tmp_path, photo):
    for name in ("body A", "body B"):
        photo(tmp_path / f"{name[-1]}0000001.jpg", datetime(2031, 4, 5, 14, 0), camera=name)
    (tmp_path / "session.toml").write_text(
        '[[camera]]\nclock_offset = "+1h"\n[[camera]]\nname = "body B"\nclock_offset = "-1h"\n'
    )
    found = times(read(tmp_path))
    assert found["A0000001.jpg"].hour == 15
    assert found["B0000001.jpg"].hour == 13


def test_two_clocks_brought_together_make_one_session_with_one_stretch(tmp_path, photo):
    # Body B was left on the time of a zone 9 hours away: without the offset these are two sessions.
    for i in range(3):
        photo(tmp_path / f"A000000{i}.jpg", datetime(2031, 4, 5, 14, 10 * i), camera="body A")
        photo(tmp_path / f"B000000{i}.jpg", datetime(2031, 4, 5, 23, 10 * i + 5), camera="body B")
    assert read(tmp_path).table["session"].nunique() == 2
    (tmp_path / "session.toml").write_text(
        '[[camera]]\nname = "body B"\nclock_offset = "-9h"\n'
        '[[preset]]\nname = "arcade"\nfocal_length = "28mm"\nf_number = 8\nfocus_distance = "2.5m"\n'
        '[[stretch]]\npreset = "arcade"\nfrom = "14:05"\nto = "14:20"\n'
    )
    table = read(tmp_path).table
    assert table["session"].unique().tolist() == [1]
    covered = table.loc[table["stated_preset"].notna(), "file"].tolist()
    assert sorted(covered) == ["A0000001.jpg", "B0000000.jpg", "B0000001.jpg"]


@pytest.mark.parametrize("offset", ["+09:00", "-03:30", "Z", "   :  "])
def test_an_offset_from_utc_in_the_file_does_not_move_the_cameras_time(tmp_path, photo, offset):
    # DateTimeOriginal is local time and OffsetTimeOriginal only says how far from UTC (Exif 2.31, 4.6.5).
    photo(tmp_path / "P1010001.jpg", datetime(2031, 4, 5, 14, 0, 7), subsec="25")
    write_exif(tmp_path / "P1010001.jpg", offset=offset)
    archive = read(tmp_path)
    assert times(archive)["P1010001.jpg"] == datetime(2031, 4, 5, 14, 0, 7, 250_000)
    assert archive.table["captured_at"].dt.tz is None


def test_a_walk_over_midnight_is_one_session_and_a_stretch_goes_on(tmp_path, photo):
    begin = datetime(2031, 12, 31, 23, 40)
    for i in range(5):
        photo(tmp_path / f"P101000{i + 1}.jpg", begin + timedelta(minutes=10 * i))
    (tmp_path / "session.toml").write_text(
        '[[preset]]\nname = "arcade"\nfocal_length = "28mm"\nf_number = 8\nfocus_distance = "2.5m"\n'
        '[[stretch]]\npreset = "arcade"\nfrom = "23:50"\nto = "2032-01-01 00:20"\n'
    )
    archive = read(tmp_path)
    assert archive.problems == []
    assert archive.table["session"].unique().tolist() == [1]
    assert archive.table["captured_at"].is_monotonic_increasing
    assert archive.table["stated_preset"].notna().tolist() == [False, True, True, True, False]


def test_a_clock_offset_may_carry_a_frame_over_midnight(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", datetime(2032, 1, 1, 0, 30))
    (tmp_path / "session.toml").write_text('[[camera]]\nclock_offset = "-1h"\n')
    assert times(read(tmp_path))["P1010001.jpg"] == datetime(2031, 12, 31, 23, 30)


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "UTC"])
def test_the_change_of_daylight_saving_moves_nothing(tmp_path, photo, monkeypatch, zone):
    # In Berlin 30 March 2031, 02:30 does not exist, and 26 October, 02:30 comes twice (EU Directive 2000/84:
    # last Sundays of March and October, 01:00 UTC). A camera's clock knows nothing of this.
    import time

    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        for i, at in enumerate(
            (datetime(2031, 3, 30, 2, 30), datetime(2031, 3, 30, 3, 0), datetime(2031, 10, 26, 2, 30))
        ):
            photo(tmp_path / f"P101000{i + 1}.jpg", at)
        archive = read(tmp_path)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert list(times(archive).values()) == [
        datetime(2031, 3, 30, 2, 30), datetime(2031, 3, 30, 3, 0), datetime(2031, 10, 26, 2, 30),
    ]  # fmt: skip
    assert archive.table["session"].tolist() == [1, 1, 2]


def test_a_clock_set_back_during_a_walk_keeps_the_times_that_the_camera_wrote(tmp_path, photo):
    # The photographer sets the clock back an hour between the second and third frame.
    for number, minute in ((1, 150), (2, 155), (3, 100), (4, 105)):
        photo(tmp_path / f"P101000{number}.jpg", datetime(2031, 10, 26) + timedelta(minutes=minute))
    archive = read(tmp_path)
    assert [at.minute + 60 * at.hour for at in times(archive).values()] == [150, 155, 100, 105]
    assert archive.table["session"].unique().tolist() == [1]
    assert archive.missing_numbers == 0


def test_a_frame_without_a_time_stays_without_one_whatever_the_offset(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", None)
    photo(tmp_path / "P1010002.jpg", datetime(2031, 4, 5, 14, 0))
    (tmp_path / "session.toml").write_text('[[camera]]\nclock_offset = "-1h"\n')
    table = read(tmp_path).table
    assert table["captured_at"].isna().tolist() == [True, False]
    assert table["session"].tolist() == [2, 1]


def test_an_offset_beyond_the_calendar_does_not_stop_the_run(tmp_path, photo):
    photo(tmp_path / "P1010001.jpg", datetime(2031, 4, 5, 14, 0))
    (tmp_path / "session.toml").write_text('[[camera]]\nclock_offset = "-99999999h"\n')
    assert len(read(tmp_path).table) == 1


def test_the_offset_applies_to_the_selects_too(tmp_path, photo):
    # A renamed select is known by camera and time; both clocks move alike.
    folder = tmp_path / "walk"
    photo(folder / "P1010001.jpg", datetime(2031, 4, 5, 14, 0))
    photo(folder / "P1010002.jpg", datetime(2031, 4, 5, 15, 0))
    photo(folder / "selects" / "my best.jpg", datetime(2031, 4, 5, 15, 0))
    (folder / "session.toml").write_text('[[camera]]\nclock_offset = "-1h"\n[marks]\nkeepers = "selects"\n')
    assert read(folder).table["keeper"].fillna("").tolist() == ["", "yes"]


def test_offsets_are_read_as_people_write_them(tmp_path):
    path = tmp_path / "session.toml"
    for text, seconds in (("-1h", -3600), ("+90s", 90), ("1h 30m", 5400), ("-0h 0m 5s", -5)):
        path.write_text(f'[[camera]]\nclock_offset = "{text}"\n')
        assert read_session(path).cameras[0].clock_offset_s == seconds


# --- numbering: DCF names are four characters and a number from 0001 to 9999 (CIPA DC-009, 3.3.2) --------


def numbered(names, camera="body A", minutes=None):
    n = len(names)
    start = pd.Timestamp("2031-04-05 14:00")
    at = [start + pd.Timedelta(minutes=m) for m in (minutes or range(n))]
    cameras = camera if isinstance(camera, list) else [camera] * n
    table = pd.DataFrame({"file": names, "camera": cameras, "captured_at": at, "session": [1] * n})
    return with_columns(table.assign(**numbers_in_names(names)))


def missing(table):
    cameras = table["camera"].to_numpy(object)
    sessions = table["session"].to_numpy("float64", na_value=np.nan)
    return missing_numbers(table, cameras, sessions, captured_s(table))


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["P1010001.jpg", "P1010002.jpg", "P1010003.jpg"], 0),
        (["P1010001.jpg", "P1010002.jpg", "P1010006.jpg"], 3),
        (["DSC_9998.dng", "DSC_9999.dng", "DSC_0001.dng", "DSC_0002.dng"], 0),  # rolls over to 0001
        (["DSC_9998.dng", "DSC_0002.dng"], 2),  # 9999 and 0001 are missing
        (["P1019999.jpg", "P1020001.jpg"], 0),  # the folder's number in the name counts up as it rolls over
        (["P1019998.jpg", "P1020002.jpg"], 2),
        (["DSC_0001.jpg", "_DSC0002.jpg", "DSC_0003.jpg"], 0),  # Adobe RGB: DCF optional file, same counter
        (["DSC_0001.jpg", "_DSC0004.jpg"], 2),
        (["DSC00001.jpg", "DSC00004.jpg"], 2),
        (["P1010001.jpg", "P1015001.jpg"], 0),  # another card or a reset counter
        (["a/P1010001.jpg", "b/P1010003.jpg"], 1),
        (["P1010001-web.jpg", "P1010003 (2).jpg"], 1),
    ],
)
def test_gaps_in_one_cameras_numbers(names, expected):
    assert missing(numbered(names)) == expected


def test_two_bodies_in_one_folder_are_counted_apart():
    names = ["DSC_0001.jpg", "DSC_5001.jpg", "DSC_0002.jpg", "DSC_5004.jpg", "DSC_0003.jpg"]
    bodies = ["body A", "body B", "body A", "body B", "body A"]
    assert missing(numbered(names, bodies)) == 2
    other_letters = ["DSC_0001.jpg", "P1010044.jpg", "DSC_0002.jpg", "P1010046.jpg"]
    assert missing(numbered(other_letters)) == 1  # without a camera's name its letters tell


@pytest.mark.parametrize(
    "names",
    [
        ["market one.jpg", "market two.jpg"],
        ["2031-04-05 14.00.00.jpg", "2031-04-05 14.00.09.jpg"],
        ["20310405_140000.jpg", "20310405_140009.jpg"],
        ["market-001.jpg", "market-002.jpg", "market-003.jpg"],  # numbered anew after deleting
        ["0001.jpg", "0007.jpg"],
        ["1a2b3c4d.jpg", "99887766.jpg"],
    ],
)
def test_renamed_files_tell_nothing_rather_than_that_nothing_is_missing(names):
    assert missing(numbered(names)) is None


def test_renamed_files_among_many_others_do_not_hide_them_and_gaps_do_not_span_sessions():
    names = ["P1010001.jpg", "P1010002.jpg", "best of all.jpg", "P1010005.jpg"]
    assert missing(numbered(names)) == 2
    table = numbered(["P1010001.jpg", "P1010009.jpg"])
    table["session"] = pd.array([1, 2], dtype="Int64")
    assert missing(table) == 0


def test_frames_of_one_second_are_ordered_by_their_numbers():
    names = ["P1010003.jpg", "P1010001.jpg", "P1010002.jpg"]
    assert missing(numbered(names, minutes=[0, 0, 0])) == 0


def test_one_second_across_the_roll_over_is_not_a_gap():
    names = ["DSC_9999.jpg", "DSC_0001.jpg", "DSC_9998.jpg"]
    assert missing(numbered(names, minutes=[0, 0, 0])) == 0
