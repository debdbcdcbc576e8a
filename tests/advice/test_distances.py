"""The distances met: freed of the guesses' error, one distribution for each preset."""

import numpy as np
import pytest
from auditor.advice.distances import LOG_M, distances_met

from auditor.settings import Settings


def moments(share):
    mean = share @ LOG_M
    return mean, np.sqrt(share @ (LOG_M - mean) ** 2)


def test_the_error_of_guesses_is_taken_out(archive):
    rng = np.random.default_rng(2)
    n = 6000
    true = np.log(2.5) + 0.35 * rng.standard_normal(n)
    guess = np.exp(true + 0.25 * rng.standard_normal(n))
    met = distances_met(archive(n, subject_distance_m=guess, subject_distance_rel_sd=0.25), Settings())
    mean, sd = moments(met.together)
    assert mean == pytest.approx(np.log(2.5), abs=0.02)
    assert sd == pytest.approx(0.35, abs=0.02)  # the guesses themselves spread by 0.43
    assert met.effective.sum() == pytest.approx(n * 0.35**2 / (0.35**2 + 0.25**2), rel=0.1)


def test_measured_distances_stay_as_they_are(archive):
    met = distances_met(archive(90, subject_distance_m=2.0, subject_distance_rel_sd=0.0), Settings())
    mean, sd = moments(met.together)
    assert mean == pytest.approx(np.log(2.0), abs=0.03)
    assert sd < 0.06  # one class of distance


def test_each_preset_keeps_its_own_distances(archive):
    distance = np.repeat([1.5, 3.0, 6.0], 100) * np.exp(0.1 * np.random.default_rng(1).standard_normal(300))
    met = distances_met(archive(300, subject_distance_m=distance, subject_distance_rel_sd=0.05), Settings())
    centres = [np.exp(moments(share)[0]) for share in met.share]
    assert centres == pytest.approx([1.5, 3.0, 6.0], rel=0.05)
    assert met.weight.tolist() == pytest.approx([1 / 3] * 3, abs=1e-12)
    assert met.bursts == 300


def test_percentiles_and_infinity(archive):
    distance = np.linspace(1.0, 3.0, 201)
    distance[-1] = np.inf
    met = distances_met(archive(201, subject_distance_m=distance), Settings())
    assert met.low_m == pytest.approx(1.1, abs=0.02)
    assert met.high_m == pytest.approx(2.9, abs=0.02)
    assert np.isfinite(met.share).all()


def test_small_presets_are_taken_together(archive):
    names = ["big"] * 50 + ["a"] * 3 + ["b"] * 2
    met = distances_met(archive(55, preset=names), Settings())
    assert sorted(met.presets) == ["big", "other"]


def test_sample_weights_count(archive):
    distance = np.repeat([1.5, 4.0], 50)
    weight = np.repeat([1.0, 9.0], 50)
    met = distances_met(
        archive(100, presets=((8.0, 2.0),), subject_distance_m=distance, subject_distance_rel_sd=0.0,
                sample_weight=weight),
        Settings(),
    )  # fmt: skip
    far = met.together[np.log(2.5) < LOG_M].sum()
    assert far == pytest.approx(0.9, abs=0.01)


def test_no_distance_at_all(archive):
    assert distances_met(archive(20, subject_distance_m=np.nan), Settings()) is None
