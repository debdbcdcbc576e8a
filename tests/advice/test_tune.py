"""The preferred aperture: expected and observed rates, and losses that add up."""

import json

import numpy as np
import pytest
from auditor.advice.losses import shapley_share
from auditor.advice.result import as_json
from auditor.advice.tune import tune

from auditor.intake.statements.session import Lens
from auditor.settings import Settings

LENS = Lens("lens A", 28.0, (2.8, 4.0, 5.6, 8.0, 11.0, 16.0), (1.0, 1.2, 1.5, 2.0, 3.0, 5.0))
SETTINGS = Settings(iso_max=6400, wanted_shutter_s=1 / 500, slowest_shutter_s=1 / 125)
CONTRACT_STOP = {
    "f_number", "focus_distance_m", "expected", "low", "high", "observed", "n", "lost_to_defocus",
    "lost_to_motion", "lost_to_diffraction",
}  # fmt: skip


def test_expected_and_losses_add_up_to_the_ceiling(archive, tolerance):
    result = tune(archive(), [LENS], SETTINGS, tolerance(ceiling=0.5))
    assert [stop.f_number for stop in result.stops] == list(LENS.f_stops)
    for stop in result.stops:
        lost = stop.lost_to_defocus + stop.lost_to_motion + stop.lost_to_diffraction + stop.lost_to_light
        assert stop.expected + lost == pytest.approx(0.5, abs=0.002)
        assert min(stop.lost_to_defocus, stop.lost_to_motion, stop.lost_to_diffraction) >= 0


def test_stopping_down_costs_less_defocus_and_more_diffraction(archive, tolerance):
    stops = tune(archive(), [LENS], SETTINGS, tolerance()).stops
    defocus = [stop.lost_to_defocus for stop in stops]
    diffraction = [stop.lost_to_diffraction for stop in stops]
    assert defocus == sorted(defocus, reverse=True)
    assert diffraction == sorted(diffraction)
    assert stops[-1].median_iso >= stops[0].median_iso


def test_observed_rates_are_the_counts(archive, tolerance):
    table = archive()
    stops = {stop.f_number: stop for stop in tune(table, [LENS], SETTINGS, tolerance()).stops}
    for number in (5.6, 8.0, 11.0):
        own = table[table["f_number"] == number]
        assert stops[number].n == len(own)
        assert stops[number].observed == pytest.approx((own["counted_as"] == "keeper").mean(), abs=1e-12)
    assert stops[2.8].n == 0
    assert np.isnan(stops[2.8].observed)
    at_rings = {ring.focus_distance_m: ring for ring in stops[8.0].at_rings_in_use}
    assert set(at_rings) == {1.5, 2.5, 3.0}
    assert at_rings[2.5].n == 100
    assert at_rings[3.0].n == 0


def test_dim_light_wants_a_wider_stop(archive, tolerance):
    n = 300
    iso = np.geomspace(200, 51200, n)
    table = archive(n, iso=np.minimum(iso, 6400), exposure_time_s=np.where(iso > 6400, iso / 6400, 1) / 500)
    result = tune(table, [LENS], SETTINGS, tolerance())
    assert result.prefer["dim"] < result.prefer["bright"]
    assert result.light_ev["dim_below"] < result.light_ev["bright_above"]


def test_steady_light_is_one_kind(archive, tolerance):
    result = tune(archive(iso=np.resize([1600.0, 1601.0], 300), f_number=8.0), [LENS], SETTINGS, tolerance())
    assert result.prefer == {"bright": None, "medium": result.preferred, "dim": None}


def test_without_distances_only_what_was_observed(archive, unfitted):
    result = tune(archive(subject_distance_m=np.nan), [LENS], SETTINGS, unfitted)
    assert [stop.f_number for stop in result.stops] == [5.6, 8.0, 11.0]
    assert all(np.isnan(stop.expected) and stop.n == 100 for stop in result.stops)
    assert result.preferred is None
    json.dumps(as_json(result), allow_nan=False)


def test_json_has_the_names_of_the_contract(archive, tolerance):
    values = as_json(tune(archive(), [LENS], SETTINGS, tolerance()))
    assert {"lens", "stops", "prefer"} <= set(values)
    assert set(values["stops"][0]) >= CONTRACT_STOP
    assert set(values["prefer"]) == {"bright", "medium", "dim"}
    json.dumps(values, allow_nan=False)


def test_shares_of_the_glove_game():
    """The textbook glove game: owners of a left glove each and one of a right glove; 1/6, 1/6, 2/3.

    Standard example of the Shapley value (general encyclopaedia, from memory). A loss is a negative worth.
    """
    players = ("left one", "left two", "right")

    def worth(coalition):
        return float("right" in coalition and len(coalition) > 1)

    coalitions = [(), *[(p,) for p in players], players[:2], (players[0], players[2]), players[1:], players]
    rate = {coalition: np.asarray(-worth(coalition)) for coalition in coalitions}
    shares = [float(shapley_share(player, rate)) for player in players]
    assert shares == pytest.approx([1 / 6, 1 / 6, 2 / 3], abs=1e-12)
