"""zone, plan and card as a person types them: text, JSON, files, exit codes."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from shutil import which

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from auditor.cli import make_app
from auditor.optics.blur import defocus_mm
from auditor.optics.combined import combined_zone
from auditor.optics.lens import sharp_zone
from auditor.optics.ring_check import find_shift
from auditor.optics.rings import HALF_STOPS

ZONE_KEYS = {
    "focal_length_mm", "f_number", "focus_distance_m", "coc_mm", "coc_criterion", "distance_from",
    "hyperfocal_m", "near_limit_m", "far_limit_m", "far_limit_m_is_infinite", "blur_at_subject",
    "read_scale_for",
}  # fmt: skip
PLAN_KEYS = {
    "f_number", "focus_distance_m", "near_limit_m", "far_limit_m", "covers", "probability_inside",
    "read_scale_for",
}  # fmt: skip
COC = math.hypot(36, 24) / 1442


def run(*words, code=0):
    done = CliRunner().invoke(make_app(), [str(word) for word in words])
    assert done.exit_code == code, (done.stdout, done.stderr, done.exception)
    if code:
        assert done.stdout == ""
    return done


def refuse_constant(name):
    raise AssertionError(f"{name} is not JSON")


def run_json(*words):
    return json.loads(run(*words, "--json").stdout, parse_constant=refuse_constant)


ZONE = ("zone", "--focal-length", "28mm", "--f-number", "8", "--focus", "2.5m")
PLAN = ("plan", "--focal-length", "28mm")
CARD = ("card", "--focal-length", "28mm")


def test_zone_json_holds_the_contract():
    found = run_json(*ZONE)
    assert found.keys() >= ZONE_KEYS
    zone = sharp_zone(28, 8, 2.5, COC)
    assert found["near_limit_m"] == pytest.approx(float(zone.near_limit_m), rel=1e-12)
    assert found["far_limit_m"] == pytest.approx(float(zone.far_limit_m), rel=1e-12)
    assert found["hyperfocal_m"] == pytest.approx(float(zone.hyperfocal_m), rel=1e-12)
    assert found["coc_mm"] == pytest.approx(COC, rel=1e-12)
    assert (found["coc_criterion"], found["distance_from"]) == ("handbook", "sensor")
    assert found["far_limit_m_is_infinite"] is False
    assert found["blur_at_subject"] is None


def test_infinite_is_null_beside_a_flag():
    found = run_json("zone", "--focal-length", "28mm", "--f-number", "f/11", "--focus", "inf")
    assert found["focus_distance_m"] is None
    assert found["focus_distance_m_is_infinite"] is True
    assert found["far_limit_m"] is None
    assert found["far_limit_m_is_infinite"] is True


def test_the_unit_in_use_is_the_one_typed():
    assert "8 ft" in run("zone", "--focal-length", "21mm", "--f-number", "8", "--focus", "8ft").stdout
    feet = run(*PLAN, "--near", "6ft", "--far", "20ft").stdout
    assert "ring at 10 ft" in feet
    assert " m " not in feet.replace(" mm ", " ").replace("a.m ", "")
    assert (
        "3.05 m" in run(*PLAN, "--near", "6ft", "--far", "20ft", "--units", "m", "--ring", "10ft,inf").stdout
    )


def test_zone_reads_the_engraved_scale():
    own = run_json(*ZONE, "--coc", "0.042mm", "--scale-coc", "0.030mm")
    assert own["read_scale_for"] == pytest.approx(8 * 0.042 / 0.030, rel=1e-12)
    assert "shoot f/8, read f/11" in run(*ZONE, "--coc", "0.042mm").stdout
    assert "it serves as it is" in run(*ZONE).stdout
    small = run(*ZONE, "--sensor", "1.5x").stdout
    assert "shoot f/8, read f/5.6" in small
    assert "1.5 times as much as on 36 x 24 mm" in small
    read = run_json(*ZONE, "--scale", "f/8 2m 1.27m 4.9m")
    assert read["scale_source"] == "read off it"
    assert read["scale_coc_mm"] == pytest.approx(0.03, rel=0.02)
    assert read["read_scale_for_low"] < read["read_scale_for"] < read["read_scale_for_high"]
    contrary = ("--scale", "f/8 2m 1.27m 4.9m", "--scale", "f/11 2m 0.9m inf")
    assert "contradict each other" in run(*ZONE, *contrary).stdout
    assert run_json(*ZONE, *contrary)["scale_contradictions"] == [contrary[1], contrary[3]]


def test_a_measured_tolerance_reads_the_scale_with_its_interval(tmp_path):
    path = tmp_path / "audit.json"
    path.write_text('{"tolerance": {"blur_mm": 0.045, "low": 0.03, "high": 0.07}}', "utf-8")
    text = run(*ZONE, "--coc", f"measured={path}").stdout
    assert "read f/11" in text
    assert "not known better" in text
    found = run_json(*ZONE, "--coc", f"measured={path}")
    assert found["read_scale_for_low"] < 8 < found["read_scale_for"] < found["read_scale_for_high"]


def test_zone_by_tape():
    found = run_json(*ZONE, "--ring-check", "2m=2.2m")
    shift = find_shift(28, [2.0], [2.2]).shift_mm
    assert found["ring_shift_mm"] == pytest.approx(shift, rel=1e-12)
    zone = sharp_zone(28, 8, 2.5, COC, shift_mm=shift)
    assert found["near_limit_m"] == pytest.approx(float(zone.near_limit_m), rel=1e-12)
    assert found["focus_distance_m"] == 2.5
    assert found["focus_true_m"] > 2.5
    assert "focus_true_m" not in run_json(*ZONE)
    past = run(
        "zone", "--focal-length", "28mm", "--f-number", "8", "--focus", "inf", "--ring-check", "2m=2.2m"
    ).stdout
    assert "past infinity" in past
    assert "too thin" in past
    thick = run(*ZONE, "--ring-check", "2m=1.9m").stdout
    assert "never reaches infinity" in thick
    odd = run(*ZONE, "--ring-check", "2m=2.2m", "--ring-check", "1m=0.9m").stdout
    assert "No one adapter explains the readings" in odd


def test_the_readings_typed_stand_beside_what_one_length_makes_of_them():
    text = run(*ZONE, "--ring-check", "2m=2.2m", "--ring-check", "3m=3m").stdout
    assert "By tape 2m=2.2m, 3m=3m; one length for all readings: the mark 2.5 m focuses at 2.65 m." in text


def test_plan_by_tape():
    wish = ("plan", "--focal-length", "28mm", "--near", "2m", "--far", "6m", "--f-stops", "5.6,8")
    shift = find_shift(28, [2.0], [2.5]).shift_mm
    for row in run_json(*wish, "--ring-check", "2m=2.5m")["settings"]:
        zone = sharp_zone(28, row["f_number"], row["focus_distance_m"], COC, shift_mm=shift)
        assert row["near_limit_m"] == pytest.approx(float(zone.near_limit_m), rel=1e-12)
        assert row["focus_true_m"] > row["focus_distance_m"]
    text = run(*wish, "--ring-check", "2m=2.5m").stdout
    assert "ring at 2.5 m" in text
    assert "Ring corrected by tape" in text
    assert "scale reads wrong distances" in text
    off = run(
        "zone", "--focal-length", "35mm", "--f-number", "11", "--focus", "3m", "--ring-check", "2m=2.45m"
    )
    assert "scale reads wrong distances" in off.stdout
    assert "serves" not in off.stdout, "a scale that reads wrong distances"
    assert "serves" in run(*ZONE, "--ring-check", "2m=2m").stdout, "a ring that is right"
    assert "ring at 3 m" in run(*wish).stdout


def test_what_a_flash_has_no_use_for_is_refused():
    flash = ("plan", "--focal-length", "35mm", "--guide-number", "32m")
    assert "--iso alone" in run(*flash, "--light", "sun", code=2).stderr
    assert (
        "no"
        in run("plan", "--focal-length", "35mm", "--near", "2m", "--far", "4m", "--iso", "400", code=2).stderr
    )
    assert "--guide-number" in run(*CARD, "--iso", "400", code=2).stderr
    assert run(*flash).stdout == run(*flash, "--iso", "100").stdout


@pytest.mark.parametrize(
    "wish", [("--subjects", "2m,4m"), ("--line", "3m", "--spread", "20cm"), ("--guide-number", "32m")]
)
def test_every_kind_of_plan_knows_the_shift(wish):
    rows = run_json("plan", "--focal-length", "50mm", *wish, "--ring-check", "2m=2.5m")["settings"]
    assert all(row["focus_true_m"] > row["focus_distance_m"] for row in rows)
    plain = run_json("plan", "--focal-length", "50mm", *wish)["settings"]
    assert [row["focus_distance_m"] for row in rows] != [row["focus_distance_m"] for row in plain]


def test_a_lens_far_past_infinity_says_so():
    done = run(
        "zone",
        "--focal-length",
        "50mm",
        "--f-number",
        "1.4",
        "--focus",
        "inf",
        "--ring-check",
        "2m=2.5m",
        code=1,
    )
    assert "past infinity" in done.stderr


def test_zone_text_in_metres_and_feet():
    metres = run(*ZONE, "--subject", "4m", "--shutter", "1/1000", "--pixels-wide", "6000").stdout
    assert "1.44 m" in metres
    assert "9.84 m" in metres
    assert "3.32 m" in metres
    assert "handbook" in metres
    assert "sensor plane" in metres
    assert "pixels" in metres
    feet = run(*ZONE, "--units", "ft").stdout
    assert "4.7 ft" in feet
    assert "32.3 ft" in feet
    assert " m\n" not in feet


def test_zone_options_reach_the_optics():
    lens = run_json(*ZONE, "--distance-from", "lens", "--coc", "0.02mm")
    zone = sharp_zone(28, 8, 2.5, 0.02, "lens")
    assert lens["near_limit_m"] == pytest.approx(float(zone.near_limit_m), rel=1e-12)
    cropped = run_json(*ZONE, "--sensor", "1.5x")
    assert cropped["coc_mm"] == pytest.approx(COC / 1.5, rel=1e-12)
    pixel = run_json(*ZONE, "--coc", "pixel=2", "--pixels-wide", "6000")
    assert pixel["coc_mm"] == pytest.approx(2 * 36 / 6000, rel=1e-12)


def test_zone_with_all_blur():
    words = ("--shutter", "1/1000", "--speed", "3mph", "--crossing", "90", "--turn", "1", "--subject", "3m")
    found = run_json(*ZONE, *words)
    zone = combined_zone(
        28, 8, 2.5, COC, speed_m_s=1.34112, exposure_time_s=1e-3, crossing_deg=90, turn_deg_s=1
    )
    assert found["with_all_blur"]["near_limit_m"] == pytest.approx(float(zone.near_limit_m), rel=1e-9)
    assert found["with_all_blur"]["empty"] is False
    at = found["blur_at_subject"]
    parts = [at[f"{cause}_mm"] for cause in ("defocus", "motion", "diffraction", "turn", "pixel")]
    assert all(part > 0 for part in parts[:4])
    assert at["combined_mm"] == pytest.approx(math.hypot(*parts), rel=1e-9)
    assert at["times_coc"] == pytest.approx(at["combined_mm"] / COC, rel=1e-9)
    assert at["combined_pixels"] is None, "no pixels were given"


def test_zone_says_what_eats_it():
    slow = run(*ZONE, "--shutter", "1/30").stdout
    assert "nothing is sharp enough" in slow
    assert "movement of the subject" in slow
    found = run_json(*ZONE, "--shutter", "1/30")
    assert found["with_all_blur"]["empty"] is True
    assert found["with_all_blur"]["largest_blur"] == "motion"
    closed = run_json(
        "zone", "--focal-length", "28mm", "--f-number", "32", "--focus", "2m", "--shutter", "1/8000"
    )
    assert closed["with_all_blur"]["largest_blur"] == "diffraction"


def test_zone_under_the_measured_tolerance(tmp_path):
    path = tmp_path / "audit.json"
    path.write_text('{"tolerance": {"blur_mm": 0.05}}', "utf-8")
    still = run_json(*ZONE, "--coc", f"measured={path}")
    moving = run_json(*ZONE, "--coc", f"measured={path}", "--shutter", "1/500")
    assert moving["coc_mm"] < still["coc_mm"] < 0.05
    assert still["coc_criterion"] == "measured"
    used = run(*ZONE, "--coc", f"measured={path}", "--shutter", "1/30", code=1)
    assert "use up" in used.stderr


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("--focus", "2.5"), 2, "metres or feet"),
        (("--focus", "-2m"), 2, "not a distance"),
        (("--focus", "0m"), 2, "above zero"),
        (("--focus", "nan"), 2, "not a distance"),
        (("--focus", "0.008m"), 1, "0.008 metres"),
        (("--focus", "8in", "--focal-length", "135mm"), 1, "0.2032 metres"),
        (("--focus", "25000m"), 2, "25000 metres"),
        (("--focal-length", "2.5mm"), 2, "2.5 millimetres"),
        (("--focal-length", "28m"), 2, "not a length"),
        (("--f-number", "0"), 2, "not an f-number"),
        (("--f-number", "-8"), 2, "not an f-number"),
        (("--f-number", "inf"), 2, "not an f-number"),
        (("--f-number", "0.1"), 2, "f/0.1"),
        (("--subject", "0.05m"), 1, "0.05 metres"),
        (("--shutter", "500"), 2, "1/500"),
        (("--speed", "5"), 2, "speed"),
        (("--coc", "sharp"), 2, "criterion"),
        (("--coc", "pixel"), 1, "--pixels-wide"),
        (("--coc", "measured"), 1, "measured=PATH"),
        (("--coc", "measured=/nowhere/audit.json"), 1, "/nowhere/audit.json"),
        (("--sensor", "large"), 2, "sensor"),
        (("--distance-from", "film"), 2, "sensor or lens"),
        (("--units", "yards"), 2, "m or ft"),
        (("--crossing", "200"), 2, "180"),
        (("--scale", "f/8 2m 1m"), 2, "reading"),
        (("--scale", "f/8 2m 3m 4m"), 1, "near limit"),
        (("--scale", "f/8 2m 1.2m 5m", "--scale-coc", "0.03mm"), 2, "twice"),
        (("--scale-coc", "pixel"), 2, "no size"),
        (("--ring-check", "2m"), 2, "mark and a distance"),
        (("--ring-check", "2m=5cm"), 1, "cannot be focused"),
    ],
)
def test_bad_input_is_named_with_what_was_read(words, code, says):
    done = run(*ZONE, *words, code=code)
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_very_short_lens_is_welcome_on_a_small_sensor():
    assert run_json(
        "zone", "--focal-length", "2.5mm", "--f-number", "2.8", "--focus", "1m", "--sensor", "5x3.7"
    )


def test_plan_for_limits():
    found = run_json(*PLAN, "--near", "2m", "--far", "6m")
    assert all(row.keys() >= PLAN_KEYS for row in found["settings"])
    covering = [row["f_number"] for row in found["settings"] if row["covers"]]
    assert covering == [5.6, 8, 11, 16, 22]
    text = run(*PLAN, "--near", "2m", "--far", "6m").stdout
    assert "Widest f-number of the list that covers: f/5.6, ring at 3 m." in text
    assert "anywhere from 2.5 to 4 m: covers" in text
    feet = run(*PLAN, "--near", "6ft", "--far", "inf", "--units", "ft", "--f-stops", "f/8, f/11").stdout
    assert "∞" in feet
    assert "f/11" in feet
    assert "f/4" not in feet


def test_plan_says_how_close_it_gets():
    text = run(
        "plan", "--focal-length", "50mm", "--near", "1m", "--far", "inf", "--f-stops", "8,11,16"
    ).stdout
    assert "No f-number of the list covers this" in text
    assert "f/16 comes closest" in text
    assert f"{float(defocus_mm(50, 16, 2.0, 1.0)) / COC:.1f} times" in text  # the ring at 2 m
    assert "it would take f/45" in text


def test_plan_for_a_line():
    found = run_json(
        "plan", "--focal-length", "50mm", "--line", "5m", "--spread", "40cm", "--f-stops", "2,4,8"
    )
    chances = [row["probability_inside"] for row in found["settings"]]
    assert chances == sorted(chances)
    assert 0.8 < chances[0] < 0.9
    text = run("plan", "--focal-length", "50mm", "--line", "5m", "--spread", "40cm").stdout
    assert "give or take 0.4 m" in text


def test_plan_for_a_line_that_is_passed():
    words = ("--line", "5m", "--spread", "40cm", "--speed", "running", "--crossing", "30", "--lag", "0.05s")
    plan50 = ("plan", "--focal-length", "50mm", *words)
    rows = run_json(*plan50)["settings"]
    assert {"exposure_time_s", "lead_m", "seconds_inside", "read_scale_for"} <= rows[0].keys()
    assert rows[0]["lead_m"] == pytest.approx(0.05 * 42195 / 12737, rel=1e-6)
    assert [row["chosen"] for row in rows].count(True) == 1
    text = run(*plan50, "--rate", "8", "--light", "open shade").stdout
    assert "ring at 5 m, 1/1250 s, ISO" in text
    assert "Press when they are 0.17 m short of the line" in text
    assert "frames at 8 a second" in text
    assert "behind the barrier" in text
    unknown = run(
        "plan", "--focal-length", "50mm", "--line", "5m", "--before", "1m", "--speed", "2m/s"
    ).stdout
    assert "release lag unknown" in unknown
    assert "at least" in unknown


def test_plan_for_a_line_says_what_to_give_up():
    words = (
        "--line",
        "5m",
        "--spread",
        "40cm",
        "--speed",
        "12km/h",
        "--light",
        "indoors",
        "--iso-max",
        "3200",
    )
    text = run("plan", "--focal-length", "50mm", *words).stdout
    assert "No setting holds 95 % as wished" in text
    assert "Accept any ISO" in text
    assert "over ISO 3200" in text


def test_plan_for_several_subjects():
    found = run_json("plan", "--focal-length", "50mm", "--subjects", "6ft,13ft")
    assert [row["f_number"] for row in found["settings"] if row["covers"]] == [16, 22]
    wide = found["wide_open"]["subjects"]
    assert [round(row["subject_distance_m"] / 0.3048) for row in wide] == [6, 13]
    assert wide[1]["times_coc"] > 10 > wide[0]["times_coc"]
    text = run("plan", "--focal-length", "50mm", "--subjects", "6ft; 13ft").stdout
    assert "f/16, ring midway between 7 and 10 ft" in text
    assert "Wide open, f/1.4" in text


@pytest.mark.parametrize(
    ("light", "said"),
    [
        # By hand: EV = log2(N² / t) - log2(ISO / 100). At EV 5, ISO 6400: N² = 2^11 t, 2.86 and 4.05.
        (("night",), "At night ISO 6400 allows f/2.8 at 1/250 s and f/4 at 1/125 s; stopped down further"),
        (("night", "--iso-max", "100"), "At night ISO 100 suits no f-number."),
        (("sun",), "In sun ISO 6400 is enough for every f-number."),
    ],
)
def test_a_sentence_says_how_far_the_light_allows_to_stop_down(light, said):
    text = run("plan", "--focal-length", "28mm", "--near", "6ft", "--far", "20ft", "--light", *light).stdout
    assert said in text


def test_an_iso_that_few_cameras_have_is_said_where_no_limit_was():
    line = ("plan", "--focal-length", "50mm", "--line", "5m", "--spread", "40cm", "--speed", "running")
    assert "Few cameras serve at ISO" in run(*line, "--light", "night").stdout
    assert "Few cameras" not in run(*line, "--light", "sun").stdout
    assert "Few cameras" not in run(*line, "--light", "night", "--iso-max", "6400").stdout


def test_plan_for_a_flash():
    rows = run_json("plan", "--focal-length", "35mm", "--guide-number", "32m", "--iso", "400")["settings"]
    reach = {row["f_number"]: row["reach_m"] for row in rows}
    assert reach[8] == pytest.approx(8.0)
    assert reach[16] == pytest.approx(4.0)
    for row in rows:
        assert row["lit_to_m"] / row["lit_from_m"] == pytest.approx(2**0.5)
    text = run("plan", "--focal-length", "35mm", "--guide-number", "105ft", "--iso", "400").stdout
    assert "105 ft" in text
    assert "No flash at animals" in text


def test_plan_takes_the_ring_and_the_stops_of_the_lens():
    rows = run_json(*PLAN, "--near", "2m", "--far", "6m", "--ring", "1m,2m,5m", "--f-stops", "half")[
        "settings"
    ]
    assert {row["f_number"] for row in rows} >= {6.7, 9.5}
    assert rows[0]["between_engravings_m"] == [2.0, 5.0]
    assert {row["focus_distance_m"] for row in rows} <= {2.0, 5.0, rows[0]["focus_distance_m"]}


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), 2), (("--near", "2m"), 2), (("--near", "2m", "--line", "3m"), 2), (("--line", "3m"), 2),
        (("--near", "3m", "--far", "2m"), 1), (("--near", "inf", "--far", "inf"), 1),
        (("--near", "5cm", "--far", "2m"), 1), (("--line", "inf", "--spread", "1m"), 1),
        (("--near", "2m", "--far", "3m", "--f-stops", "8,x"), 2),
        (("--near", "2m", "--far", "3m", "--f-stops", ","), 2), (("--subjects", "6ft"), 2),
        (("--near", "2m", "--far", "3m", "--speed", "3m/s"), 2), (("--guide-number", "32"), 2),
        (("--near", "2m", "--far", "3m", "--ring", "1m,5ft"), 2), (("--guide-number", "5000m"), 2),
        (("--line", "3m", "--spread", "20cm", "--light", "dusk"), 2),
    ],
)  # fmt: skip
def test_plans_that_make_no_sense(words, code):
    assert run(*PLAN, *words, code=code).stderr.startswith("auditor: ")


def test_two_kinds_of_plan_in_one_are_named():
    said = run(*PLAN, "--subjects", "2m,3m", "--near", "2m", code=2).stderr
    assert said.startswith("auditor: --near and --subjects exclude each other.")


def card_cells(text):
    """Limits by ring and f-number, as printed in the text."""
    lines = [line for line in text.splitlines() if line.strip()]
    numbers = next(line for line in lines if line.split()[0] == "ring").split()[1:]
    return {
        (cells[0], number): tuple(cell.split("-"))
        for cells in (line.split() for line in lines)
        if len(cells) == len(numbers) + 1 and "-" in cells[1]
        for number, cell in zip(numbers, cells[1:], strict=True)
    }


@pytest.mark.parametrize("focal", [28, 50])
@pytest.mark.parametrize(("units", "metres"), [("m", 1.0), ("ft", 0.3048)])
def test_every_cell_of_a_card_lies_inside_its_zone(focal, units, metres):
    cells = card_cells(run("card", "--focal-length", f"{focal}mm", "--units", units).stdout)
    assert len(cells) == 5 * (16 if units == "m" else 11)
    for (ring, number), (near, far) in cells.items():
        focus = math.inf if ring == "∞" else float(ring) * metres
        zone = sharp_zone(focal, float(number[2:]), focus, COC)
        near_m, far_m = float(zone.near_limit_m), float(zone.far_limit_m)
        shown = float(near) * metres
        assert near_m - 1e-5 <= shown <= near_m * 1.06, (ring, number)
        if far == "∞":
            assert far_m == math.inf
        elif far.endswith("+"):
            assert far_m > 20 * focus
        else:
            assert far_m * 0.94 <= float(far) * metres <= far_m + 1e-5, (ring, number)


def test_card_marks_the_hyperfocal_distance():
    text = run(*CARD, "--f-stops", "8", "--ring", "1m,3m,3.5m").stdout
    assert "3.4" in next(line for line in text.splitlines() if line.startswith("hyper"))
    cells = card_cells(text)
    assert cells["3", "f/8"][1] != "∞"
    assert cells["3.5", "f/8"][1] == "∞"


def test_a_card_says_once_what_its_sign_for_beyond_means():
    text = run("card", "--focal-length", "35mm", "--f-stops", "5.6,8", "--ring", "3m,7m").stdout
    assert card_cells(text)["7", "f/5.6"] == ("3.7", "140+")
    assert text.count("+") == 2
    assert "+: and beyond" in text
    assert "+" not in run(*CARD, "--f-stops", "8", "--ring", "1m,2m").stdout


def test_card_with_scale_tape_and_flash():
    text = run(
        *CARD, "--sensor", "1.5x", "--guide-number", "32m", "--iso", "400", "--ring-check", "2m=2.1m"
    ).stdout
    rows = {line.split()[0]: line.split()[1:] for line in text.splitlines() if line.strip()}
    assert rows["scale"] == ["f/2.8", "f/4", "f/5.6", "f/8", "f/11"]
    assert rows["flash"][2] == "6.8-9.5"
    assert "Ring corrected by tape" in text
    plain = run(*CARD).stdout
    assert "scale" not in plain
    assert "flash" not in plain
    cell = run_json(*CARD, "--ring", "2m", "--f-stops", "8", "--ring-check", "2m=2.1m")["settings"][0]
    shift = find_shift(28, [2.0], [2.1]).shift_mm
    assert cell["near_limit_m"] == pytest.approx(
        float(sharp_zone(28, 8, 2.0, COC, shift_mm=shift).near_limit_m)
    )


def test_card_json():
    found = run_json(*CARD, "--f-stops", "8,11", "--ring", "2m,inf")
    assert len(found["settings"]) == 4
    assert found["settings"][2]["focus_distance_m"] is None
    assert found["settings"][2]["far_limit_m_is_infinite"] is True


def test_a_card_for_each_lens():
    text = run(*CARD, "--focal-length", "50mm").stdout
    assert text == "\n".join(run("card", "--focal-length", one).stdout for one in ("28mm", "50mm"))
    found = run_json(*CARD, "--focal-length", "50mm")["cards"]
    assert "'a3'" in run(*CARD, "--paper", "a3", code=2).stderr
    assert found == [run_json(*CARD), run_json("card", "--focal-length", "50mm")]


@pytest.mark.slow
@pytest.mark.skipif(which("pdftotext") is None, reason="pdftotext is not installed")
@pytest.mark.parametrize(
    ("paper", "pages", "width_pt"), [("a4", 2, 595), ("wallet", 6, 522), ("letter", 2, 612)]
)
def test_a_sheet_holds_a_card_for_each_lens(tmp_path, paper, pages, width_pt):
    path = tmp_path / "card.pdf"
    lenses = [word for mm in (21, 24, 28, 35, 50) for word in ("--focal-length", f"{mm}mm")]
    stops = ("--f-stops", "4,5.6,8,11,16", "--paper", paper, "--out", path)
    run("card", *lenses, "--focal-length", "85mm", "--sensor", "1.5x", *stops)
    told = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    text = told.stdout.decode()
    assert text.count("\f") == pages
    assert text.count("sharp from – to, in metres") == 6
    for mm in (21, 24, 28, 35, 50, 85):
        assert text.count(f"{mm} mm on 24 x 16 mm") == 2, "front and back"
    box = re.search(rb"/MediaBox \[ ?0 0 ([0-9.]+)", path.read_bytes())
    assert float(box[1]) == pytest.approx(width_pt, abs=1)


@pytest.mark.slow
@pytest.mark.skipif(which("pdftotext") is None, reason="pdftotext is not installed")
def test_half_stops_take_several_cards_and_every_stop_is_on_one(tmp_path):
    path = tmp_path / "card.pdf"
    run(*CARD, "--f-stops", "half", "--paper", "a4", "--out", path)
    told = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    assert {float(number) for number in re.findall(r"f/([\d.]+)", told.stdout.decode())} == set(HALF_STOPS)
    assert "nearest mark that keeps infinity sharp" in told.stdout.decode()
    assert "…" not in told.stdout.decode()
    past = ("--f-stops", "1.4", "--ring", "inf", "--ring-check", "2m=2.5m", "--out", path, "--force")
    run("card", "--focal-length", "50mm", *past)
    told = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    assert "nothing is sharp there" in told.stdout.decode()


@pytest.mark.slow
@pytest.mark.parametrize("suffix", ["pdf", "png", "txt"])
def test_card_files(tmp_path, suffix):
    path = tmp_path / f"card.{suffix}"
    done = run(*CARD, "--units", "ft", "--out", path)
    assert str(path) in done.stderr
    assert done.stdout == ""
    content = path.read_bytes()
    if suffix == "pdf":
        assert content.startswith(b"%PDF")
    elif suffix == "txt":
        assert "feet" in content.decode()
    else:
        with Image.open(path) as picture:
            ink = np.asarray(picture.convert("L")) < 128
            width_mm = picture.width / picture.info["dpi"][0] * 25.4
        assert 0.01 < ink.mean() < 0.2
        assert width_mm == pytest.approx(2 * 86 + 2 * 6, abs=1), "front, back and a margin"
        assert not ink[:, 0].any()
    again = tmp_path / f"again.{suffix}"
    run(*CARD, "--units", "ft", "--out", again)
    assert again.read_bytes() == content


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--out", "card.gif"), 1), (("--out", "/nowhere/at/all/card.txt"), 1),
        (("--focal-length", "35mm", "--out", "card.png"), 1),
        (("--focal-length", "35mm", "--ring-check", "2m=2.2m"), 2),
        (("--ring", "0.05m,1m"), 1),
        (("--ring", "1,2"), 2), (("--ring", ","), 2),
    ],
)  # fmt: skip
def test_cards_that_cannot_be_made(words, code):
    assert run(*CARD, *words, code=code).stderr.startswith("auditor: ")


def test_zone_loads_neither_tables_nor_charts():
    code = (
        "import sys; from auditor.cli import make_app; make_app()(sys.argv[1:], standalone_mode=False); "
        "print([m for m in ('pandas', 'matplotlib', 'scipy', 'exifread') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code, *ZONE], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
