"""Frame tables that anyone made: cells are read in the type of their column, and all others as they stand."""

import pytest

from auditor.errors import FileFormatError
from auditor.intake.tables import read_table, to_csv_text

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
