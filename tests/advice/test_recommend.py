"""What is advised, when a change is, and what is said where little is known."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from auditor.advice.lens_use import declared_lenses
from auditor.advice.preference import in_order
from auditor.advice.recommend import advise
from auditor.advice.result import as_json

from auditor.advice import flags
from auditor.errors import SettingError
from auditor.intake.statements.session import Lens, SessionFile
from auditor.settings import Settings

LENS = Lens("lens A", 28.0, (2.8, 4.0, 5.6, 8.0, 11.0, 16.0), (0.7, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, np.inf))
SETTINGS = Settings(iso_max=6400, wanted_shutter_s=1 / 500, slowest_shutter_s=1 / 125)
CONTRACT_SETTING = {
    "f_number", "focus_distance_m", "near_limit_m", "far_limit_m", "expected_hit_rate", "low", "high",
    "median_shutter_s", "median_iso", "within_experience",
}  # fmt: skip
CONTRACT = {
    "lens", "focal_length_mm", "other_lenses", "settings", "current", "distinguishable", "change_advised",
    "frames_needed", "flags",
}  # fmt: skip


def test_settings_can_be_dialled_in_and_lie_within_experience(archive, tolerance):
    table = archive()
    advice = advise(table, [LENS], SETTINGS, tolerance(spread=0.2))
    known = table["subject_distance_m"].quantile([0.05, 0.95])
    used = {2.5, 3.0, 1.5}
    for one in advice.settings:
        assert one.f_number in LENS.f_stops
        assert one.focus_distance_m in {*LENS.ring_m, *used}
        assert (
            known.iloc[0] * 0.97 <= one.focus_distance_m <= known.iloc[1] * 1.03
            or one.focus_distance_m in used
        )
        assert one.within_experience
        assert one.low <= one.expected_hit_rate <= one.high
    grid = advice.grid
    assert set(grid.loc[~grid["within_experience"], "focus_distance_m"]) >= {0.7, np.inf}
    assert len(advice.current) == 3
    assert advice.current[0].bursts >= advice.current[-1].bursts


def test_a_ring_in_use_may_be_advised_beyond_experience(archive, tolerance):
    table = archive(presets=((8.0, np.inf), (8.0, 2.0)), subject_distance_m=np.linspace(1.5, 2.5, 300))
    grid = advise(table, [LENS], SETTINGS, tolerance()).grid
    assert grid.loc[np.isinf(grid["focus_distance_m"]), "within_experience"].all()
    assert not grid.loc[grid["focus_distance_m"] == 5.0, "within_experience"].any()


def test_change_to_a_clearly_better_setting(archive, tolerance):
    table = archive(presets=((2.8, 5.0), (2.8, 1.2)))
    advice = advise(table, [LENS], SETTINGS, tolerance(spread=0.1))
    assert advice.change_advised
    assert advice.distinguishable
    assert advice.gain_low > 0
    assert advice.gain >= 0.05
    assert advice.frames_needed == 0


def test_no_change_for_less_than_it_is_worth(archive, tolerance):
    table = archive(presets=((2.8, 5.0), (2.8, 1.2)))
    gain = advise(table, [LENS], SETTINGS, tolerance(spread=0.1)).gain_ratio
    unmoved = advise(table, [LENS], replace(SETTINGS, worth=1.1 * gain), tolerance(spread=0.1))
    assert unmoved.distinguishable
    assert not unmoved.change_advised


def test_somebody_who_keeps_5_of_100_can_be_advised_a_change(archive, tolerance):
    """A gain is measured against what is kept now: twice as much is worth a change at 5 of 100 as at 50."""
    rng = np.random.default_rng(2)
    table = archive(
        presets=((2.8, 5.0), (2.8, 1.2)), counted_as=np.where(rng.random(300) < 0.05, "keeper", "not kept")
    )
    advice = advise(table, [LENS], SETTINGS, tolerance(ceiling=0.06, floor=0.003, spread=0.1))
    assert advice.change_advised
    assert advice.gain < 0.05
    assert advice.gain_ratio > 0.1
    assert advice.gain_ratio_low < advice.gain_ratio < advice.gain_ratio_high
    assert advice.chance_better > 0.9


def test_no_change_on_distances_of_keepers(archive, tolerance):
    table = archive(presets=((2.8, 5.0), (2.8, 1.2)))
    advice = advise(table, [LENS], SETTINGS, tolerance(spread=0.1, flags=["distances_of_keepers"]))
    assert not advice.change_advised
    assert "distances_of_keepers" in advice.flags


def test_nothing_is_ranked_by_a_fit_that_does_not_carry(archive, tolerance, unfitted):
    """Whatever was fitted, and where nothing was: the usual curve, at the person's own level."""
    table = archive(presets=((2.8, 5.0), (2.8, 1.2)))
    weak = [tolerance(blur_mm=size, flags=["not_enough"]) for size in (0.02, 0.3)]
    advised = [advise(table, [LENS], SETTINGS, fitted) for fitted in (*weak, unfitted)]
    for one in advised:
        assert flags.USUAL_CURVE in one.flags
        pd.testing.assert_frame_equal(one.grid, advised[0].grid)
        assert list(map(repr, one.settings)) == list(map(repr, advised[0].settings))
    bursts = np.array([one.bursts for one in advised[0].current])
    expected = bursts @ [one.expected_hit_rate for one in advised[0].current] / bursts.sum()
    assert expected == pytest.approx((table["counted_as"] == "keeper").mean(), abs=0.03)
    few = table.assign(subject_distance_m=table["subject_distance_m"].where(np.arange(300) < 19))
    assert flags.USUAL_CURVE not in advise(few, [LENS], SETTINGS, unfitted).flags


def test_where_light_is_unknown_only_stops_in_use_are_advised(archive, tolerance):
    advice = advise(archive(iso=800.0), [LENS], SETTINGS, tolerance())
    assert flags.NO_LIGHT in advice.flags
    assert {one.f_number for one in advice.settings} <= {5.6, 8.0, 11.0}


def test_no_change_where_only_the_distances_of_other_presets_speak_for_it(archive, tolerance):
    """Subjects of the preset in use stand where it is sharp; those of the other do not."""
    distance = np.concatenate([np.full(160, 1.2), np.full(140, 5.0)])
    distance = distance * np.exp(0.05 * np.random.default_rng(0).standard_normal(300))
    preset = np.repeat([0, 1], [160, 140])
    table = archive(
        presets=((2.8, 1.2), (2.8, 5.0)),
        preset=[f"preset {p}" for p in preset],
        f_number=2.8,
        focus_distance_m=np.where(preset == 0, 1.2, 5.0),
        subject_distance_m=distance,
    )
    advice = advise(table, [LENS], SETTINGS, tolerance(blur_mm=0.03))
    assert advice.current[0].focus_distance_m == 1.2
    assert not advice.change_advised


def test_many_presets_do_not_outvote_the_distances_met_with_the_one_in_use(archive, tolerance):
    """Nineteen presets met people far off; the one in use most met them near, where it is at its best."""
    preset = np.concatenate([np.zeros(30, dtype=int), 1 + np.arange(370) % 19])
    distance = np.where(preset == 0, 1.2, 4.0) * np.exp(0.1 * np.random.default_rng(0).standard_normal(400))
    table = archive(
        400,
        presets=((5.6, 1.2),),
        preset=[f"preset {p}" for p in preset],
        f_number=np.where(preset == 0, 5.6, 8.0),
        focus_distance_m=np.where(preset == 0, 1.2, 3.0 + 0.05 * preset),
        subject_distance_m=distance,
        iso=1600.0,
    )
    advice = advise(table, [LENS], SETTINGS, tolerance(blur_mm=0.03))
    assert advice.current[0].focus_distance_m == 1.2
    assert advice.gain_low > 0
    assert not advice.change_advised
    assert flags.DISTANCES_DIFFER in advice.flags


def test_within_one_per_cent_lower_iso_then_the_wider_margin():
    rate = np.array([0.400, 0.398, 0.397, 0.390])
    iso = np.array([1600.0, 800.0, 800.0, 100.0])
    everything = np.ones(4, dtype=bool)
    assert in_order(rate, everything, iso, np.array([0.3, 0.2, 0.3, 0.3])).tolist() == [2, 1, 0, 3]
    assert in_order(rate, everything, np.full(4, np.nan), np.zeros(4)).tolist() == [0, 1, 2, 3]
    assert in_order(rate, np.array([False, False, True, True]), iso).tolist() == [2, 3]


def test_first_setting_is_nearly_the_best_and_no_noisier_than_needed(archive, tolerance):
    advice = advise(archive(), [LENS], SETTINGS, tolerance())
    best = max(one.expected_hit_rate for one in advice.settings)
    near = [one for one in advice.settings if one.expected_hit_rate >= 0.99 * best]
    assert advice.settings[0].median_iso == min(one.median_iso for one in near)
    assert np.isfinite(advice.settings[0].ring_off_rate)


def test_wishes_for_f_numbers_are_kept(archive, tolerance):
    narrow = replace(SETTINGS, f_number_min=5.6, f_number_max=8)
    advice = advise(archive(), [LENS], narrow, tolerance())
    assert {one.f_number for one in advice.settings} <= {5.6, 8.0}
    assert 11.0 in {one.f_number for one in advice.current}
    with pytest.raises(SettingError, match=r"no f-number from f/18 to f/22") as error:
        advise(archive(), [LENS], replace(SETTINGS, f_number_min=18, f_number_max=22), tolerance())
    assert "f/16" in error.value.next_step


def test_light_too_low_for_everything(archive, tolerance):
    dark = replace(SETTINGS, iso_max=100, wanted_shutter_s=1 / 4000, slowest_shutter_s=1 / 4000)
    with pytest.raises(SettingError, match="No setting meets the wishes"):
        advise(archive(), [LENS], dark, tolerance())


def test_two_kinds_of_light_want_two_settings(archive, tolerance):
    """Half the frames in light that only the wide stops can use."""
    n = 300
    iso = np.where(np.arange(n) % 2 == 0, 200.0, 51200.0)
    time = np.where(np.arange(n) % 2 == 0, 1 / 500, 1 / 125)
    table = archive(n, iso=iso, exposure_time_s=time, f_number=8.0)
    advice = advise(table, [LENS], SETTINGS, tolerance())
    assert [kind.name for kind in advice.by_light] == ["bright", "medium", "dim"]
    bright, _, dim = (kind.setting for kind in advice.by_light)
    assert dim.f_number < bright.f_number
    assert not advice.one_serves_all
    steady = advise(archive(iso=1600.0, f_number=8.0), [LENS], SETTINGS, tolerance())
    assert steady.by_light == ()
    assert steady.one_serves_all


def test_without_distances_the_counts_speak(archive, unfitted):
    table = archive(subject_distance_m=np.nan)
    advice = advise(table, [LENS], SETTINGS, unfitted)
    assert flags.NO_DISTANCES in advice.flags
    assert len(advice.settings) == 3
    rates = [one.expected_hit_rate for one in advice.settings]
    assert rates == sorted(rates, reverse=True)
    assert not advice.change_advised
    assert advice.frames_needed is None or advice.frames_needed >= 0
    assert all(np.isnan(one.median_iso) for one in advice.settings)


def test_counts_advise_a_change_only_within_sessions_and_light(archive, unfitted):
    kept = np.concatenate([np.arange(150) % 8 == 0, np.arange(150) % 2 == 0])
    turns = np.arange(300) // 150
    by_turns = np.argsort(np.arange(300) % 150 // 15, kind="stable")  # changing over every 15 bursts
    when = pd.Series(pd.date_range("2031-05-01 10:00", periods=300, freq="30s"))[np.argsort(by_turns)]
    columns = {
        "presets": ((8.0, 2.5), (8.0, 4.0)),
        "counted_as": np.where(kept, "keeper", "not kept"),
        "subject_distance_m": np.nan,
        "iso": 800.0,
    }
    together = advise(archive(captured_at=when.to_numpy(), **columns), [LENS], SETTINGS, unfitted)
    assert together.change_advised is (together.current[0].preset == "preset 0")
    assert together.settings[0].preset == "preset 1"
    one_go = advise(archive(**columns), [LENS], SETTINGS, unfitted)
    assert not one_go.change_advised
    apart = advise(archive(session=turns + 1, **columns), [LENS], SETTINGS, unfitted)
    assert apart.settings[0].preset == "preset 1"
    assert not apart.change_advised


@pytest.mark.parametrize("missing", ["iso", "exposure_time_s"])
def test_without_light(archive, tolerance, missing):
    advice = advise(archive(**{missing: np.nan}), [LENS], Settings(), tolerance())
    assert (flags.NO_LIGHT if missing == "iso" else flags.NO_EXPOSURES) in advice.flags
    assert advice.settings
    assert advice.by_light == ()


@pytest.mark.parametrize("n", [1, 2, 7])
def test_hardly_any_frame(archive, unfitted, tolerance, n):
    for fitted in (unfitted, tolerance(flags=["not_enough"])):
        advice = advise(archive(n, presets=((8.0, 2.5),)), [LENS], SETTINGS, fitted)
        assert flags.ONE_PRESET in advice.flags
        assert not advice.change_advised
        json.dumps(as_json(advice), allow_nan=False)


def test_nothing_counted(archive, tolerance):
    with pytest.raises(SettingError, match="nothing to advise on"):
        advise(archive(counted_as="left out"), [LENS], SETTINGS, tolerance())


def test_a_lens_is_found_by_name_or_length_and_others_are_listed(archive, tolerance):
    focal = np.where(np.arange(300) < 100, 50.0, 28.0)
    names = np.where(focal == 50.0, "lens B", "lens A")
    table = archive(focal_length_mm=focal, lens=names)
    assert advise(table, [], SETTINGS, tolerance()).lens == "lens A"
    assert advise(table, [], SETTINGS, tolerance(), "LENS b").focal_length_mm == 50.0
    chosen = advise(table, [], SETTINGS, tolerance(), "50mm")
    assert chosen.lens == "lens B"
    assert chosen.other_lenses == ("lens A",)
    with pytest.raises(SettingError, match="'lens C'") as error:
        advise(table, [], SETTINGS, tolerance(), "lens C")
    assert "lens A, lens B" in error.value.next_step


def test_too_few_distances_of_a_lens_are_filled_up_with_all(archive, tolerance):
    focal = np.where(np.arange(300) < 280, 28.0, 50.0)
    table = archive(focal_length_mm=focal, lens=np.where(focal == 28.0, "lens A", "lens B"))
    advice = advise(table, [], SETTINGS, tolerance(), "lens B")
    assert flags.DISTANCES_OF_ALL_LENSES in advice.flags
    assert advice.distances_known == 300


def test_usual_settings_where_nobody_declared_the_lens(archive, tolerance):
    advice = advise(archive(), [], SETTINGS, tolerance())
    assert flags.USUAL_SETTINGS in advice.flags
    assert set(advice.grid["f_number"]) == {2.8, 4.0, 5.6, 8.0, 11.0, 16.0}


def test_of_two_declarations_the_one_that_says_more_rules():
    short, full = Lens("lens A", 28.0), LENS
    found = declared_lenses([SessionFile(lenses=(short,)), SessionFile(lenses=(full,)), SessionFile()])
    assert found == (full,)


def test_json_has_the_names_of_the_contract(archive, tolerance):
    values = as_json(advise(archive(), [LENS], SETTINGS, tolerance()))
    assert set(values) >= CONTRACT
    assert set(values["settings"][0]) >= CONTRACT_SETTING
    assert set(values["current"][0]) >= CONTRACT_SETTING
    json.dumps(values, allow_nan=False)
    assert isinstance(values["change_advised"], bool)


def test_the_same_archive_gets_the_same_advice(archive, tolerance):
    first, second = (as_json(advise(archive(), [LENS], SETTINGS, tolerance(spread=0.2))) for _ in range(2))
    assert first == second
