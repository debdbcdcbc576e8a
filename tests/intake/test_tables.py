"""Frame tables that anyone made: cells are read in the type of their column, and all others as they stand."""

import math

import numpy as np
import pandas as pd
import pytest

from auditor.errors import FileFormatError, OutputError
from auditor.frames import with_columns
from auditor.intake import tables
from auditor.intake.tables import (
    csv_parts,
    files_named,
    is_table,
    neutralised,
    read_table,
    restored,
    time_texts,
    to_csv_text,
    to_json_rows,
    write_table,
)

HEAD = "file,f_number,iso,preset,keeper,in_preset,session,extra\n"


@pytest.fixture
def read(tmp_path):
    def of(text):
        path = tmp_path / "frames.csv"
        path.write_text(text)
        table, problems = read_table(path)
        return table, [problem.what for problem in problems]

    return of


def test_each_column_is_read_in_its_type_and_a_further_one_as_it_stands(read):
    table, problems = read(f"{HEAD}a.jpg,8,1e2,1,Y,TRUE,2,007\n'=b.jpg,5.6,,'-x,no,0,,1.50\n")
    assert not problems
    assert table["file"].tolist() == ["a.jpg", "=b.jpg"]
    assert table["f_number"].tolist() == [8.0, 5.6]
    assert table["iso"].iloc[0] == 100
    assert table["iso"].isna().tolist() == [False, True]
    assert table["preset"].tolist() == ["1", "-x"]
    assert table["keeper"].tolist() == ["yes", "no"]
    assert table["in_preset"].tolist() == [True, False]
    assert table["session"].iloc[0] == 2
    assert table["extra"].tolist() == ["007", "1.50"]


@pytest.mark.parametrize("cell", ["abc", "nan", "True", "1,5", "99999999999999999999"])
def test_a_figure_that_is_none_is_unknown_and_named(read, cell):
    table, problems = read(f'file,session\na.jpg,"{cell}"\nb.jpg,\n')
    assert table["session"].isna().all()
    assert problems == [f"1 cells cannot be read, the first is {cell!r}."]


def test_decimal_commas_are_read_between_semicolons(read):
    table, problems = read("file;f_number;iso;subject_distance_m\na.jpg;5,6;100;2.5\nb.jpg;8;1,5e2;\n")
    assert not problems
    assert table["f_number"].tolist() == [5.6, 8.0]
    assert table["iso"].tolist() == [100.0, 150.0]
    assert table["subject_distance_m"].iloc[0] == 2.5


def test_rows_of_one_name_are_repeated_only_where_every_cell_is_alike(read):
    table, problems = read("file,f_number\na.jpg,8\na.jpg,5.6\na.jpg,8\nb.jpg,8\n")
    assert table["file"].tolist() == ["a.jpg", "a.jpg", "b.jpg"]
    assert problems == ["1 rows are repeated, cell by cell."]


def test_a_table_written_and_read_is_the_same_text(read):
    text = to_csv_text(read("file,captured_at,has_subseconds\na.jpg,2031-04-05T10:00:00.250+02:00,true\n")[0])
    assert to_csv_text(read(text)[0]) == text
    assert "2031-04-05T10:00:00.25," in text


def test_notes_are_not_taken_for_a_table_of_frames(tmp_path):
    notes, table = tmp_path / "april.csv", tmp_path / "mine.csv"
    notes.write_text("File;Subject_Distance;Keeper\nP1.jpg;4ft;yes\n")
    table.write_text("file,f_number,subject_distance,exposure_time_s\nP1.jpg,8,2,0.01\n")
    with pytest.raises(FileFormatError, match=r"april\.csv holds notes, not frames"):
        read_table(notes)
    assert len(read_table(table)[0]) == 1


@pytest.mark.parametrize(
    "text", ["'tis", "it's", "'", "=1+1", "+49", "-x", "@you", "\tx", "P1.jpg", "'=1", "''"]
)
def test_any_text_comes_back_as_it_was_and_none_is_run(text):
    assert restored(neutralised(text)) == text
    assert neutralised(text)[0] not in "=+-@\t"
    assert restored("'tis") == "'tis"


def test_times_are_written_with_a_fraction_only_where_the_camera_wrote_one():
    whole = pd.Timestamp("2031-04-05T10:00:00")
    times = pd.Series([whole, whole, whole + pd.Timedelta(milliseconds=125), None], dtype="datetime64[us]")
    known = pd.array([False, True, None, True], dtype="boolean")
    table = pd.DataFrame({"captured_at": times, "has_subseconds": known})
    texts = ["2031-04-05T10:00:00", "2031-04-05T10:00:00.00", "2031-04-05T10:00:00.125", None]
    assert time_texts(table).tolist() == texts
    assert [row["captured_at"] for row in to_json_rows(table)] == texts
    plain = to_json_rows(table[["captured_at"]])
    assert len(plain) == 4
    assert to_json_rows(table[["has_subseconds"]])[0] == {"has_subseconds": False}


def test_a_table_without_names_of_frames_is_none_and_rows_without_one_are_left_out(read, tmp_path):
    with pytest.raises(FileFormatError, match="has no column 'file' or no row"):
        read("f_number,iso\n8,100\n")
    with pytest.raises(FileFormatError, match="has no column 'file' or no row"):
        read("file,iso\n,100\n")
    table, problems = read("file,iso\na.jpg,100\n,200\n")
    assert table["file"].tolist() == ["a.jpg"]
    assert problems == ["1 rows have no name in the column 'file'."]


def test_what_is_wrong_with_a_table_is_told(tmp_path):
    path = tmp_path / "frames.json"
    path.write_text('{"file": ["a.jpg", "b.jpg"], "iso": [100]}')
    with pytest.raises(
        FileFormatError, match="cannot be read as a table: All arrays must be of the same length"
    ):
        read_table(path)


def test_between_semicolons_commas_of_texts_stay(read):
    table, problems = read("file;lens;f_number;extra\na.jpg;28,5 mm;5,6;1,5\n")
    assert not problems
    assert table[["lens", "f_number", "extra"]].iloc[0].tolist() == ["28,5 mm", 5.6, "1,5"]


@pytest.mark.parametrize("end", ["", "\n"])
@pytest.mark.parametrize("head", ["", "sep=,\n"])
def test_an_open_mark_swallows_no_row_also_at_the_end(read, end, head):
    table, problems = read(f'{head}file,preset,reason\na.jpg,"x,y\nb.jpg,1,2\nc.jpg,"z,w{end}')
    assert table["file"].tolist() == ["a.jpg", "b.jpg", "c.jpg"]
    assert any("opened and not closed" in problem for problem in problems)


def test_a_column_that_is_there_twice_counts_once(read):
    table, problems = read("file,iso,ISO\na.jpg,100,200\n")
    assert table["iso"].tolist() == [100]
    assert problems == ["The column 'iso' is there twice."]


@pytest.mark.parametrize(("cell", "is_read"), [("9007199254740991", True), ("9007199254740992", False)])
def test_whole_numbers_are_read_as_far_as_they_are_exact(read, cell, is_read):
    """Up to 2^53 (IEEE 754, binary64)."""
    table, _ = read(f"file,session\na.jpg,{cell}\n")
    assert table["session"].notna().item() == is_read


def test_the_names_of_a_table_are_found_without_reading_all_of_it(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text("iso,file\n100,a.jpg\n200\n300,'=b.jpg\n400,c.jpg\n")
    assert files_named(path, 9) == ["a.jpg", "=b.jpg", "c.jpg"]
    assert files_named(path, 1) == ["a.jpg"]
    path.write_text("iso\n100\n")
    assert files_named(path, 9) == []


def test_infinity_in_json_has_its_own_key(tmp_path):
    path = tmp_path / "frames.json"
    path.write_text(
        '[{"file": "a", "far_limit_m": null, "far_limit_m_is_infinite": true},'
        ' {"file": "b", "far_limit_m": 3, "far_limit_m_is_infinite": false},'
        ' {"file": "c", "far_limit_m": null}]'
    )
    assert read_table(path)[0]["far_limit_m"].tolist() == pytest.approx([math.inf, 3, math.nan], nan_ok=True)


@pytest.mark.parametrize("end", ["", "\n", "\n\n"])
@pytest.mark.parametrize("head", ["", "sep=,\n"])
def test_a_cell_on_one_line_may_be_as_long_as_it_likes(read, head, end):
    """Rows are looked through for open marks only where cells go over several lines."""
    table, problems = read(f"{head}file,extra\na.jpg,{'x' * 20_001}\nb.jpg,y{end}")
    assert table["extra"].str.len().tolist() == [20_001, 1]
    assert not problems


def test_a_table_is_written_cell_by_cell_as_csv_has_it():
    table = pd.DataFrame(
        {
            "file": ["a, b.jpg", "=c.jpg", 'd"e.jpg', None],
            "in_preset": pd.array([True, False, None, True], dtype="boolean"),
            "f_number": [8.0, math.nan, math.inf, 5.6],
            "session": pd.array([1, 2, None, 1], dtype="Int64"),
            "captured_at": pd.Series(
                [pd.Timestamp("2031-04-05 12:00:00")] + [None] * 3, dtype="datetime64[us]"
            ),
            "whole": [1, 2, 3, 4],
            "more": ["x;y", "one\ntwo", "-1", "-1"],
        }
    )
    assert to_csv_text(table) == (
        "file,in_preset,f_number,session,captured_at,whole,more\n"
        '"a, b.jpg",true,8.0,1,2031-04-05 12:00:00,1,"x;y"\n'
        '\'=c.jpg,false,,2,,2,"one\ntwo"\n'
        '"d""e.jpg",,inf,,,3,\'-1\n'
        ",true,5.6,1,,4,'-1\n"
    )
    assert to_csv_text(pd.DataFrame({"a,b": ["x", None, "y"]})) == '"a,b"\nx\n""\ny\n'
    assert to_csv_text(table.iloc[:0]).count("\n") == 1


@pytest.mark.parametrize("rows", [1, 2, 3, 7])
def test_a_long_table_is_written_in_parts_that_make_the_same_text(rows, monkeypatch):
    table = pd.DataFrame({"file": [f"P{i}" for i in range(6)], "iso": range(6)})
    whole = to_csv_text(table)
    monkeypatch.setattr(tables, "CSV_ROWS", rows)
    parts = list(csv_parts(table))
    assert "".join(parts) == whole
    assert len(parts) == 1 + -(-6 // rows)


def test_a_frame_table_is_a_file_and_has_an_ending_of_one(tmp_path):
    for name in ("a.csv", "b.JSON", "c.parquet", "d.jpg", "e"):
        (tmp_path / name).touch()
    (tmp_path / "folder.csv").mkdir()
    found = sorted(path.name for path in tmp_path.iterdir() if is_table(path))
    assert found == ["a.csv", "b.JSON", "c.parquet"]
    assert not is_table(tmp_path / "none.csv")


@pytest.mark.parametrize("name", ["a.csv", "a.json", "a.JSON", "a.parquet"])
def test_a_table_comes_back_from_each_kind_of_file(tmp_path, name):
    if name.endswith("parquet"):
        pytest.importorskip("pyarrow")
    table = with_columns(
        pd.DataFrame({"file": ["'=a", "b"], "f_number": [8.0, None], "far_limit_m": [math.inf, 2.0]})
    )
    write_table(table, tmp_path / name)
    read_back, problems = read_table(tmp_path / name)
    assert not problems
    assert read_back["file"].tolist() == ["'=a", "b"]
    assert read_back["far_limit_m"].tolist() == [math.inf, 2.0]
    assert read_back["f_number"].isna().tolist() == [False, True]
    with pytest.raises(OutputError, match=r"ends in \.txt"):
        write_table(table, tmp_path / "a.txt")


def test_whether_a_time_has_a_fraction_is_seen_where_no_column_says_so(read):
    times = ["2031-04-05T10:00:00.5", "2031-04-05T10:00:00"]
    table, _ = read("file,captured_at\n" + "".join(f"P{i},{at}\n" for i, at in enumerate(times)))
    assert table["has_subseconds"].tolist() == [True, False]
    table, _ = read(
        "file,captured_at,has_subseconds\n" + "".join(f"P{i},{at},false\n" for i, at in enumerate(times))
    )
    assert table["has_subseconds"].tolist() == [False, False]


def test_numbers_below_nought_are_written_as_numbers_and_only_texts_are_kept_from_running():
    table = pd.DataFrame(
        {"file": ["a", "-b"], "defocus_mm": [-0.5, np.nan], "whole": [-3, 4], "yes": [True, False]}
    )
    assert to_csv_text(table) == "file,defocus_mm,whole,yes\na,-0.5,-3,True\n'-b,,4,False\n"
    known = table.astype({"whole": "Int64", "yes": "boolean"})
    assert to_csv_text(known).splitlines()[1:] == ["a,-0.5,-3,true", "'-b,,4,false"]
