"""The distribution of a subject's blur over classes, and how what it takes is shared among its causes."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy.special import expit

from auditor.evidence.blur_classes import (
    BLOCK,
    CAUSES,
    LOG_BLUR,
    SPEED_SPREAD,
    WALKS,
    blur_shares,
    sets_of_causes,
    share_loss,
    sharp_curve,
)
from auditor.optics.blur import airy_mm, defocus_mm, motion_mm
from auditor.optics.lens import lens_distance_m, magnification
from auditor.optics.ring_check import find_shift

UNIT = 0.03


def shares(focus_m=3.0, at_m=2.0, sd=0.0, time_s=np.nan, speed=0.0, unit=UNIT, **further):
    """The row of one subject before a 50 mm lens at f/4."""
    columns = [np.array([v]) for v in (50.0, 4.0, focus_m, np.log(at_m), sd, time_s)]
    return blur_shares(*columns, speed, np.array([unit]), **further)[0]


def parts(at_m):
    """Defocus and diffraction of it, and the smear of somebody who crosses at 1.3 m/s within 1/100 s [mm]."""
    airy = airy_mm(4.0, magnification(lens_distance_m(at_m, 50.0), 50.0))
    crossing = motion_mm(50.0, at_m, 1.3, 0.01, crossing_deg=90.0)
    return float(defocus_mm(50.0, 4.0, 3.0, at_m)), float(airy), float(crossing)


def test_a_certain_blur_lies_between_two_classes_so_that_its_mean_is_itself():
    row = shares()
    defocus, airy, _ = parts(2.0)
    blur = np.log(np.hypot(defocus, airy) / UNIT)
    assert row @ LOG_BLUR == pytest.approx(blur, abs=1e-5)
    assert np.flatnonzero(row).tolist() == [place := int(np.searchsorted(LOG_BLUR, blur)) - 1, place + 1]
    assert row.sum() == pytest.approx(1)
    assert (LOG_BLUR[0], LOG_BLUR[1] - LOG_BLUR[0]) == pytest.approx((np.log(0.03), 0.1))
    assert LOG_BLUR[-1] == pytest.approx(np.log(150), abs=0.1)


@pytest.mark.parametrize("causes", [("defocus",), ("diffraction",), ("defocus", "diffraction")])
def test_only_the_causes_that_take_part_blur(causes):
    own = dict(zip(CAUSES, (parts(2.0)[0], 0, parts(2.0)[1]), strict=True))
    blur = np.sqrt(sum(own[name] ** 2 for name in causes)) / UNIT
    assert shares(causes=causes) @ LOG_BLUR == pytest.approx(np.log(blur), abs=2e-3)


def test_what_is_sharper_or_softer_than_every_class_is_in_the_last_one_of_that_side():
    assert shares(causes=())[0] == pytest.approx(1)
    assert shares(speed=1.3, causes=("motion",))[0] == pytest.approx(1), "no movement without a time"
    assert shares(unit=1e-6)[-1] == pytest.approx(1)


def test_movement_is_that_of_five_equally_likely_walks():
    _, _, crossing = parts(2.0)
    row = shares(time_s=0.01, speed=1.3, causes=("motion",))
    assert row @ LOG_BLUR == pytest.approx(np.mean(np.log(crossing * WALKS / UNIT)), abs=0.002)
    defocus, airy, _ = parts(2.0)
    row = shares(time_s=0.01, speed=1.3)
    blur = np.sqrt(defocus**2 + airy**2 + (crossing * WALKS) ** 2)
    assert row @ LOG_BLUR == pytest.approx(np.mean(np.log(blur / UNIT)), abs=1e-4)
    still = shares(time_s=0.01, speed=1.3, causes=("defocus", "diffraction"))
    assert still == pytest.approx(shares(), abs=1e-7)


def test_walks_are_the_fifths_of_speed_times_direction():
    """Root mean squares of the fifths of a million draws; all together half of 1 + spread squared."""
    rng = np.random.default_rng(5)
    drawn = np.maximum(1 + SPEED_SPREAD * rng.standard_normal(200_000), 0)
    drawn *= np.abs(np.sin(rng.uniform(0, 2 * np.pi, 200_000)))
    fifths = np.sqrt((np.sort(drawn).reshape(5, -1) ** 2).mean(axis=1))
    assert pytest.approx(fifths, abs=0.01) == WALKS
    assert (WALKS**2).mean() == pytest.approx((1 + (0.31 / 1.32) ** 2) / 2, rel=2e-3)


def test_an_uncertain_distance_is_averaged_as_a_normal_logarithm():
    draws = np.exp(np.log(2.0) + 0.1 * np.linspace(-5, 5, 401))
    weight = np.exp(-0.5 * np.linspace(-5, 5, 401) ** 2)
    airy = airy_mm(4.0, magnification(lens_distance_m(draws, 50.0), 50.0))
    blur = np.log(np.hypot(defocus_mm(50.0, 4.0, 3.0, draws), airy) / UNIT)
    assert shares(sd=0.1) @ LOG_BLUR == pytest.approx(np.average(blur, weights=weight), abs=0.01)
    near = shares(at_m=0.05)
    assert near == pytest.approx(shares(at_m=4.05 * 0.05)), (
        "nothing nearer than four focal lengths is focused"
    )
    assert near @ LOG_BLUR > shares(at_m=0.25) @ LOG_BLUR + 0.1


def test_a_ring_that_is_off_blurs_as_the_distance_that_it_truly_focuses():
    shift = find_shift(50, [3.0], [2.4]).shift_mm
    assert shares(shift_mm=shift) == pytest.approx(shares(focus_m=2.4), abs=1e-5)


def test_every_row_is_its_own_however_many_there_are():
    n = BLOCK + 3
    at = np.resize([1.5, 2.0, 4.0, 8.0, 20.0], n)
    same = [np.full(n, v) for v in (50.0, 4.0, 3.0)]
    rows = blur_shares(*same, np.log(at), np.zeros(n), np.full(n, np.nan), 0.0, np.full(n, UNIT))
    assert rows.shape == (n, LOG_BLUR.size)
    for place in (0, 1, BLOCK - 1, BLOCK, n - 1):
        assert rows[place] == pytest.approx(shares(at_m=at[place]))


def test_half_are_sharp_at_the_tolerance_and_fewer_the_more_blur():
    curve = sharp_curve(np.log([0.5, 2.0]), np.array([[3.0], [1.0]]))
    assert curve.shape == (LOG_BLUR.size, 2, 2)
    wanted = 1 / (1 + (np.exp(LOG_BLUR) / 2.0) ** 3)
    assert curve[:, 0, 1] == pytest.approx(wanted)
    assert curve[:, 1, 0] == pytest.approx(expit(-(LOG_BLUR - np.log(0.5))))


def test_a_loss_is_shared_by_the_mean_over_all_orders():
    """Shapley (1953), over the six orders in which three causes can go."""
    rng = np.random.default_rng(1)
    sets = list(sets_of_causes())
    assert len(set(sets)) == 8
    assert (sets[0], sets[-1]) == ((), CAUSES)
    sharp = {causes: np.array([1.0, 0.5]) if not causes else rng.uniform(0, 0.5, 2) for causes in sets}
    lost = dict.fromkeys(CAUSES, 0.0)
    for order in permutations(CAUSES):
        for place, cause in enumerate(order):
            before, after = (
                tuple(name for name in CAUSES if name in order[:end]) for end in (place, place + 1)
            )
            lost[cause] = lost[cause] + (sharp[before] - sharp[after]) / 6
    found = share_loss(sharp)
    assert set(found) == set(CAUSES)
    for cause in CAUSES:
        assert found[cause] == pytest.approx(lost[cause])
    assert sum(found.values()) == pytest.approx(sharp[()] - sharp[CAUSES])
