"""How long, how deep and how often things may stand in a session file."""

from __future__ import annotations

import pytest

from auditor.errors import FileFormatError
from auditor.intake.statements.door import read_toml
from auditor.intake.statements.session_file import read_session


def session(tmp_path, text):
    path = tmp_path / "session.toml"
    path.write_text(text, encoding="utf-8")
    return read_session(path)


def test_a_very_long_number_is_not_spelt_out(tmp_path):
    (problem,) = session(tmp_path, f"[marks]\nunmarked = {2**200 - 1}\n").problems
    assert f"unmarked = {str(2**200 - 1)[:20]}" in problem.what
    (problem,) = session(tmp_path, f"[marks]\nunmarked = {2**200}\n").problems
    assert "unmarked = a very long number" in problem.what


def test_of_two_presets_of_one_name_the_first_is_used_and_one_without_a_name_is_none(tmp_path):
    text = '[[preset]]\nname = "a"\nf_number = 8\n[[preset]]\nname = "a"\nf_number = 11\n'
    text += "[[preset]]\nf_number = 4\n"
    read = session(tmp_path, text)
    assert [(preset.name, preset.f_number) for preset in read.presets] == [("a", 8.0)]
    assert [problem.what for problem in read.problems] == [
        "The preset 'a' is there twice.",
        "A [[preset]] has no name.",
    ]


@pytest.mark.parametrize(
    ("line", "is_allowed"),
    [("#" + "x" * 19_999, True), ("#" + "x" * 20_000, False), ("#" + "." * 200, True),
     ("#" + "." * 201, False)],
)  # fmt: skip
def test_a_line_of_a_session_file_has_a_largest_length_and_depth(tmp_path, line, is_allowed):
    (tmp_path / "a.toml").write_text(f"a = 1\n{line}\n")
    if is_allowed:
        assert read_toml(tmp_path / "a.toml")[0] == {"a": 1}
    else:
        with pytest.raises(FileFormatError, match="line 2, is too long"):
            read_toml(tmp_path / "a.toml")


def test_brackets_nested_too_deeply_are_named_by_their_line(tmp_path):
    (tmp_path / "a.toml").write_text("a = 1\nb = " + "[" * 9_000 + "]" * 9_000 + "\nc = 2\n")
    with pytest.raises(FileFormatError, match=r"nested too deeply \(line 2\)"):
        read_toml(tmp_path / "a.toml")


@pytest.mark.parametrize("value", ["true", "[8]", "{ a = 8 }"])
def test_a_quantity_is_a_text_or_a_number(tmp_path, value):
    (problem,) = session(tmp_path, f"[advice]\nf_number_min = {value}\n").problems
    assert problem.what.endswith(" is not allowed.")
    assert problem.next == "It needs a text in quotes with its unit."
