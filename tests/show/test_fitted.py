"""The tolerance: its sentences in the hard cases, and the tables behind its picture."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.advice import flags as advice_flags
from auditor.evidence import tolerance_checks
from auditor.evidence.tolerance import Tolerance
from auditor.show import fitted_tables
from auditor.show.words import flags, tolerance

NAN = float("nan")


def tolerated(**changes: object) -> Tolerance:
    facts = {
        "blur_mm": 0.045, "low": 0.036, "high": 0.058, "times_handbook": 1.5, "ceiling": 0.4, "floor": 0.03,
        "steepness": 3.0, "tries": 1.2, "bursts": 275, "hits": 90, "flags": (), "confidence": 0.95,
        "fit_p_value": 0.4, "draws": np.array([[0.040, 3.0, 0.4, 0.03, 1.0], [0.050, 3.0, 0.4, 0.03, 1.0]]),
        "calibration": pd.DataFrame(
            {"blur_mm": [0.02, 0.09], "bursts": [140, 135], "hits": [70, 20], "hit_rate": [0.5, 0.15],
             "low": [0.4, 0.1], "high": [0.6, 0.2]}
        ),
    }  # fmt: skip
    return Tolerance(**(facts | changes))  # type: ignore[arg-type]


def test_a_tolerance_above_within_and_below_the_handbook() -> None:
    assert "1.5 times the handbook's 0.030 mm: your zones are wider" in tolerance.finding(tolerated())
    same = tolerance.finding(tolerated(low=0.02))
    assert "holds the handbook's 0.030 mm" in same
    small = tolerance.finding(tolerated(blur_mm=0.015, low=0.01, high=0.02, times_handbook=0.5))
    assert "narrower" in small
    assert "0.045 mm on the sensor (95 % interval 0.036–0.058 mm, 275 bursts)" in tolerance.finding(
        tolerated()
    )


def test_a_tolerance_that_was_not_fitted_or_does_not_carry_says_why() -> None:
    unfitted = tolerated(
        blur_mm=NAN, low=NAN, high=NAN, times_handbook=NAN, bursts=0, flags=("not_enough", "no_distances")
    )
    said = tolerance.finding(unfitted)
    assert "cannot be said" in said
    assert "No counted frame has a subject distance" in said
    assert "nan" not in said
    assert tolerance.refits(unfitted) == ""
    doubtful = tolerance.finding(tolerated(flags=("distances_of_keepers",)))
    assert "nothing rests on it" in doubtful
    assert "mostly for keepers" in doubtful


def test_doubts_that_do_not_forbid_and_refits_are_said() -> None:
    doubted = tolerated(flags=("poor_fit",), ranges={"half_guess_error": 0.05, "double_guess_error": NAN})
    assert tolerance.doubts(doubted) == [flags.SENTENCES["poor_fit"]]
    assert tolerance.refits(doubted) == "It would be 0.050 mm with half the error of guessed distances."
    lenses = tolerance.by_lens(tolerated(by_lens={"28 mm": tolerated(bursts=160)}))
    assert lenses == ["28 mm: 0.045 mm (0.036–0.058 mm), 160 bursts."]


def test_every_flag_has_a_sentence() -> None:
    of_advice = {value for name, value in vars(advice_flags).items() if name.isupper()}
    assert set(tolerance_checks.FLAGS) | of_advice <= set(flags.SENTENCES)
    assert flags.sentences(["one_preset", "one_preset"]) == [flags.SENTENCES["one_preset"]]


def test_curve_passes_the_half_way_point_at_the_tolerance_and_its_band_holds_the_draws() -> None:
    fitted = tolerated(tries=1.0)
    curve = fitted_tables.blur_curve(fitted)
    at_tolerance = np.interp(np.log(0.045), np.log(curve["blur_mm"]), curve["rate"])
    assert at_tolerance == pytest.approx((0.4 + 0.03) / 2, abs=1e-3)  # half way from ceiling to floor
    assert (curve["low"] <= curve["high"]).all()
    assert curve["blur_mm"].min() < 0.02
    assert curve["blur_mm"].max() > 0.09
    marks = fitted_tables.blur_marks(fitted)
    assert marks["label"].tolist() == ["tolerance 0.045 mm", "handbook 0.030 mm"]
    without = fitted_tables.blur_curve(tolerated(draws=np.zeros((0, 5))))
    assert without["low"].isna().all()
