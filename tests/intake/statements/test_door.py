"""Files that people write: every encoding and habit of spreadsheets, and nothing that stops the run."""

from __future__ import annotations

import codecs
import os
import time
from contextlib import suppress
from datetime import datetime
from pathlib import Path

import pandas as pd
import pytest

from auditor.errors import FileFormatError
from auditor.intake.assembling import read_archive
from auditor.intake.photofile.xmp import XmpError, read_sidecar
from auditor.intake.statements import door
from auditor.intake.statements.door import (
    MIB,
    read_bytes,
    read_json,
    read_rows,
    read_text,
    read_toml,
    separated_by,
)
from auditor.intake.statements.notes import SAMPLE_READERS, read_notes
from auditor.intake.statements.session_file import read_session
from auditor.intake.tables import read_table
from auditor.settings import Request
from auditor.units import parse_distance_m, parse_focal_length_mm

LIMIT_S = 2.0  # of processor time


@pytest.fixture
def in_time():
    """Fails where the test takes longer than two seconds of processor time."""
    began = time.process_time()
    yield
    assert time.process_time() - began < LIMIT_S


TABLE = "file,keeper,reason\nP1010001,yes,späte Sonne\nP1010002,no,\n"
HABITS = {
    "as it is": TABLE.encode(),
    "with a mark": codecs.BOM_UTF8 + TABLE.encode(),
    "UTF-16": TABLE.encode("utf-16"),
    "UTF-16 without mark": TABLE.encode("utf-16-le"),
    "UTF-16 big end first": codecs.BOM_UTF16_BE + TABLE.encode("utf-16-be"),
    "UTF-32": TABLE.encode("utf-32"),
    "old line ends": TABLE.replace("\n", "\r").encode(),
    "other line ends": TABLE.replace("\n", "\r\n").encode(),
    "semicolons": TABLE.replace(",", ";").encode(),
    "sep=;": b"sep=;\r\n" + TABLE.replace(",", ";").encode(),
    "tabs": TABLE.replace(",", "\t").encode(),
    "capital, padded heads": TABLE.replace("file,keeper", " File , KEEPER").encode(),
    "an empty line first": b"\n" + TABLE.encode(),
}


@pytest.mark.parametrize("habit", HABITS)
def test_notes_are_read_however_they_were_saved(tmp_path, habit):
    path = tmp_path / "notes.csv"
    path.write_bytes(HABITS[habit])
    notes, problems = read_notes(path)
    assert problems == []
    assert [(n.frame, n.values) for n in notes] == [  # noqa: PD011
        ("P1010001", {"keeper": "yes", "reason": "späte Sonne"}),
        ("P1010002", {"keeper": "no"}),
    ]


@pytest.mark.parametrize("habit", HABITS)
def test_frame_tables_are_read_however_they_were_saved(tmp_path, habit):
    path = tmp_path / "frames.csv"
    path.write_bytes(HABITS[habit])
    table, problems = read_table(path)
    assert problems == []
    assert table["file"].tolist() == ["P1010001", "P1010002"]
    assert table["keeper"].tolist() == ["yes", "no"]


def test_decimal_commas_of_a_frame_table(tmp_path):
    (tmp_path / "frames.csv").write_text("file;f_number;subject_distance_m\na;5,6;2,5\n")
    table, problems = read_table(tmp_path / "frames.csv")
    assert (problems, table["f_number"][0], table["subject_distance_m"][0]) == ([], 5.6, 2.5)


def test_what_is_no_text_is_one_error_with_its_line(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_bytes(b"file,reason\na,b\nc,sp\xe4t\n")
    with pytest.raises(FileFormatError, match="line 3"):
        read_notes(path)


@pytest.mark.parametrize("next_mark", ['P1010009,"ok"\n', ""])
def test_an_open_quotation_mark_is_found_with_its_line_and_costs_no_other_row(tmp_path, next_mark):
    path = tmp_path / "notes.csv"
    rows = [f"P101{i:04d},seen\n" for i in range(2, 80)]
    path.write_text('file,reason\nP1010001,"late light\n' + "".join(rows) + next_mark)
    notes, problems = read_notes(path)
    assert [p.file for p in problems] == [f"{path}, line 2"]
    assert "quotation mark" in problems[0].what
    assert len(notes) == 79 + bool(next_mark)
    assert notes[0].values == {"reason": "late light"}  # noqa: PD011


def test_an_open_quotation_mark_of_a_frame_table_is_found_too(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text('file,reason\na,"late\n' + "".join(f"b{i},seen\n" for i in range(20)) + 'c,"ok"\n')
    table, problems = read_table(path)
    assert len(table) == 22
    assert [p.file for p in problems] == [f"{path}, line 2"]


def test_a_space_behind_a_closed_text_opens_nothing(tmp_path):
    """People type it; a separator within the text stays one."""
    path = tmp_path / "notes.csv"
    path.write_text('file,reason,subject_distance\na,"late, cold" ,2m\nb,"first\nsecond, third" ,3m\n')
    notes, problems = read_notes(path)
    assert problems == []
    assert [note.values for note in notes] == [  # noqa: PD011
        {"reason": "late, cold", "subject_distance": (2.0,)},
        {"reason": "first\nsecond, third", "subject_distance": (3.0,)},
    ]


def test_two_open_marks_in_a_row_cost_no_row(tmp_path):
    """The second mark looks like the end of the first one's text, but for what follows it."""
    path = tmp_path / "notes.csv"
    path.write_text('file,reason\na,"late, cold\nb,"wet, dark\nc,seen\n')
    notes, problems = read_notes(path)
    assert [note.frame for note in notes] == ["a", "b", "c"]
    assert [problem.file for problem in problems][:2] == [f"{path}, line 2", f"{path}, line 3"]


def test_texts_over_several_lines_and_inches_are_no_open_marks(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text('file,subject_distance,reason\na,6ft 6",\nb,2m,"first\nsecond; ""third"""\nc,3m,x\n')
    notes, problems = read_notes(path)
    assert problems == []
    assert notes[1].values["reason"] == 'first\nsecond; "third"'  # noqa: PD011
    assert len(notes) == 3


@pytest.mark.parametrize("code", ["utf-16-le", "utf-16-be"])
def test_a_text_is_taken_for_utf_16_where_more_than_seven_of_ten_letters_are_latin(tmp_path, code):
    path = tmp_path / "notes.csv"
    for latin, is_read in ((7, False), (8, True), (10, True)):
        text = "a" * latin + "ł" * (10 - latin)
        path.write_bytes(text.encode(code))
        assert (read_text(path) == text) is is_read
    path.write_bytes("aaał".encode(code) + b"a")  # cut in the middle of a letter
    with pytest.raises(FileFormatError, match="is not UTF-8 text"):
        read_text(path)
    path.write_bytes(b"")
    assert read_text(path) == ""


@pytest.mark.parametrize(
    ("lines", "skip", "sign"),
    [
        (["a,b;c;d", "x"], 0, ";"),
        (["a,b", "1;2;3"], 0, ","),  # the heads tell
        (["", " ", "a\tb"], 2, "\t"),
        (["sep=;", "a,b,c"], 1, ";"),
        (['"Sep=,"', "a;b;c"], 1, ","),
        (["sep=\t", "a;b"], 1, "\t"),
        (["sep=ab", "a;b"], 0, ","),
        (["files", "a;b"], 0, ","),
        ([], 0, ","),
        (["", ""], 0, ","),
    ],
)
def test_what_stands_between_cells_is_named_or_the_most_frequent_sign(lines, skip, sign):
    assert separated_by(lines) == (skip, sign)


def rows_of(path, text, **options):
    path.write_text(text)
    header, rows, problems = read_rows(path, **options)
    return header, list(rows), [(str(p.file).rpartition(" ")[2], p.what) for p in problems]


def test_each_row_comes_with_the_line_where_it_begins(tmp_path):
    path = tmp_path / "notes.csv"
    text = 'File, Reason\n a , x\n\n,\nb,"two\n lines"\nc,y\n'
    rows = [(2, ["a", "x"]), (5, ["b", "two\n lines"]), (7, ["c", "y"])]
    assert rows_of(path, text) == (["file", "reason"], rows, [])
    assert rows_of(path, text, most=2) == (["file", "reason"], rows[:1], [])


OPEN = [("2", "A quotation mark is opened and not closed.")]


@pytest.mark.parametrize(
    ("text", "cells", "said"),
    [
        ('a,"1\nb,x"', ["a", "1\nb,x"], []),  # the mark closes on the last line
        ('a,"1\n2\n3",x', ["a", "1\n2\n3", "x"], []),
        ('a,"1\n2,2\n3"', ["a", "1"], OPEN),  # a line between with as many cells is a row
        ('a,x,"1\n2,2\n3"', ["a", "x", "1\n2,2\n3"], []),
        ('a,x,"1\n2,2,2\n3"', ["a", "x", "1"], OPEN),
        ('"1\n2\n3"', ["1\n2\n3"], []),
        ('"1\n2,2\n3"', ["1"], OPEN),
        ('a,"' + "1\n" * 49 + '1"', ["a", "1\n" * 49 + "1"], []),  # fifty lines
        ('a,"' + "1\n" * 50 + '1"', ["a", "1"], OPEN),
    ],
)
def test_a_cell_in_quotes_goes_over_several_lines_but_not_over_rows(tmp_path, text, cells, said):
    _, rows, problems = rows_of(tmp_path / "notes.csv", f"file,more,text\n{text}\nz,last\n")
    assert rows[0] == (2, cells)
    assert rows[-1][1] == ["z", "last"]
    assert problems[: len(said)] == said
    assert bool(problems) is bool(said)


def test_cells_and_lines_are_read_up_to_their_longest(tmp_path, monkeypatch):
    monkeypatch.setattr(door, "LONGEST_CELL", 10)
    monkeypatch.setattr(door, "LONGEST_LINE", 20)
    path = tmp_path / "notes.csv"
    assert rows_of(path, "a\n123456789,1234567890\n")[1:] == ([(2, ["123456789", "1234567890"])], [])
    _, rows, said = rows_of(path, "a\nb\n1234567890,1234567890\n")
    assert rows[-1] == (3, ["1234567890", "123456789"])
    assert said == [("3", "The line is longer than 20 characters.")]
    _, rows, said = rows_of(path, "a\n12345678901,1\n")
    assert rows == [(2, ["", "1"])]
    assert said == [("2", "A cell holds more than 10 characters.")]


def test_a_files_size_may_reach_what_is_allowed(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_bytes(b"a" * MIB)
    assert len(read_bytes(path, MIB)) == MIB
    path.write_bytes(b"a" * (MIB + 1))
    with pytest.raises(FileFormatError, match="is larger than 1 MB"):
        read_bytes(path, MIB)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("# " + "x" * 19_998, None),
        ("# " + "x" * 19_999, "line 2, is too long or too deeply nested"),
        ("# " + "." * 200, None),
        ("# " + "." * 201, "line 2, is too long or too deeply nested"),
        ("a = " + "1" * 5000, r"brackets are nested too deeply \(line 2\)"),
        ("a = ", "line 2"),
    ],
)
def test_a_setting_that_cannot_be_is_told_with_its_line(tmp_path, line, told):
    path = tmp_path / "session.toml"
    path.write_text(f"[light]\n{line}\n[marks]\n")
    if told is None:
        assert read_toml(path)[0] == {"light": {}, "marks": {}}
    else:
        with pytest.raises(FileFormatError, match=told):
            read_toml(path)


@pytest.mark.parametrize("kind", ["pipe", "device", "folder", "missing", "loop"])
@pytest.mark.parametrize(
    "read", [read_text, read_toml, read_json, read_rows, read_session, read_notes, read_table]
)
def test_only_ordinary_files_are_opened(tmp_path, kind, read):
    path = tmp_path / "named.csv"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path = Path("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    elif kind == "loop":
        path.symlink_to(path)
    with pytest.raises(FileFormatError) as error:
        read(path)
    assert str(path) in error.value.what
    assert error.value.next_step


def test_a_file_without_end_is_refused_by_its_size(tmp_path):
    path = tmp_path / "session.toml"
    with path.open("wb") as file:
        file.truncate(1 << 40)
    with pytest.raises(FileFormatError, match="larger than"):
        read_session(path)


WRONG = [("f_number", "-8"), ("f_number", "1e400"), ("focal_length_mm", "0"), ("sample_weight", "inf"),
         ("subject_distance_m", "-1"), ("iso", "-100"), ("exposure_time_s", "inf"), ("pixel_width", "1e19"),
         ("subject_distance_rel_sd", "-0.1")]  # fmt: skip


@pytest.mark.parametrize(("column", "cell"), WRONG)
@pytest.mark.parametrize("ending", ["csv", "json"])
def test_a_value_out_of_range_is_unknown_and_said(tmp_path, column, cell, ending):
    path = tmp_path / f"frames.{ending}"
    if ending == "csv":
        path.write_text(f"file,{column}\na,{cell}\n")
    else:
        path.write_text(f'[{{"file": "a", "{column}": {cell.replace("inf", "1e999")}}}]')
    table, problems = read_table(path)
    assert pd.isna(table[column][0])
    assert f"column {column}" in str(problems[0].file)


@pytest.mark.parametrize("cell", ["inf", "1e13", "-1", "0"])
def test_a_weight_out_of_range_is_refused(tmp_path, cell):
    (tmp_path / "sample.csv").write_text(f"file,sample_weight\na,{cell}\n")
    notes, problems = read_notes(tmp_path / "sample.csv", SAMPLE_READERS)
    assert notes[0].values == {}  # noqa: PD011
    assert len(problems) == 1


@pytest.mark.parametrize("zone", ["Z", "+02:00", "-0530", ""])
def test_a_time_with_a_zone_is_the_camera_s_own(tmp_path, zone):
    (tmp_path / "frames.csv").write_text(
        f"file,captured_at\na,2031-04-05T12:00:00.25{zone}\nb,2031-04-05T12:00\n"
    )
    table, problems = read_table(tmp_path / "frames.csv")
    assert problems == []
    assert table["captured_at"][0] == pd.Timestamp("2031-04-05T12:00:00.25")


@pytest.mark.parametrize(
    ("text", "metres"),
    [("0,7m", 0.7), ("6’ 6”", 1.9812), ("6' 6''", 1.9812), ("6′ 6″", 1.9812),
     ("2\u00a0m", 2), ("7’", 2.1336), ("2.5M", 2.5)],
)  # fmt: skip
def test_typed_distances_are_taken_as_people_type_them(text, metres):
    assert parse_distance_m(text) == pytest.approx(metres, rel=1e-12)


def test_a_bare_focal_length_is_in_millimetres():
    assert parse_focal_length_mm("28") == parse_focal_length_mm("28 mm") == 28


# --- nothing takes long ---------------------------------------------------------------------------------


def presets(count: int, of: str = "p{i}") -> str:
    one = '[[preset]]\nname = "{name}"\nfocal_length = "28mm"\nf_number = 8\nfocus_distance = "2.5m"\n'
    return "".join(one.format(name=of.format(i=i)) for i in range(count))


def stretches(count: int, of: str) -> str:
    one = '[[stretch]]\npreset = "{preset}"\nfrom = "{start}"\n'
    return "".join(
        one.format(preset=of.format(i=i), start=START.get(of, "X{i}").format(i=i, hour=i % 24, minute=i % 60))
        for i in range(count)
    )


START = {"p0": "2031-04-05 {hour:02d}:{minute:02d}"}
SLOW_SESSIONS = {
    "3,000 presets": presets(3000),
    "3,000 of one name": presets(3000, "same"),
    "3,000 bad presets": presets(3000).replace("= 8", "= -8").replace("2.5m", "2.5"),
    "1,500 stretches": presets(1) + stretches(1500, "p0"),
    "1,500 lost stretches": presets(1) + stretches(1500, "p0").replace("2031-04-05 ", "X"),
    "1,500 stretches of none": presets(1000) + stretches(1500, "q{i}"),
    "a long number": "[subject]\nspeed_m_s = " + "9" * 100_000,
    "a number at the limit": "[subject]\nspeed_m_s = " + "9" * 4000,
    "a long hexadecimal number": "[subject]\nspeed_m_s = 0x" + "f" * 15_000,
    "long quantities": presets(1).replace("2.5m", "1" * 15_000 + "m"),
    "deep": "x = " + "[" * 15_000,
    "deep names": "a." * 100_000 + "b = 1",
    "many headers": "".join(f"[x{i}]\n" for i in range(5000)),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("case", SLOW_SESSIONS)
def test_no_session_file_takes_long(walk, case, in_time):
    folder = walk(20)
    (folder / "session.toml").write_text(SLOW_SESSIONS[case])
    assert len(read_archive(Request((folder,))).table) == 20


SLOW_NOTES = {
    "20,000 unmatched": "".join(f"Q{i:07d},yes\n" for i in range(20_000)),
    "20,000 open marks": "".join(f'Q{i:07d},"\n' for i in range(20_000)),
    "long": "P1010001," + "y" * 10_000_000,
    "long quantities": "P1010001," + "1" * 100_000 + "m\n",
}


@pytest.mark.slow
@pytest.mark.parametrize("case", SLOW_NOTES)
@pytest.mark.parametrize("column", ["keeper", "subject_distance"])
def test_no_notes_take_long(walk, case, column, in_time):
    folder = walk(20)
    (folder / "notes.csv").write_text(f"file,{column}\n{SLOW_NOTES[case]}")
    archive = read_archive(Request((folder,)))
    assert len(archive.table) == 20
    assert archive.problems


@pytest.mark.slow
@pytest.mark.parametrize("property_", ["xmp:x{i}", "rdf:li", "xmp:Rating"])
def test_no_sidecar_takes_long(tmp_path, property_, in_time):
    path = tmp_path / "a.xmp"
    children = "".join(
        f"<{name}>{'z' * 50}</{name}>" for i in range(49_000) for name in [property_.format(i=i)]
    )
    head = '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    about = '<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:Label>'
    path.write_text(f"{head}{about}{children}</xmp:Label></rdf:Description></rdf:RDF></x:xmpmeta>")
    assert 3_000_000 < path.stat().st_size < 5_000_000
    with suppress(XmpError):
        read_sidecar(str(path))


def test_a_pipe_among_the_photographs_stops_nothing(walk, in_time):
    folder = walk(3)
    for name in ("pipe.jpg", "pipe.xmp", "notes.csv", "session.toml"):
        os.mkfifo(folder / name)
    archive = read_archive(Request((folder,)))
    assert len(archive.table) == 3
    assert archive.unreadable == 1
    assert {Path(str(p.file)).name for p in archive.problems} >= {"pipe.jpg", "notes.csv", "session.toml"}


def test_a_value_far_too_large_costs_no_file(tmp_path, photo):
    """A pixel size of 1e19 in one file: the others are read, and it too."""
    from PIL import Image

    photo(tmp_path / "P1010001.jpg", datetime(2031, 4, 5, 12, 0))
    with Image.open(tmp_path / "P1010001.jpg") as picture:
        exif = picture.getexif()
    exif.get_ifd(0x8769)[0xA002] = 1e19
    Image.new("RGB", (24, 16)).save(tmp_path / "P1010002.jpg", exif=exif)
    archive = read_archive(Request((tmp_path,)))
    assert archive.table["file"].tolist() == ["P1010001.jpg", "P1010002.jpg"]
