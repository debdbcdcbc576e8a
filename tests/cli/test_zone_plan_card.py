"""zone, plan and card as a person types them: text, JSON, files, exit codes."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from auditor.cli import make_app
from auditor.optics.combined import combined_zone
from auditor.optics.lens import sharp_zone

ZONE_KEYS = {
    "focal_length_mm", "f_number", "focus_distance_m", "coc_mm", "coc_criterion", "distance_from",
    "hyperfocal_m", "near_limit_m", "far_limit_m", "far_limit_m_is_infinite", "blur_at_subject",
}  # fmt: skip
PLAN_KEYS = {"f_number", "focus_distance_m", "near_limit_m", "far_limit_m", "covers", "probability_inside"}
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
    assert "2.99 m" in text
    assert "Widest f-number of the list that covers: f/5.6" in text
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
    assert "2.8 times" in text
    assert "f/45" in text


def test_plan_for_a_line():
    found = run_json(
        "plan", "--focal-length", "50mm", "--line", "5m", "--spread", "40cm", "--f-stops", "2,4,8"
    )
    chances = [row["probability_inside"] for row in found["settings"]]
    assert chances == sorted(chances)
    assert 0.8 < chances[0] < 0.9
    text = run("plan", "--focal-length", "50mm", "--line", "5m", "--spread", "40cm").stdout
    assert "give or take 0.4 m" in text


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), 2), (("--near", "2m"), 2), (("--near", "2m", "--line", "3m"), 2), (("--line", "3m"), 2),
        (("--near", "3m", "--far", "2m"), 1), (("--near", "inf", "--far", "inf"), 1),
        (("--near", "5cm", "--far", "2m"), 1), (("--line", "inf", "--spread", "1m"), 1),
        (("--near", "2m", "--far", "3m", "--f-stops", "8,x"), 2),
        (("--near", "2m", "--far", "3m", "--f-stops", ","), 2),
    ],
)  # fmt: skip
def test_plans_that_make_no_sense(words, code):
    assert run(*PLAN, *words, code=code).stderr.startswith("auditor: ")


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
    assert len(cells) == 55
    for (ring, number), (near, far) in cells.items():
        focus = math.inf if ring == "∞" else float(ring) * metres
        zone = sharp_zone(focal, float(number[2:]), focus, COC)
        near_m, far_m = float(zone.near_limit_m), float(zone.far_limit_m)
        shown = float(near) * metres
        assert near_m - 1e-5 <= shown <= near_m * 1.06, (ring, number)
        if far == "∞":
            assert far_m == math.inf
        elif far.startswith(">"):
            assert far_m > 20 * focus
        else:
            assert far_m * 0.94 <= float(far) * metres <= far_m + 1e-5, (ring, number)


def test_card_marks_the_hyperfocal_distance():
    text = run(*CARD, "--f-stops", "8", "--ring", "1m,3m,3.5m").stdout
    assert "3.4" in next(line for line in text.splitlines() if line.startswith("hyper"))
    cells = card_cells(text)
    assert cells["3", "f/8"][1] != "∞"
    assert cells["3.5", "f/8"][1] == "∞"


def test_card_json():
    found = run_json(*CARD, "--f-stops", "8,11", "--ring", "2m,inf")
    assert len(found["settings"]) == 4
    assert found["settings"][2]["focus_distance_m"] is None
    assert found["settings"][2]["far_limit_m_is_infinite"] is True


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
        assert width_mm == pytest.approx(120, abs=1)
        assert not ink[:, 0].any()
    again = tmp_path / f"again.{suffix}"
    run(*CARD, "--units", "ft", "--out", again)
    assert again.read_bytes() == content


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--out", "card.gif"), 1), (("--out", "/nowhere/at/all/card.txt"), 1), (("--ring", "0.05m,1m"), 1),
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
