"""The session file: what is read, and what is said of each mistake."""

import math

import pytest

from auditor.cli.typed import read_f_stops
from auditor.errors import FileFormatError
from auditor.intake.statements import session_file
from auditor.intake.statements.session_file import read_session


def session(tmp_path, text):
    path = tmp_path / "session.toml"
    path.write_text(text, encoding="utf-8")
    return read_session(path)


WHOLE = """
[distances]
from = "lens"
in_files = "subject"
[[camera]]
name = "body A"
sensor = "1.5x"
clock_offset = "-1h"
[[lens]]
name = "28 mm"
focal_length = "28mm"
f_stops = [2.8, 4, 8]
ring = ["1m", "2m", "inf"]
[[preset]]
name = "arcade"
lens = "28 mm"
f_number = 8
focus_distance = "8ft"
[[stretch]]
preset = "arcade"
from = "14:05"
to = "15:20"
camera = "body A"
[light]
iso_max = 6400
wanted_shutter = "1/500"
[marks]
keepers = "selects"
min_rating = 2
keeper_labels = ["Green"]
unmarked = "not-kept"
culled_to = "P1010630"
[subject]
speed_m_s = 0
guess_sd = 0.2
[advice]
worth = "15%"
"""


def test_every_table_and_key_of_the_design_is_read(tmp_path):
    read = session(tmp_path, WHOLE)
    assert read.problems == ()
    assert (read.distances_from, read.in_files) == ("lens", "subject")
    assert read.cameras[0].clock_offset_s == -3600
    assert read.cameras[0].sensor is not None
    assert read.cameras[0].sensor.width_mm == pytest.approx(24.0, rel=1e-9)
    assert read.lenses[0].ring_m == (1.0, 2.0, math.inf)
    preset = read.presets[0]
    assert preset.focal_length_mm == 28.0  # from the lens it names
    assert preset.focus_distance_m == pytest.approx(8 * 0.3048, rel=1e-12)  # international foot, exact
    assert (read.stretches[0].starts, read.stretches[0].ends) == ("14:05", "15:20")
    assert read.marks.keepers == tmp_path / "selects"
    assert read.settings == {
        "iso_max": 6400.0,
        "wanted_shutter_s": 0.002,
        "speed_m_s": 0.0,
        "guess_sd": 0.2,
        "worth": 0.15,
    }


@pytest.mark.parametrize("word", ["full", "half", "third"])
def test_stops_may_be_named_as_on_the_command_line(tmp_path, word):
    read = session(tmp_path, f'[[lens]]\nfocal_length = "28mm"\nf_stops = "{word}"\n')
    assert read.problems == ()
    assert list(read.lenses[0].f_stops) == read_f_stops(word)
    wrong = session(tmp_path, '[[lens]]\nfocal_length = "28mm"\nf_stops = "fifth"\n').problems
    assert '"third"' in wrong[0].what + wrong[0].next


def test_an_empty_file_is_allowed(tmp_path):
    assert session(tmp_path, "").problems == ()


@pytest.mark.parametrize(
    ("text", "line", "found", "hint"),
    [
        ('[[preset]]\nname = "a"\nfocus_distence = "2m"\n', "line 3", "focus_distence", "focus_distance"),
        ("[lihgt]\niso_max = 100\n", "line 1", "lihgt", "light"),
        ('[[preset]]\nname = "a"\nfocus_distance = "2.5"\n', "line 3", "no unit", "2.5m"),
        ('[[preset]]\nname = "a"\nfocal_length = "0mm"\n', "line 3", "above zero", "28mm"),
        ('[marks]\nunmarked = "not kept"\n', "line 2", "not kept", "not-kept"),
        ("[advice]\nworth_points = 5\n", "line 2", "worth_points", 'worth = "10%"'),
        ("[advice]\nworth = 10\n", "line 2", "worth = 10", '"10%"'),
        ('[advice]\nworth = "0%"\n', "line 2", "0%", "above zero"),
        ("[subject]\nspeed_m_s = -1\n", "line 2", "speed_m_s = -1", "from zero up"),
        ("[light]\niso_max = -1\n", "line 2", "iso_max = -1", "above zero"),
        ('[[preset]]\nname = "arcade"\n[[stretch]]\npreset = "arcadd"\n', "line 3", "arcadd", "arcade"),
        (
            '[[preset]]\nname = "a"\nf_number = true\n',
            "line 3",
            "f_number = True",
            "a text in quotes with its unit",
        ),
        ('[[preset]]\nname = "a"\nf_number = [8]\n', "line 3", "a list", "a text in quotes with its unit"),
        ('[camera]\nname = "a"\n', "line 1", "[camera] stands alone", "[[camera]]"),
    ],
)
def test_a_mistake_names_its_line_what_was_found_and_what_is_allowed(tmp_path, text, line, found, hint):
    problems = session(tmp_path, text).problems
    assert len(problems) == 1
    assert line in str(problems[0].file)
    assert found in problems[0].what
    assert hint in problems[0].what + problems[0].next


def test_a_wrong_key_costs_that_key_alone(tmp_path):
    read = session(tmp_path, '[[preset]]\nname = "a"\nf_number = "wide"\nfocus_distance = "2m"\n')
    assert len(read.problems) == 1
    assert math.isnan(read.presets[0].f_number)
    assert read.presets[0].focus_distance_m == 2.0


def test_broken_toml_names_the_line(tmp_path):
    with pytest.raises(FileFormatError, match="line 2"):
        session(tmp_path, '[marks]\nkeepers = "x\n')


def test_a_preset_may_name_no_lens_but_not_one_that_nobody_declared(tmp_path):
    lens = '[[lens]]\nname = "28 mm"\nfocal_length = "28mm"\n'
    preset = '[[preset]]\nname = "arcade"\nf_number = 8\nfocus_distance = "2m"\n'
    read = session(tmp_path, lens + preset)
    assert read.problems == ()
    assert math.isnan(read.presets[0].focal_length_mm)  # one lens or another: the frames tell
    assert not read.presets[0].slip
    read = session(tmp_path, lens + preset + 'lens = "28 m"\n')
    (problem,) = read.problems
    assert "names a lens '28 m' that no [[lens]] has" in problem.what
    assert read.presets[0].slip
    assert session(tmp_path, preset + 'lens = "28 m"\n').problems == ()  # of a name alone


def test_an_entry_that_repeats_is_told_by_its_number_and_its_own_line(tmp_path):
    text = (
        '[[preset]]\nname = "a"\nkind = "line"\n\n[[preset]]\nname = "b"\nkind = "lime"\n[marks]\nkind = 1\n'
    )
    first, second = session(tmp_path, text).problems
    assert str(first.file).endswith("session.toml, line 7")
    assert first.what == "[[preset]] 2 kind = 'lime' is not allowed."
    assert str(second.file).endswith("session.toml, line 9")
    assert second.what.startswith("[marks] has no key 'kind'")


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (f'"{"x" * 58}"', f"'{'x' * 58}'"),
        (f'"{"x" * 59}"', f"'{'x' * 59}…"),
        (str(2**190), str(2**190)),
        (str(2**200 - 1), f"{str(2**200 - 1)[:60]}…"),
        (str(2**200), "a very long number"),
        ("[1]", "a list"),
        ("{a = 1}", "a dict"),
    ],
)
def test_a_long_value_is_shown_by_its_beginning(tmp_path, value, shown):
    (problem,) = session(tmp_path, f"[marks]\nunmarked = {value}\n").problems
    assert problem.what == f"[marks] unmarked = {shown} is not allowed."


def test_the_nearest_words_are_looked_for_while_that_is_quick(tmp_path, monkeypatch):
    monkeypatch.setattr(session_file, "MOST_COMPARED", 2 * len(session_file.SCHEMA))
    problems = session(tmp_path, "[lihgt]\n[mraks]\n[avdice]\n").problems
    assert [problem.what for problem in problems] == [
        "There is no table 'lihgt'; did you mean 'light'?",
        "There is no table 'mraks'; did you mean 'marks'?",
        "There is no table 'avdice'.",
    ]


LENS = '[[lens]]\nname = "28 mm"\nfocal_length = "28mm"\n'


@pytest.mark.parametrize(
    ("preset", "focal_length_mm", "slip", "said"),
    [
        ('name = "a"\nlens = "28 mm"', 28.0, False, 0),
        ('name = "a"\nlens = "28 mm"\nfocal_length = "30mm"', 30.0, False, 0),
        ('name = "a"\nlens = "35 mm"', math.nan, True, 1),
        ('name = "a"\nlens = "35 mm"\nfocal_length = "35mm"', 35.0, False, 1),
        ('name = "a"\nfocal_lenght = "35mm"', math.nan, True, 1),
        ('name = "a"\n[[preset]]\nname = "a"\nfocal_length = "35mm"', math.nan, False, 1),  # the first one
        ('f_number = 8\n[[preset]]\nname = "a"', math.nan, False, 1),  # without a name it is none
    ],
)
def test_a_presets_focal_length_is_its_own_or_its_lenss(tmp_path, preset, focal_length_mm, slip, said):
    read = session(tmp_path, f"{LENS}[[preset]]\n{preset}\n")
    (only,) = read.presets
    assert only.focal_length_mm == pytest.approx(focal_length_mm, nan_ok=True)
    assert (only.slip, len(read.problems)) == (slip, said)


@pytest.mark.parametrize(
    ("stretch", "slip", "is_placed", "said"),
    [
        ('preset = "a"', "", True, 0),
        ('preset = "a"\nfrom = "14:05"', "", True, 0),
        ('preset = "a"\nform = "14:05"', "a key in it cannot be used", False, 1),
        ('preset = "a"\nfrom = "14:05"\ntoo = "15:05"', "a key in it cannot be used", True, 1),
        ('from = "14:05"', "it names no preset", True, 1),
        ('persist = "a"\nfrom = "14:05"', "a key in it cannot be used", True, 1),
        ('preset = "c"', "there is no preset 'c'", True, 1),
        ('preset = "b"', "the preset 'b' has a key that cannot be used", True, 0),
        ('preset = "b"\ntoo = "15:05"', "a key in it cannot be used", False, 1),
    ],
)
def test_why_a_stretch_sets_nothing_and_whether_its_beginning_is_known(
    tmp_path, stretch, slip, is_placed, said
):
    presets = '[[preset]]\nname = "a"\n[[preset]]\nname = "b"\nf_number = "wide"\n'
    read = session(tmp_path, f"{presets}[[stretch]]\n{stretch}\n")
    (only,) = read.stretches
    assert (only.slip, only.is_placed, len(read.problems)) == (slip, is_placed, 1 + said)


def test_a_table_of_another_kind_is_told_as_it_is_to_be_written(tmp_path):
    read = session(tmp_path, 'marks = 3\npreset = [3]\nlens = {name = "a"}\n')
    assert [(problem.what, problem.next) for problem in read.problems] == [
        ("[marks] is not a table.", "Write it as [marks]."),
        ("[[preset]] 1 is not a table.", "Write it as [[preset]]."),
        ("[lens] stands alone.", "Write [[lens]], since it repeats."),
        ("A [[preset]] has no name.", "Give it one; stretches refer to it."),
    ]
    assert read.lenses[0].name == "a"


def test_an_entry_for_a_camera_is_that_of_its_name_its_model_or_none(tmp_path):
    read = session(
        tmp_path, '[[camera]]\nclock_offset = "1h"\n[[camera]]\nname = "A"\n[[camera]]\nname = "B"\n'
    )
    plain, a, b = read.cameras
    assert read.camera_entry("A", "B") is a
    assert read.camera_entry("B (1a2)", "B") is b
    assert read.camera_entry("C", None) is plain
    assert read.camera_entry(None, None) is plain
    presets = session(tmp_path, '[[preset]]\nname = "a"\n[[preset]]\nname = "b"\n')
    assert presets.preset_named("b") is presets.presets[1]
    assert presets.preset_named("c") is None
