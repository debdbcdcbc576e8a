"""The pocket card of the advised settings."""

import numpy as np
import pandas as pd
import pytest

from auditor.advice.result import Advice, LightKind, ValuedSetting
from auditor.show.advice_card import advised_card
from auditor.show.cards import card_text


def valued(f_number, focus_m):
    return ValuedSetting(f_number, focus_m, 1.5, 4.0, 0.3, 0.2, 0.4, 1 / 500, 800.0, within_experience=True)


def advised(settings, current, **changes):
    values = {
        "lens": "28 mm", "focal_length_mm": 28.0, "other_lenses": (), "settings": settings,
        "current": current,
        "gain": 0.1, "gain_low": 0.02, "gain_high": 0.2, "gain_ratio": 0.3, "gain_ratio_low": 0.05,
        "gain_ratio_high": 0.6, "chance_better": 0.99, "distinguishable": True, "change_advised": True,
        "frames_needed": 0, "one_serves_all": True, "by_light": (), "distances_known": 90,
        "experience_from_m": 1.2, "experience_to_m": 4.5, "limits": None, "flags": (),
        "grid": pd.DataFrame({"f_number": [8.0]}), "coc_mm": 0.03,
    }  # fmt: skip
    return Advice(**(values | changes))


def test_head_is_what_to_set_next():
    settings, current = (valued(8.0, 2.5), valued(5.6, 3.0)), (valued(11.0, 2.0),)
    assert advised_card(advised(settings, current), "m").title == "28 mm: f/8 at 2.5 m"
    stay = advised_card(advised(settings, current, change_advised=False), "m")
    assert stay.title == "28 mm: f/11 at 2 m"
    assert stay.ring_m.tolist() == [2.0, 2.5, 3.0]
    assert stay.f_numbers.tolist() == [5.6, 8.0, 11.0]
    assert "0.030 mm" in stay.note


def test_counts_that_cannot_tell_make_no_card():
    settings, current = (valued(8.0, 2.5),), (valued(8.0, 2.5),)
    unsure = advised(settings, current, change_advised=False, grid=pd.DataFrame())
    assert advised_card(unsure, "m") is None
    told = advised(settings, (valued(5.6, 3.0),), grid=pd.DataFrame())
    assert advised_card(told, "m").title == "28 mm: f/8 at 2.5 m"


def test_limits_are_those_of_the_settings():
    card = advised_card(advised((valued(8.0, 2.0),), ()), "m")
    # Design anchor: 28 mm f/8 at 2 m, counted from the sensor plane, 0.030 mm: 1.265 to 4.896 m.
    assert float(card.zone.near_limit_m[0, 0]) == pytest.approx(1.265, abs=0.001)
    assert float(card.zone.far_limit_m[0, 0]) == pytest.approx(4.896, abs=0.001)


def test_one_setting_for_each_light():
    kinds = tuple(
        LightKind(name, 8.0, 10.0, valued(*one), 0.1)
        for name, one in {"bright": (11.0, 3.0), "medium": (8.0, 2.5), "dim": (4.0, 2.0)}.items()
    )
    card = advised_card(advised((valued(8.0, 2.5),), (), by_light=kinds, one_serves_all=False), "ft")
    assert card.title == "28 mm: by the light"
    assert card.note == "bright f/11 at 9.8 ft, medium f/8 at 8.2 ft, dim f/4 at 6.6 ft"
    assert card.note in card_text(card)


def test_rings_that_are_the_same_stand_once():
    card = advised_card(advised((valued(8.0, 2.55), valued(8.0, np.inf)), (valued(8.0, 2.5),)), "m")
    assert card.ring_m.tolist() == [2.55, np.inf]


def test_nothing_advised_no_card():
    assert advised_card(advised((), (valued(8.0, 2.5),)), "m") is None
