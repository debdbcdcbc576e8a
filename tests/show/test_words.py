"""Sentences about results, in the cases where a sentence goes wrong most easily."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import pytest

from auditor.advice import this_walk
from auditor.evidence import causes as found_causes
from auditor.evidence import zone_check as found_check
from auditor.evidence.distances_met import DistancesMet
from auditor.settings import Settings
from auditor.show.words import causes, distances, fallout, figures, method, presets

NAN = float("nan")


def preset(name: str = "arcade", **changes: Any) -> dict[str, Any]:
    row = {
        "preset": name, "preset_source": "session", "lens": "28 mm", "focal_length_mm": 28.0, "f_number": 8.0,
        "focus_distance_m": 2.5, "near_limit_m": 1.44, "far_limit_m": 9.84, "bursts": 100, "hits": 30,
        "hit_rate": 0.3, "low": 0.22, "high": 0.4,
    }  # fmt: skip
    return row | changes


def table(*rows: dict[str, Any]) -> pd.DataFrame:
    return pd.DataFrame(list(rows))


def rates(bursts: int, hits: int, low: float, high: float, **more: float) -> dict[str, float]:
    return {
        "bursts": bursts,
        "hits": hits,
        "hit_rate": hits / bursts if bursts else NAN,
        "low": low,
        "high": high,
    } | more


def test_presets_are_named_in_the_units_wanted_and_keep_their_setting_when_cut() -> None:
    (row,) = table(preset("the long way round the market hall and back")).itertuples()
    assert presets.preset_label(row, "ft").endswith(" · 28 mm f/8 at 8.2 ft")
    short = presets.preset_label(row, "m", 34)
    assert len(short) <= 34
    assert short.endswith(" · 28 mm f/8 at 2.5 m")


@pytest.mark.parametrize(
    ("lens", "wanted"),
    [
        (None, "28 mm f/8 at 2.5 m"),
        ("28 mm", "28 mm f/8 at 2.5 m"),
        ("old lens", "old lens · 28 mm f/8 at 2.5 m"),
    ],
)
def test_grouped_presets_are_named_by_lens_and_setting(lens: str | None, wanted: str) -> None:
    (row,) = table(preset("28 mm, f/8 at 2.5 m", preset_source="grouped", lens=lens)).itertuples()
    assert presets.preset_label(row, "m") == wanted


def test_infinite_and_unsure_far_limits() -> None:
    assert figures.zone(1.5, math.inf, 2.5, "m") == "1.5 m–∞"
    assert figures.zone(1.5, math.inf, math.inf, "ft") == "4.9 ft–∞"
    assert figures.zone(1.0, 60.0, 2.5, "m") == "1 m to beyond 50 m"
    assert figures.zone(NAN, NAN, NAN, "m") == "–"
    assert figures.setting(28, 8, math.inf, "m") == "28 mm f/8 at ∞"


@pytest.mark.parametrize(
    ("rate", "wanted"),
    [(0, "0 %"), (1, "100 %"), (0.004, "0.4 %"), (0.9986, "99.9 %"), (0.0096, "1 %"), (0.555, "56 %")],
)
def test_rates_near_the_ends_do_not_read_as_none_or_all(rate: float, wanted: str) -> None:
    assert figures.percent(rate) == wanted


def tally(
    in_kept: int, in_frames: int, out_kept: int, out_frames: int, no_distance: int = 0
) -> dict[str, float]:
    return {
        "in_kept": in_kept, "in_frames": in_frames, "out_kept": out_kept, "out_frames": out_frames,
        "no_distance": no_distance, "in_rate": 0.08, "in_low": 0.05, "in_high": 0.14, "out_rate": 0.02,
        "out_low": 0.005, "out_high": 0.06, "times": 4.0, "times_low": 1.2, "times_high": 13.0,
        "put_back": True, "drawn": True,
    }  # fmt: skip


def test_inside_and_outside_the_zone() -> None:
    said = distances.in_and_out(tally(27, 40, 12, 20))
    assert said == (
        "Inside the sharp zone 8 % (5–14 %) of the frames were kept, outside it 2 % (0–6 %) (40 and 20 "
        "frames with a distance)."
    )
    few = distances.in_and_out(tally(27, 40, 9, 20))
    assert few.endswith("with a distance): 4.0 times as often inside (1.2–13).")
    unheard = tally(27, 40, 0, 5) | {"in_rate": NAN, "out_rate": NAN}
    assert "cannot stand for the other frames" in distances.in_and_out(unheard)
    assert "cannot be compared" in distances.in_and_out(tally(3, 9, 0, 0))
    assert "Check the focus distance" in distances.in_and_out(tally(0, 0, 4, 9))
    assert distances.in_and_out(tally(0, 0, 0, 0, 12)) == distances.NO_DISTANCES
    assert distances.in_and_out(tally(0, 0, 0, 0)) == "", "nothing counts at all: said elsewhere"


def test_it_is_said_once_and_plainly_that_shares_are_put_back_to_all_frames() -> None:
    drawn = tally(27, 40, 12, 20)
    assert distances.put_back(drawn).startswith("The frames with distances were drawn, keepers more readily")
    assert "drawn" not in distances.put_back(drawn | {"drawn": False})
    assert distances.put_back(drawn | {"put_back": False}) == ""


def test_marks_without_a_distance_are_named() -> None:
    cells = [("arcade", "keeper", 3), ("arcade", "not kept", 40), ("far", "keeper", 1), ("near", "keeper", 2)]
    named = distances.without_distances(
        table(*({"preset": p, "counted_as": m, "frames": n} for p, m, n in cells))
    )
    assert "the 3 keepers of “arcade”, the 40 frames not kept of “arcade”" in named
    assert "and 1 more groups" in named
    assert distances.without_distances(table()) == ""


COUNTS: dict[str, int | None] = {
    "found": 110, "read": 108, "unreadable": 2, "merged": 8, "frames": 100, "with_zone": 90,
    "without_zone": 10, "not_zone_focused": 0, "with_subject_distance": 60, "stated": 30, "by_rule": 50,
    "marked": 80, "keepers": 20, "not_kept": 60, "left_out": 20, "missing_numbers": 0,
}  # fmt: skip


def test_steps_leave_out_what_did_not_happen() -> None:
    said = {text: number for number, text in fallout.steps(COUNTS)}
    assert said["frames"] == "100"
    assert not any("autofocused" in text for text in said)
    nothing = fallout.steps(dict.fromkeys(COUNTS, 0) | {"missing_numbers": None})
    assert [number for number, _ in nothing] == ["0"] * 5


def test_missing_numbers_change_the_rate_only_where_many() -> None:
    assert fallout.missing_numbers(COUNTS) == ""
    assert fallout.missing_numbers(COUNTS | {"missing_numbers": None}) == ""
    few = fallout.missing_numbers(COUNTS | {"missing_numbers": 5, "unreadable": 0})
    assert few == "5 file numbers are missing within sessions."
    unread = fallout.missing_numbers(COUNTS | {"missing_numbers": 1, "unreadable": 2})
    assert unread == (
        "1 file number is missing within sessions (files that could not be read may be among them)."
    )
    many = fallout.missing_numbers(COUNTS | {"missing_numbers": 20})
    assert "20 % rather than 25 %" in many  # 20 of 80 + 20


def test_rate_to_the_end_is_said_only_where_it_differs() -> None:
    ends = {"frame_rate": 0.2, "frame_low": 0.13, "frame_high": 0.29}
    assert fallout.to_the_end({"keepers": 20, "frames": 80} | ends, COUNTS) == ""
    said = fallout.to_the_end({"keepers": 20, "frames": 100} | ends, COUNTS)
    assert "20 of 100 frames would be kept: 20 % (13–29 %)" in said


@pytest.mark.parametrize("rule", ["auto", "not-kept", "keeper", "leave-out"])
def test_every_rule_for_unmarked_frames_is_said(rule: str) -> None:
    assert "nmarked frame" in fallout.unmarked_rule(Settings(unmarked=rule))  # type: ignore[arg-type]


def test_assumptions_carry_their_source_and_the_settings_in_force() -> None:
    rows = method.assumptions(Settings(speed_m_s=1.1, confidence=0.9))
    assert all(source for _, _, source in rows)
    assert any("1.1 m/s" in text for _, text, _ in rows)
    assert any(text.startswith("90") for _, text, _ in rows)
    assert "0.0300 mm and 0.0200 mm" in method.criterion("handbook", [0.03, 0.02])
    assert method.sensors(0, 10) == ""


def pairs(**changes: Any) -> pd.DataFrame:
    row = {
        "lens": "28 mm", "preset_a": "aisle", "preset_b": "counter", "status": "compared", "bursts_a": 80,
        "bursts_b": 70, "shared_a": 40, "shared_b": 35, "rate_a": 0.37, "rate_b": 0.22, "difference": 0.124,
        "low": -0.03, "high": 0.28, "p_value": 0.1, "p_adjusted": 0.1, "better": None, "more_bursts": 600,
    }  # fmt: skip
    return pd.DataFrame([row | changes])


def test_a_better_preset_is_named_whichever_side_it_stands_on() -> None:
    for table_of_pairs in (
        pairs(better="aisle", low=0.02, high=0.23),
        pairs(better="aisle", preset_a="counter", preset_b="aisle", difference=-0.124, low=-0.23, high=-0.02),
    ):
        (row,) = presets.pairs_to_say(table_of_pairs)
        assert presets.pair(row).startswith("“aisle” worked better than “counter” by 12 points (2 to 23)")


def test_presets_of_different_outings_are_not_called_better() -> None:
    apart = pairs(status="different_outings", difference=NAN, low=NAN, high=NAN, p_value=NAN)
    (row,) = presets.pairs_to_say(apart)
    said = presets.pair(row)
    assert "never used on the same outing" in said
    assert "15 points" in said


def test_every_reason_to_look_at_a_frame_has_words() -> None:
    blamed = [cause for cause in found_causes.CAUSES if cause != found_causes.UNEXPLAINED]
    wanted = {*blamed, this_walk.KEPT_THOUGH_BLURRED, this_walk.NOT_KEPT_THOUGH_SHARP}
    assert wanted == set(causes.TELLING)
    assert set(causes.NAMES) == set(found_causes.CAUSES)


def lost(**changes: Any) -> found_causes.Causes:
    frames = {
        "in_front_of_zone": 40.2, "beyond_zone": 12.0, "subject_motion": 20.0, "diffraction": 2.0,
        "not_explained_by_blur": 125.8,
    } | {name: changes.pop(name) for name in found_causes.CAUSES if name in changes}  # fmt: skip
    # The frames measured are a half of all that were not kept, and nearer subjects were measured less often.
    shares = {"in_front_of_zone": 25.2, "beyond_zone": 5.0, "subject_motion": 9.0, "diffraction": 1.0}
    of_100 = {name: shares.get(name, 59.8) if frames[name] else 0.0 for name in frames}
    listed = pd.DataFrame({"frames": frames, "of_100": of_100, "low": 0.0, "high": 60.0})
    rest = {
        "no_distance": 30, "sibling_kept": 9, "table": listed,
        "by_preset": pd.DataFrame(), "frames": pd.DataFrame(),
        "at_focus": {"frames": 50, "motion_over_criterion": 7, "diffraction_over_criterion": 0},
    }  # fmt: skip
    return found_causes.Causes(**(rest | changes))


def test_why_frames_were_lost() -> None:
    said = causes.short(lost())
    assert said == (
        "Of 100 frames not kept blur accounts for about 40, chiefly a subject too near for the ring "
        "(about 25, 0–60; 200 of them at a known distance)."
    )
    assert "9 are of bursts that hold a keeper" in causes.caution(lost(), 1.3)
    assert causes.without_distance(lost()) == "30 further frames not kept have no known blur."
    assert causes.without_distance(lost(no_distance=0)) == ""


def test_blur_that_explains_nothing_or_is_not_known() -> None:
    none = dict.fromkeys(found_causes.CAUSES, 0.0)
    assert causes.short(lost(**none | {"not_explained_by_blur": 50.0})) == (
        "Blur accounts for hardly any of the frames not kept: they were dropped for something else (50 of "
        "them at a known distance)."
    )
    assert causes.short(lost(**none)) == ""
    assert causes.short(lost(**dict.fromkeys(found_causes.CAUSES, NAN))) == ""
    assert "motion alone would have blurred 7 of 50 frames" in causes.at_focus(lost())
    assert causes.at_focus(lost(at_focus={"frames": 0})) == ""


def checked(**changes: Any) -> found_check.ZoneCheck:
    facts = {
        "criterion": "handbook", "in_kept": 80, "in_not_kept": 120, "out_kept": 10, "out_not_kept": 40,
        "in_rate": 0.3, "in_low": 0.2, "in_high": 0.4, "out_rate": 0.1, "out_low": 0.05, "out_high": 0.2,
        "times": 3.0, "times_low": 1.5, "times_high": 6.0, "odds_ratio": 2.67,
        "low": 1.3, "high": 5.5, "kept_outside": 0.11, "kept_outside_low": 0.05,
        "kept_outside_high": 0.2, "verdict": "too strict", "allowance_mm": 0.042, "allowance_low": 0.034,
        "allowance_high": 0.051, "coc_mm": 0.03,
    }  # fmt: skip
    return found_check.ZoneCheck(**(facts | changes))


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [
        (1.3, 5.5, "predicts your keepers"),
        (0.6, 5.5, "may be chance"),
        (0.1, 0.8, "focus distances may be wrong"),
    ],
)
def test_whether_the_zone_predicts(low: float, high: float, wanted: str) -> None:
    assert wanted in distances.predicts(checked(low=low, high=high))


def test_whether_the_criterion_suits() -> None:
    assert "handbook (0.030 mm) is too strict for you" in distances.criterion(checked())
    assert "0.042 mm for defocus (0.034–0.051 mm)" in distances.criterion(checked())
    assert "too generous" in distances.criterion(checked(verdict="too generous"))
    assert "about right" in distances.criterion(checked(verdict="about right"))
    assert distances.criterion(checked(verdict="cannot tell", allowance_mm=NAN)) == ""
    assert "(1.3–5.5, 250 frames)" in distances.predicts(checked())
    assert distances.outside(checked()).startswith("11 % of 90 keepers at a known distance (5–20 %)")
    assert distances.predicts(checked(odds_ratio=NAN)) == ""
    assert distances.outside(checked(kept_outside=NAN)) == ""


def met_at(bursts: int, *, differ: bool = False) -> DistancesMet:
    row = {
        "preset": None, "bursts": bursts, "frames": bursts, "p05_m": 1.2, "p25_m": 1.8, "median_m": 2.4,
        "p75_m": 3.2, "p95_m": 5.0, "in_zone": 0.8,
    }  # fmt: skip
    return DistancesMet(pd.DataFrame([row]).astype({"preset": "str"}), 0.01, differ)


def test_distances_that_were_met() -> None:
    assert "within 5.9–10.5 ft" in distances.overall(met_at(40), "ft")
    assert "The one burst" in distances.overall(met_at(1), "m")
    assert distances.differ(met_at(40)) == ""
    assert "different distances" in distances.differ(met_at(40, differ=True))
    nothing = DistancesMet(met_at(1).presets.head(0), NAN, False)
    assert distances.overall(nothing, "m") == ""
