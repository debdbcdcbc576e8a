"""The tolerance: its sentences in the hard cases, and the table behind its picture."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.evidence import tolerance as evidence
from auditor.evidence.blur_tolerance import Eye
from auditor.evidence.tolerance import Tolerance
from auditor.show import chart_tables
from auditor.show.words import tolerance


def tolerated(**changes: object) -> Tolerance:
    facts = {
        "used": "keepers", "sharp": Eye(0.040, 0.030, 0.055, 12), "keep": Eye(0.045, 0.036, 0.058, 90),
        "times_handbook": 1.5, "ceiling": 0.4, "floor": 0.03, "steepness": 3.0, "bursts": 275, "marked": 260,
        "nothing": 0.1, "flags": (), "confidence": 0.95,
        "draws": np.array([[0.040, 3.0, 0.4, 0.03], [0.050, 3.0, 0.4, 0.03]]),
        "sharp_draws": np.array([[0.038, 3.0], [0.042, 3.0]]),
        "calibration": pd.DataFrame(
            {"blur_mm": [0.02, 0.09], "frames": [140, 135], "yes": [70, 20], "rate": [0.5, 0.15],
             "low": [0.4, 0.1], "high": [0.6, 0.2]}
        ),
    }  # fmt: skip
    return Tolerance(**(facts | changes))  # type: ignore[arg-type]


def test_a_tolerance_above_within_and_below_the_handbook() -> None:
    said = tolerance.finding(tolerated())
    assert "1.5 times the handbook's 0.030 mm: your zones are wider" in said
    size = "0.045 mm (95 % interval 0.036–0.058 mm) on the sensor"
    assert f"{size} (90 keepers of 260 measured and marked)" in said
    assert "from 40 % to 3 %" in said
    same = tolerance.finding(tolerated(keep=Eye(0.045, 0.02, 0.058, 90)))
    assert "holds the handbook's 0.030 mm" in same
    small = tolerance.finding(tolerated(keep=Eye(0.015, 0.01, 0.02, 90), times_handbook=0.5))
    assert "narrower" in small


def test_verdicts_speak_where_there_are_thirty() -> None:
    said = tolerance.finding(tolerated(used="sharp", sharp=Eye(0.042, 0.035, 0.05, 60), times_handbook=1.4))
    assert "You call a subject sharp up to a blur of 0.042 mm" in said
    assert "60 judged presses" in said
    assert "keepers" not in said


def test_a_tolerance_learned_at_another_size_says_that_it_is_carried() -> None:
    judged = {"used": "sharp", "sharp": Eye(0.042, 0.035, 0.05, 60), "times_handbook": 1.4}
    coarse, fine = (tolerance.finding(tolerated(**judged, seen_at=times)) for times in (2.0, 0.4))
    assert "pictures shown 2.0 times coarser than the size asked for; the blur is carried to it." in coarse
    assert "2.5 times finer" in fine
    assert "carried" not in tolerance.finding(tolerated(**judged, seen_at=1.001))


def test_a_tolerance_that_does_not_carry_says_why() -> None:
    unknown = tolerated(bursts=0, flags=("no_distances",))
    assert "cannot be said" in tolerance.finding(unknown)
    assert "No counted frame has a subject distance" in tolerance.finding(unknown)
    doubtful = tolerance.finding(tolerated(flags=("too_wide", "few_verdicts")))
    assert "not known well enough" in doubtful
    assert "hardly narrow" in doubtful
    assert "30 verdicts" in doubtful


def test_doubts_that_do_not_forbid_are_said_apart() -> None:
    assert tolerance.doubts(tolerated(flags=("few_verdicts",))) == [tolerance.SENTENCES["few_verdicts"]]
    assert tolerance.doubts(tolerated(flags=("too_wide",))) == []
    lenses = tolerance.by_lens(tolerated(by_lens={"28 mm": tolerated(bursts=160)}))
    assert lenses == ["28 mm: 0.045 mm (95 % interval 0.036–0.058 mm), 160 measured presses."]


def test_every_flag_has_a_sentence_and_no_sentence_is_left_over() -> None:
    assert set(evidence.FLAGS) == set(tolerance.SENTENCES)


@pytest.mark.parametrize("used", ["keepers", "sharp"])
def test_the_curve_goes_half_way_at_the_tolerance_inside_its_band(used: str) -> None:
    told = tolerated(used=used)
    curve = chart_tables.blur_picture(told).curve
    assert (curve["low"] <= curve["rate"] + 1e-9).all()
    assert (curve["rate"] <= curve["high"] + 1e-9).all()
    top, bottom = (0.4, 0.03) if used == "keepers" else (1.0, 0.0)
    at = np.interp(np.log(told.eye.blur_mm), np.log(curve["blur_mm"]), curve["rate"])
    assert at == pytest.approx((top + bottom) / 2, abs=0.01)


def test_the_marks_name_both_diameters() -> None:
    diameters, names = zip(*chart_tables.blur_picture(tolerated()).marks, strict=True)
    assert names == ("tolerance 0.045 mm", "handbook 0.030 mm")
    assert diameters == pytest.approx((0.045, 0.030))


def test_observed_shares_are_told_to_those_who_cannot_see_the_chart() -> None:
    said = tolerance.chart_finding(tolerated())
    assert "50 % of 140 kept at 0.020 mm" in said
