"""Tolerance, aperture and advice: their sentences in the hard cases, and the tables behind their charts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from auditor.advice.experiment import Experiment, TrySetting
from auditor.advice.result import Advice, LightKind, TunedStop, Tuning, ValuedSetting

from auditor.advice import flags as advice_flags
from auditor.evidence import tolerance_checks
from auditor.evidence.tolerance import Tolerance
from auditor.show import fitted_tables
from auditor.show.charts.style import for_page
from auditor.show.words import advice, flags, tolerance, tuning

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


def valued(f_number: float = 8.0, focus_m: float = 2.5, rate: float = 0.3, **more: object) -> ValuedSetting:
    facts = {
        "f_number": f_number, "focus_distance_m": focus_m, "near_limit_m": 1.5, "far_limit_m": 9.0,
        "expected_hit_rate": rate, "low": rate - 0.1, "high": rate + 0.1, "median_shutter_s": 0.002,
        "median_iso": 800.0, "within_experience": True,
    }  # fmt: skip
    return ValuedSetting(**(facts | more))  # type: ignore[arg-type]


def advised(**changes: object) -> Advice:
    grid = pd.DataFrame(
        [(f, d, 0.2, 0.1, 0.3, d < 5) for f in (5.6, 8.0) for d in (1.5, 2.5, 5.0, math.inf)],
        columns=["f_number", "focus_distance_m", "expected_hit_rate", "low", "high", "within_experience"],
    )
    facts = {
        "lens": "28 mm", "focal_length_mm": 28.0, "other_lenses": (), "settings": (valued(8.0, 2.5, 0.35),),
        "current": (valued(5.6, 1.5, 0.25),), "gain": 0.10, "gain_low": 0.03, "gain_high": 0.17,
        "gain_ratio": 0.40, "gain_ratio_low": 0.10, "gain_ratio_high": 0.74, "chance_better": 0.97,
        "distinguishable": True, "change_advised": True, "frames_needed": 0, "one_serves_all": True,
        "by_light": (), "distances_known": 200, "experience_from_m": 1.2, "experience_to_m": 4.5,
        "limits": None, "flags": (), "grid": grid,
    }  # fmt: skip
    return Advice(**(facts | changes))  # type: ignore[arg-type]


def test_a_change_is_said_with_its_gain_in_the_units_wanted() -> None:
    said = advice.tomorrow(advised(), 0.1, "ft")
    assert said == (
        "Next, set 28 mm to f/8 at 8.2 ft: of 100 presses about 35 should hold a keeper (25–45), with f/5.6 "
        "at 4.9 ft about 25: 40 % more (10 to 74 %)."
    )
    now = valued(5.6, 1.5, 0.25, bursts=97, observed_hit_rate=8 / 97)
    usual = advice.tomorrow(advised(current=(now,), flags=("usual_curve",)), 0.1, "m")
    assert "2.5 m: by the usual curve, of 100 presses" in usual
    assert "f/5.6 at 1.5 m about 25 (counted: 8 of 97): 40 % more" in usual


@pytest.mark.parametrize(
    ("changes", "wanted"),
    [
        ({"settings": (valued(5.6, 1.5),), "gain": 0.0, "gain_ratio": 0.0}, "no setting promises more"),
        (
            {"settings": (valued(5.6, math.inf),), "current": (valued(5.6, math.inf),)},
            "no setting promises more",
        ),
        (
            {"gain": 0.02, "gain_ratio": 0.08, "gain_ratio_low": 0.01, "gain_ratio_high": 0.2},
            "about 2.0 more of 100 presses, 8 % more (1 to 20 %); that is less than the 10 % worth acting",
        ),
        (
            {"chance_better": 0.8, "gain_ratio_low": -0.02, "frames_needed": 340},
            "(−2 to 74 %), but the chance that it brings more at all is 80 %: too little for a change. About "
            "340 more frames would show it, if it is there.",
        ),
        ({"chance_better": 0.8, "frames_needed": None}, "is 80 %: too little for a change."),
        ({}, "40 % more (10 to 74 %), but a doubt named below stands against it."),
        ({"gain": 0.001, "gain_ratio": 0.004}, "not even f/8 at 2.5 m promises more to speak of"),
    ],
)
def test_no_change_says_why(changes: dict[str, object], wanted: str) -> None:
    said = advice.tomorrow(advised(change_advised=False, **changes), 0.1, "m")
    assert said.startswith("Keep 28 mm at f/5.6 at ")
    assert wanted in said
    assert "nan" not in said


def by_counts(**changes: object) -> Advice:
    unknown = {
        "gain": NAN,
        "gain_low": NAN,
        "gain_high": NAN,
        "gain_ratio": NAN,
        "chance_better": NAN,
        "distinguishable": False,
        "change_advised": False,
    }
    return advised(**(unknown | {"grid": pd.DataFrame()} | changes))


def test_counts_alone_advise_nothing_that_they_cannot_know() -> None:
    now = valued(5.6, 1.5, 1.0, preset="now", bursts=1)
    other = valued(8.0, 2.5, 0.5, preset="other", bursts=60)
    alone = advice.tomorrow(by_counts(settings=(now,), current=(now,)), 0.1, "m")
    assert "cannot be told from these frames: only f/5.6 at 1.5 m (1 burst) was used" in alone
    first = advice.tomorrow(by_counts(settings=(now, other), current=(now, other)), 0.1, "m")
    assert "none has a higher hit rate than f/5.6 at 1.5 m (1 burst)" in first
    second = advice.tomorrow(by_counts(settings=(other, now), current=(now, other)), 0.1, "m")
    assert second.startswith("Counts alone cannot tell f/8 at 2.5 m (60 bursts)")
    for settings in ((now,), (now, other), (other, now)):
        shown = by_counts(settings=settings, current=(now, other))
        assert advice.short(shown, "m") == "What to set next with 28 mm cannot be told yet."
        assert "promises" not in advice.tomorrow(shown, 0.1, "m")
    beaten = by_counts(settings=(other, now), current=(now, other), change_advised=True, gain=0.2)
    assert advice.short(beaten, "m") == "Next, set 28 mm to f/8 at 2.5 m."


def test_advice_under_a_flag_is_for_now() -> None:
    assert advice.short(advised(change_advised=False, flags=("few_bursts",)), "m").endswith("1.5 m for now.")


def test_no_setting_at_all() -> None:
    said = advice.tomorrow(advised(settings=(), change_advised=False), 0.1, "m")
    assert said == "No setting of 28 mm can be advised from these frames."


def test_the_verdict_says_only_what_to_set() -> None:
    assert advice.short(advised(), "ft") == "Next, set 28 mm to f/8 at 8.2 ft."
    assert advice.short(advised(change_advised=False), "m") == "Keep 28 mm at f/5.6 at 1.5 m."
    assert advice.short(advised(settings=()), "m") == ""


@pytest.mark.parametrize(
    ("beyond", "value", "wanted"),
    [
        (False, 0.012, "by 1.2 points of hit rate."),
        (False, 0.0, "no walk should change the choice"),
        (True, 0.012, "No subject was met around f/8 at 9.8 ft yet: it is only for trying."),
    ],
)
def test_the_next_walk(beyond: bool, value: float, wanted: str) -> None:
    settings = (TrySetting(5.6, 1.5, 0.3, True), TrySetting(8.0, 3.0, 0.3, not beyond))
    walk = Experiment("28 mm", 28.0, (), (), settings, 70, 20, value)
    said = advice.next_walk(walk, "ft")
    assert "alternate f/5.6 at 4.9 ft and f/8 at 9.8 ft, 70 bursts of each" in said
    assert said.endswith(wanted) or wanted in said
    assert ("only for trying" in said) is beyond
    alone = advice.next_walk(replace(walk, settings=settings[:1]), "m")
    assert alone == "28 mm has no other setting to try against f/5.6 at 1.5 m."


def test_flags_said_elsewhere_are_not_said_again() -> None:
    assert flags.sentences(["one_preset", "no_light"], ("one_preset",)) == [flags.SENTENCES["no_light"]]
    assert set(flags.LIMITS) <= set(flags.SENTENCES)


def test_light_and_other_lenses() -> None:
    dim = LightKind("dim", 7.0, 9.4, valued(2.8, 2.0, 0.2), 0.06)
    assert advice.light_kind(dim, "m") == "dim (EV 7 to 9): f/2.8 at 2 m, 20 % (10–30 %)."
    assert advice.one_for_all(advised()) == ""
    assert "No one setting" in advice.one_for_all(advised(by_light=(dim,), one_serves_all=False))
    assert advice.others(advised()) == ""
    assert '--lens "35 mm"' in advice.others(advised(other_lenses=("35 mm",)))
    assert advice.exposure(valued(median_shutter_s=NAN, median_iso=NAN)) == "–"
    assert advice.experience(advised(distances_known=0), "m") == ""
    assert "1.2–4.5 m" in advice.experience(advised(), "m")


def test_advice_grid_and_marks_stand_at_their_engravings() -> None:
    result = advised()
    grid = fitted_tables.advice_grid(result)
    cell = grid[(grid["column"] == 3) & (grid["row"] == 1)].iloc[0]
    assert math.isinf(cell["focus_distance_m"])
    assert cell["f_number"] == 8.0
    marks = fitted_tables.advice_marks(result)
    assert marks[["column", "row"]].to_numpy().tolist() == [[0.0, 0.0], [1.0, 1.0]]
    assert marks["label"].tolist() == ["now", "advised"]
    between = fitted_tables.advice_marks(advised(current=(valued(5.6, 1.875),)))
    assert between["column"].iloc[0] == pytest.approx(0.5), (
        "half way in reciprocal distance, as rings are spaced"
    )
    ticks = fitted_tables.advice_ticks(result, "ft", narrow=False)
    assert ticks[ticks["axis"] == "column"]["label"].tolist() == ["4.9", "8.2", "16 ft", "∞"]


def tuned(**changes: object) -> Tuning:
    stop = TunedStop(
        f_number=2.8, focus_distance_m=2.5, expected=0.1, low=0.05, high=0.2, observed=NAN, observed_low=NAN,
        observed_high=NAN, n=0, lost_to_defocus=0.28, lost_to_motion=0.01, lost_to_diffraction=0.0,
        lost_to_light=0.0, median_shutter_s=0.002, median_iso=400.0,
    )  # fmt: skip
    narrow = replace(
        stop, f_number=16.0, expected=0.2, observed=0.25, n=40, lost_to_defocus=0.02, lost_to_motion=0.12
    )
    facts = {
        "lens": "28 mm", "focal_length_mm": 28.0, "other_lenses": (), "stops": (stop, narrow),
        "prefer": {"bright": 11.0, "medium": 8.0, "dim": 5.6}, "preferred": 8.0, "light_ev": {},
        "limits": None, "flags": (),
    }  # fmt: skip
    return Tuning(**(facts | changes))  # type: ignore[arg-type]


def test_which_aperture_in_which_light() -> None:
    assert (
        tuning.prefer(tuned())
        == "With 28 mm, prefer f/11 in bright light, f/8 in medium light and f/5.6 in dim light."
    )
    two = tuning.prefer(tuned(prefer={"bright": 11.0, "medium": 8.0, "dim": 8.0}))
    assert two == "With 28 mm, prefer f/11 in bright light and f/8 in medium and dim light."
    alike = dict.fromkeys(("bright", "medium", "dim"), 8.0)
    assert tuning.prefer(tuned(prefer=alike)) == "With 28 mm, prefer f/8 in every light met."
    unknown = dict.fromkeys(("bright", "medium", "dim"))
    assert tuning.prefer(tuned(prefer=unknown)) == "With 28 mm, prefer f/8."
    assert "can be preferred" in tuning.prefer(tuned(prefer=unknown, preferred=None))


def test_what_takes_most_at_either_end() -> None:
    said = tuning.losses(tuned())
    assert (
        said
        == "At f/2.8 defocus takes most, 28 % of bursts; at f/16 subject motion takes most, 12 % of bursts."
    )
    assert tuning.losses(tuned(stops=())) == ""
    table = fitted_tables.tuning_stops(tuned())
    assert table["label"].tolist() == ["f/2.8", "f/16"]
    assert table["count_label"].tolist() == ["", "10 of 40"]


def test_words_in_a_picture_keep_every_decimal() -> None:
    svg = '<svg width="1pt" viewBox="0 0 1 1"><path d="M 1.23456 2"/><text x="1.999">0.0481 mm</text></svg>'
    page = for_page(svg, "x")
    assert "0.0481 mm" in page
    assert "1.23456" not in page
