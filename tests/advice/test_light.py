"""Light and exposure against printed tables, and what an archive tells of its owner's limits."""

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from auditor.advice.at_another_stop import LightAnswer, light_answers, only_iso, times_at
from auditor.advice.light_kinds import KINDS, kind_index, read_kind, scene_at
from auditor.advice.limits import Limits, find_limits, light_needed
from auditor.errors import UnitError
from auditor.optics.exposure import exposure_value, nominal_shutter_s
from auditor.settings import Settings

# Exposure values at ISO 100 in whole numbers, as printed for the named settings; two copies of a general
# encyclopaedia's table of exposure values, seen second-hand.
EV_TABLE = [
    (1, 1.0, 0), (1, 1.4, 1), (60, 5.6, 11), (60, 8.0, 12), (125, 5.6, 12), (125, 8.0, 13), (250, 5.6, 13),
    (250, 8.0, 14), (2000, 16.0, 19), (125, 16.0, 15),
]  # fmt: skip
# The f/16 rule: exposure time 1/ISO (US Navy, NAVEDTRA 14209, p. 4-21; NAVEDTRA 14262, p. 7-27).
F16_RULE = [("sun", 16), ("cloudy bright", 11), ("cloudy", 8), ("overcast or open shade", 5.6)]
# Exposure times of the motion table (US Navy, NAVEDTRA 14209, table 4-2, p. 4-17).
NAVY_SHUTTERS = [2000, 1000, 500, 250, 125, 60, 30, 15]


def exact_stop(nominal):
    return 2 ** (np.round(2 * np.log2(nominal)) / 2)


@pytest.mark.parametrize(("shutter", "stop", "ev"), EV_TABLE)
def test_exposure_values_of_the_printed_table(shutter, stop, ev):
    exact_time = 2.0 ** -np.round(np.log2(shutter))
    assert exposure_value(exact_stop(stop), exact_time, 100) == pytest.approx(ev, abs=1e-9)
    # Nominal numbers are rounded for engraving: up to 0.13 stops below.
    assert -0.13 <= exposure_value(stop, 1 / shutter, 100) - ev <= 0.0


@pytest.mark.parametrize(("scene", "stop"), F16_RULE)
@pytest.mark.parametrize("iso", [100, 400, 1600])
def test_f16_rule_is_one_light_at_every_iso(scene, stop, iso):
    ev = exposure_value(stop, 1 / iso, iso)
    in_sun = exposure_value(16, 1 / 100, 100)
    assert in_sun == pytest.approx(14.64, abs=0.01)  # EV 15 but for the third of a stop from 1/128 to 1/100
    stops_below_sun = [name for name, _ in F16_RULE].index(scene)
    assert ev == pytest.approx(in_sun - stops_below_sun, abs=0.1)
    assert scene_at(ev) == ("open shade" if stops_below_sun == 3 else "sun")


# Encyclopaedia, "Exposure value", table 2 (after ANSI PH2.7-1973 and -1986), seen second-hand.
@pytest.mark.parametrize(
    ("ev", "kind"), [(15, "sun"), (14, "sun"), (13, "sun"), (12, "open shade"), (10, "open shade"), (9,
    "indoors"), (8, "indoors"),
     (7, "indoors"), (6, "night"), (5, "night"), (-3, "night")],
)  # fmt: skip
def test_kinds_of_light_of_the_printed_scenes(ev, kind):
    assert KINDS[int(kind_index(ev))].name == kind


def test_kinds_of_light_leave_no_gap():
    for brighter, darker in itertools.pairwise(KINDS):
        assert brighter.from_ev > darker.from_ev
        assert KINDS[int(kind_index(brighter.from_ev))] == brighter
    for kind in KINDS:
        assert KINDS[int(kind_index(kind.usual_ev))] == kind
        assert read_kind(f" {kind.name.upper()} ") == kind
    assert int(kind_index(np.nan)) == -1
    with pytest.raises(UnitError):
        read_kind("dusk")


def test_speed_value_of_a_real_file():
    # Exif ShutterSpeedValue 8643856/1000000 beside 1/400 s, printed in a question on APEX, seen second-hand.
    assert -np.log2(1 / 400) == pytest.approx(8.643856, abs=5e-7)
    assert exposure_value(1, 1 / 400, 100) == pytest.approx(8.643856, abs=5e-7)


def test_shutter_series_of_the_navy_table():
    exact = 2.0 ** np.arange(-11.0, -3.0)  # 1/2048 ... 1/16
    assert_allclose(1 / nominal_shutter_s(exact), NAVY_SHUTTERS, rtol=1e-12)
    assert_allclose(nominal_shutter_s([0.5, 2.0]), [0.5, 2.0], rtol=1e-12)
    assert np.isnan(nominal_shutter_s(np.nan))


def test_unknown_exposures_have_no_light():
    assert np.isnan(exposure_value(8, 1 / 125, [np.nan, 0, -1, np.inf])).all()
    assert np.isnan(exposure_value(0, 1 / 125, 100))


def test_limits_that_were_stated_are_taken(archive):
    stated = Settings(iso_max=3200, wanted_shutter_s=1 / 250, slowest_shutter_s=1 / 60)
    found = find_limits(archive(), stated)
    assert (found.iso_max, found.wanted_shutter_s) == (3200, 1 / 250)
    slower_wanted = find_limits(archive(), Settings(slowest_shutter_s=1 / 1000))
    assert slower_wanted.wanted_shutter_s == 1 / 1000


def test_limits_are_read_off_the_exposures(archive):
    n = 300
    time, iso = np.full(n, 1 / 500), np.full(n, 800.0)
    time[:40], iso[:40] = 1 / 200, 6400.0  # dim: longer at the highest ISO
    time[40:80], iso[40:80] = 1 / 1000, 200.0  # bright: shorter at the lowest
    found = find_limits(archive(n, exposure_time_s=time, iso=iso), Settings())
    assert found == Limits(200, 6400, 1 / 500)


@pytest.mark.parametrize(("bright", "lowest"), [(2, 250.0), (1, 100.0)])
def test_two_frames_in_bright_light_show_the_least_sensitivity_and_one_is_chance(archive, bright, lowest):
    time, iso = np.full(20, 1 / 500), np.full(20, 800.0)
    time[:bright], iso[:bright] = 1 / 2000, [200.0, 300.0][:bright]
    iso[-5:] = 3200.0
    assert find_limits(archive(20, exposure_time_s=time, iso=iso), Settings()).iso_min == lowest


def test_a_limit_that_was_never_reached_is_the_usual_one(archive):
    found = find_limits(archive(), Settings())  # always 1/500 s, ISO 800 to 3200
    assert found.iso_min == 100  # ISO 800 was the least called for, not the least there is


def test_without_exposures_every_limit_is_the_usual_one(archive):
    found = find_limits(archive(exposure_time_s=np.nan, iso=np.nan), Settings())
    assert found == Limits(100, 6400, 1 / 250)


def test_light_needed_for_a_plan():
    needed = light_needed(
        [8, 16], Settings(iso_max=1600, wanted_shutter_s=1 / 512, slowest_shutter_s=1 / 128)
    )
    assert_allclose(needed.wanted_ev, [11, 13], atol=1e-9)  # 6 + 9 - 4, 8 + 9 - 4
    assert_allclose(needed.darkest_ev, [9, 11], atol=1e-9)


def test_a_wish_for_the_next_walk_does_not_change_what_the_frames_say_of_the_base_iso():
    """All at 1/500 s with the ISO following: whoever wants 1/125 s has not shown a base ISO of thousands."""
    rng = np.random.default_rng(3)
    frames = pd.DataFrame({"exposure_time_s": np.full(300, 1 / 500), "iso": rng.integers(400, 6400, 300)})
    for wanted in (None, 1 / 1000, 1 / 500, 1 / 250, 1 / 125):
        assert find_limits(frames, Settings().changed(wanted_shutter_s=wanted)).iso_min == 100.0


@pytest.mark.parametrize(("used", "limit"), [([800], 6400), ([12800], 12800), ([400, 800], 800)])
def test_a_sensitivity_that_never_followed_the_light_has_no_limit_that_shows(archive, used, limit):
    assert find_limits(archive(20, iso=used * (20 // len(used))), Settings()).iso_max == limit


def test_the_usual_time_is_that_of_frames_whose_sensitivity_could_still_follow(archive):
    """Twelve of twenty are at the highest sensitivity, where the time gave way to 1/60 s."""
    iso, time = np.repeat([1600.0, 6400.0], [8, 12]), np.repeat([1 / 250, 1 / 60], [8, 12])
    for settings in (Settings(), Settings(iso_max=6400)):
        assert find_limits(archive(20, iso=iso, exposure_time_s=time), settings).wanted_shutter_s == 1 / 250
    at_one = archive(20, iso=6400.0, exposure_time_s=time)
    assert find_limits(at_one, Settings()).wanted_shutter_s == 1 / 60


def test_times_within_a_sixth_of_a_stop_are_one_and_a_third_apart_are_two(archive):
    """Of ten frames four at 1/125 s; the others at 1/500 s, half of them as 1/520, or as 1/400."""
    for other, usual in ((520, (1 / 500 + 1 / 520) / 2), (400, 1 / 125)):
        time = 1 / np.repeat([125.0, 500.0, other], [4, 3, 3])
        found = find_limits(archive(10, iso=800.0, exposure_time_s=time), Settings())
        assert found.wanted_shutter_s == pytest.approx(usual, rel=1e-9)


def test_a_plan_wants_no_longer_time_than_the_slowest_that_was_stated():
    short = light_needed(8, Settings(slowest_shutter_s=1 / 1000))
    assert (short.wanted_shutter_s, short.slowest_shutter_s, short.iso_max) == (1 / 1000, 1 / 1000, 6400)
    none = light_needed(8, Settings())
    assert (none.wanted_shutter_s, none.slowest_shutter_s) == (1 / 250, 1 / 125)
    long = light_needed(8, Settings(slowest_shutter_s=1 / 30))
    assert (long.wanted_shutter_s, long.slowest_shutter_s) == (1 / 250, 1 / 30)
    wished = light_needed(8, Settings(wanted_shutter_s=1 / 60))
    assert (wished.wanted_shutter_s, wished.slowest_shutter_s) == (1 / 60, 1 / 60)


def test_a_scene_has_the_light_that_it_usually_has():
    assert [scene_at(ev) for ev in (15.0, 12.0, 8.0, 5.0)] == [kind.name for kind in KINDS]
    assert [scene_at(ev) for ev in (15.1, 12.1, 8.1)] == ["more than full sun", "sun", "open shade"]


FREE = LightAnswer(100, 6400, 1 / 250, 1.0)


@pytest.mark.parametrize(
    ("iso", "time", "stop", "answer", "then"),
    [
        (400, 1 / 60, 16, FREE, 1 / 60),  # ISO 1600
        (3200, 1 / 125, 16, FREE, 2 / 125),  # ISO 12800 is twice the highest
        (200, 1 / 125, 4, FREE, 1 / 250),  # ISO 50 is half the lowest
        (6400, 1 / 30, 4, FREE, 1 / 120),  # at the highest already: two stops go into the time
        (6400, 1 / 30, 2, FREE, 1 / 250),  # and no farther than to the wanted one, at ISO 3333
        (100, 1 / 1000, 16, FREE, 1 / 250),
        (100, 1 / 1000, 4, FREE, 1 / 4000),
        (6300, 1 / 30, 2, FREE, 1 / 250),  # within 2 % of a limit is at it
        (6200, 1 / 30, 2, FREE, 1 / 30),
        (101, 1 / 1000, 16, FREE, 1 / 250),
        (103, 1 / 1000, 16, FREE, 1 / 1000),
        (5000, 1 / 60, 2, replace(FREE, iso_max=5100), 1 / 250),
        (102, 1 / 1000, 16, FREE, 1 / 250),
        (3200, 1 / 60, 4, replace(FREE, iso_max=1600), 1 / 120),  # beyond what is accepted now
        (3200, 1 / 60, 8, replace(FREE, iso_max=1600), 1 / 60),
        (3200, 1 / 60, 8.1, replace(FREE, iso_max=1600), 1 / 60),  # the same stop
        (3200, 1 / 60, 7.9, replace(FREE, iso_max=1600), 1 / 60),
        (3200, 1 / 60, 8.16, replace(FREE, iso_max=1600), 2 * 1.02**2 / 60),
        (np.nan, 1 / 60, 4, FREE, 1 / 60),
        (400, np.nan, 4, FREE, np.nan),
    ],
)
def test_at_another_stop_the_sensitivity_follows_first_and_then_the_time(iso, time, stop, answer, then):
    """Taken at f/8; ISO 100 to 6400, 1/250 s wanted: as a camera with these limits would answer."""
    light = exposure_value(8.0, time, iso)
    frame = SimpleNamespace(
        f_number=np.array([8.0]), exposure_time_s=np.array([time]), iso=np.array([iso]), ev=np.array([light])
    )
    assert_allclose(times_at(frame, stop, answer), [then], rtol=1e-9)
    by_flash = SimpleNamespace(**(vars(frame) | {"ev": np.array([np.nan])}))
    assert_allclose(times_at(by_flash, stop, answer), [time])


@pytest.mark.parametrize(
    ("iso", "single"),
    [
        ([800] * 97 + [100, 1600, 3200], 800),  # but for three slips of a hundred
        ([800] * 96 + [100, 1600, 3200, 6400], None),
        ([100, 200, 400, 800, 1600, 3200], None),
        ([790, 800, 810, np.nan], 800),
        ([np.nan, 0.0], None),
    ],
)
def test_one_sensitivity_is_the_only_one_but_for_slips(iso, single):
    assert only_iso(np.array(iso, dtype=float)) == single


def test_who_used_one_sensitivity_keeps_to_it_or_lets_it_follow(archive):
    for iso, lowest, highest in ((400.0, 100, 6400), (12800.0, 100, 12800), (50.0, 50, 6400)):
        kept, free = light_answers(archive(20, iso=iso), Settings())
        assert (kept.iso_min, kept.iso_max) == (iso, iso)
        assert (free.iso_min, free.iso_max) == (lowest, highest)
        assert kept.weight > free.weight
        assert kept.weight + free.weight == pytest.approx(1.0)
    several = light_answers(archive(20, iso=[400.0, 1600.0] * 10), Settings())
    assert [(one.iso_min, one.iso_max) for one in several] == [(100, 1600), (100, 3200)]
    assert sum(one.weight for one in several) == pytest.approx(1.0)
