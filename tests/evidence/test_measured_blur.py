"""Measured against predicted blur, and where the ring stood, on frames whose truth is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from auditor.evidence.measured_blur import (
    AGREES,
    HIDDEN,
    LESS,
    MORE,
    NOT_SHARP,
    NOT_TOLD,
    SHARP,
    compare_blur,
    judge_sharpness,
    predicted_blur,
)
from auditor.evidence.ring import check_rings
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.optics.sensors import parse_criterion
from auditor.settings import Settings

SETTINGS = Settings(speed_m_s=1.32)
FLOOR_MM = 0.024  # four pixels of 6 um


def thin_lens_mm(focal, number, focus, subject):
    """Blur disc by similar triangles, distances from the sensor plane; not the package's."""
    f = focal / 1000
    u, s = (0.5 * (d + np.sqrt(d * d - 4 * f * d)) for d in (subject, focus))
    return 1000 * f * f / (number * (s - f)) * np.abs(u - s) / u


def frames(rng, n=40, *, true_focus=2.2, stated=3.0, number=4.0, speed=0.0, sd=0.08, shutter=1 / 1000):
    """People at 1.2 to 8 m before a 35 mm lens; distances known to 8 %, blur read to 15 %."""
    true = np.exp(rng.uniform(np.log(1.2), np.log(8), n))
    smear = 35 / (1000 * true) * speed * 1000 * shutter * np.abs(np.sin(rng.uniform(0, 2 * np.pi, n)))
    disc = np.hypot(thin_lens_mm(35.0, number, true_focus, true), smear)
    airy = 1.745 * 550e-6 * number
    read = np.hypot(disc, airy) * np.exp(0.15 * rng.standard_normal(n))
    table = with_columns(
        pd.DataFrame(
            {
                "file": [f"F{i:03d}.jpg" for i in range(n)], "session": 1, "burst": range(n), "preset": "one",
                "focal_length_mm": 35.0, "f_number": number, "exposure_time_s": shutter,
                "sensor_width_mm": 36.0, "sensor_height_mm": 24.0, "focus_distance_m": stated,
                "subject_distance_m": true * np.exp(sd * rng.standard_normal(n)),
                "subject_distance_rel_sd": sd, "in_preset": True, "counted_as": "not kept",
                "measured_blur_mm": np.where(read < FLOOR_MM, FLOOR_MM * rng.random(n), read),
                "measured_blur_floor_mm": FLOOR_MM, "measured_cause": "cause not told apart",
            }
        )
    )  # fmt: skip
    return add_zones(table, parse_criterion("handbook"), 1.32)


def test_a_ring_off_its_engraving_is_found_and_named():
    (check,) = check_rings(frames(np.random.default_rng(3)), SETTINGS)
    assert check.told
    assert check.differs
    assert check.focus_m == pytest.approx(2.2, rel=0.12)
    assert check.low_m < 2.2 < check.high_m < 3.0


def test_intervals_hold_the_truth_as_often_as_they_say():
    """40 invented walks; 95 % intervals must hold the truth in at least 85 % (35 to 40 of 40: binomial)."""
    held = 0
    for seed in range(40):
        rng = np.random.default_rng([7, seed])
        true = float(np.exp(rng.uniform(np.log(1.5), np.log(4.0))))
        table = frames(rng, 30, true_focus=true, speed=1.32, shutter=1 / 500)
        (check,) = check_rings(table, SETTINGS)
        held += check.low_m <= true <= check.high_m
    assert held >= 35


def test_a_ring_on_its_engraving_is_not_accused():
    accused = 0
    for seed in range(20):
        (check,) = check_rings(frames(np.random.default_rng([9, seed]), true_focus=3.0), SETTINGS)
        accused += check.differs
    assert accused <= 3


def test_too_little_to_tell_is_said():
    assert check_rings(frames(np.random.default_rng(1), 7), SETTINGS) == []
    hidden = frames(np.random.default_rng(1), 30, number=16.0, true_focus=3.0)
    hidden["subject_distance_m"] = np.linspace(2.6, 3.5, 30)
    hidden["measured_blur_mm"] = 0.0  # everything below what shows: any ring near there would do
    (check,) = check_rings(hidden, SETTINGS)
    assert not check.told
    assert not check.differs


def test_a_few_false_readings_do_not_move_the_ring():
    table = frames(np.random.default_rng(5), 40, true_focus=3.0)
    table.loc[[0, 10, 20], "measured_blur_mm"] = 0.5
    (check,) = check_rings(table, SETTINGS)
    assert check.focus_m == pytest.approx(3.0, rel=0.12)


def test_findings():
    table = frames(np.random.default_rng(2), 6, true_focus=3.0, sd=0.02)
    table["subject_distance_m"] = [1.2, 1.2, 1.2, 3.0, 3.0, 1.2]
    table = add_zones(table, parse_criterion("handbook"), 1.32)
    at_1_2 = thin_lens_mm(35.0, 4.0, 3.0, 1.2)
    table["measured_blur_mm"] = [at_1_2, 3 * at_1_2, 0.3 * at_1_2, 0.01, 0.2, 0.0]
    found = compare_blur(table, SETTINGS).frames["finding"].tolist()
    assert found == [AGREES, MORE, LESS, HIDDEN, MORE, LESS]


def test_frames_as_predicted_are_rarely_called_otherwise():
    """Tails of 5 % on either side of both: fewer than one in ten is called out by chance."""
    found = compare_blur(frames(np.random.default_rng(8), 400, true_focus=3.0, speed=1.32), SETTINGS).frames
    assert found["finding"].isin([MORE, LESS]).mean() < 0.1
    wrong = compare_blur(frames(np.random.default_rng(8), 400, true_focus=1.6, speed=1.32), SETTINGS).frames
    assert wrong["finding"].isin([MORE, LESS]).mean() > 0.3


def test_sharp_or_not_only_where_the_reading_can_tell():
    table = frames(np.random.default_rng(2), 5)
    table["coc_mm"] = 0.030
    table["measured_blur_mm"] = [0.02, 0.035, 0.06, np.nan, 0.02]
    table.loc[4, "measured_blur_floor_mm"] = 0.048  # a preview of half the size
    assert judge_sharpness(table).tolist() == [SHARP, NOT_TOLD, NOT_SHARP, None, NOT_TOLD]


def test_who_was_measured_is_counted_by_outcome():
    table = frames(np.random.default_rng(2), 40)
    table["counted_as"] = ["keeper"] * 10 + ["not kept"] * 30
    table.loc[10:29, "measured_blur_mm"] = np.nan
    found = compare_blur(table, SETTINGS)
    assert (found.keepers_measured, found.keepers, found.others_measured, found.others) == (10, 10, 10, 30)
    assert found.difference == pytest.approx(1 - 1 / 3, abs=1e-9)
    # Newcombe 1998, method 10: Wilson 0.722 to 1 and 0.192 to 0.512; 0.667 - hypot(0.278, 0.179).
    assert (found.low, found.high) == pytest.approx((0.336, 0.808), abs=0.001)
    (preset,) = found.presets.to_dict("records")
    assert preset["measured"] == 20


def test_nothing_measured_is_nothing_compared():
    table = frames(np.random.default_rng(2), 5)
    assert compare_blur(table.drop(columns="measured_blur_mm"), SETTINGS) is None
    assert compare_blur(table.assign(measured_blur_mm=np.nan), SETTINGS) is None
    assert check_rings(table.drop(columns="measured_blur_mm"), SETTINGS) == []


def test_a_prediction_by_hand():
    """In focus at 3 m, 1/125 s: 35/(2964.6 - 35) x 1320 mm/s / 125 = 0.1262 mm straight across, 0 head on."""
    table = frames(np.random.default_rng(2), 1, sd=1e-6, shutter=1 / 125)
    table["subject_distance_m"] = table["focus_distance_m"] = 3.0
    low, middle, high = predicted_blur(table, SETTINGS)[0]
    airy = 1.745 * 550e-6 * 4
    assert high == pytest.approx(np.hypot(0.1262, airy), rel=0.015)
    assert middle == pytest.approx(np.hypot(0.1262 * 0.5**0.5, airy), rel=0.02)
    assert low < 0.1262 * np.sin(np.radians(12))
