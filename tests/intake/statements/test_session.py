"""The session file: what is read, and what is said of each mistake."""

import math

import pytest

from auditor.cli.typed import read_f_stops
from auditor.errors import FileFormatError
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
