"""Blur read from drawn edges: where the gradient's ridges lie, what noise hides, and how little is enough."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from auditor.intake.people.blurwidth import (
    _along_ridges,
    blur_interval,
    blur_width,
    noise_sd,
    weighted_median,
)


def steps(sd: float, height: float = 150.0, shape=(200, 200), at=(100,), noise: float = 0.0) -> np.ndarray:
    """Steps up and down in turn, each blurred by a Gaussian of this sd, under white noise."""
    across = np.arange(shape[1], dtype=float)
    line = sum(height * (-1) ** i * ndtr((across - place) / sd) for i, place in enumerate(at))
    tones = 60 + line + np.random.default_rng(7).normal(0, noise, shape)
    return np.clip(np.round(tones), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("down", "along"), [(0, 1), (1, 1), (1, 0), (-1, 1), (0, -1), (-1, -1)])
def test_the_ridge_of_a_straight_edge_is_its_line(down, along):
    """The gradient rises steeply along the edge, so that only looking across it finds its ridge."""
    rows, columns = np.mgrid[-15:16, -15:16].astype(float)
    off, on = rows * down + columns * along, columns * down - rows * along
    gradient = np.exp(-(off**2) / 20 + on)
    ridge = _along_ridges(gradient, np.full(off.shape, down), np.full(off.shape, along))
    drawn = (off % 2 == 0)[1:-1, 1:-1]  # slantwise the others lie beside two of the line alike
    assert np.array_equal(ridge[1:-1, 1:-1][drawn], off[1:-1, 1:-1][drawn] == 0)
    assert not ridge[[0, -1]].any()
    assert not ridge[:, [0, -1]].any()


@pytest.mark.parametrize(("down", "along"), [(0, 1), (1, 0), (0, -1)])
def test_an_edge_midway_between_two_pixels_is_one_ridge(down, along):
    rows, columns = np.mgrid[0:20, 0:20].astype(float)
    gradient = np.exp(-((abs(down) * rows + abs(along) * columns - 9.5) ** 2))
    ridge = _along_ridges(gradient, np.full((20, 20), down), np.full((20, 20), along))
    assert (ridge.sum(axis=0 if down else 1)[1:-1] == 1).all()


def test_noise_alone_shows_no_edge():
    for seed in range(3):
        grey = np.random.default_rng(seed).normal(120, 12, (150, 150)).round().astype(np.uint8)
        assert np.isnan(blur_width(grey, 30))


def test_the_noise_is_that_of_each_pixel():
    white = np.random.default_rng(1).normal(100, 5, (300, 300)).astype("float32")
    assert noise_sd(white) == pytest.approx(5, rel=0.03)
    assert noise_sd(3 * white + 40) == pytest.approx(15, rel=0.03)
    assert noise_sd(np.add.outer(np.arange(30.0), np.arange(40.0) ** 2)) == 0


def test_a_low_wide_edge_is_read_through_noise_as_high_as_itself():
    assert blur_width(steps(7.0, 24, noise=20), 400) == pytest.approx(28, rel=0.1)


def test_what_a_coarse_scale_shows_stays_where_noise_hides_it_from_finer_ones():
    """An edge of sd 5, lower than the noise: seen at a scale of 4 and at none below."""
    assert np.isfinite(blur_width(steps(5.0, 10, shape=(400, 200), noise=12), 75))


def test_fine_stripes_that_a_coarse_scale_melts_are_read_at_a_finer_one():
    fine = steps(1.0, 100, at=range(10, 190, 6), noise=3)
    assert 0 <= blur_width(fine, 400) < 6


def test_where_a_coarse_scale_mixes_two_edges_a_finer_one_decides():
    """A bar of 50 px with edges of sd 5: at a scale of 8 either edge still feels the other."""
    true = 4 * (25 - 0.75**2) ** 0.5
    assert blur_width(steps(5.0, 120, at=(75, 125)), 400) == pytest.approx(true, rel=0.02)


def test_the_size_of_the_face_bounds_the_scale():
    """Fine stripes over a wide shading: on a small face the shading is no part of it."""
    tones = steps(1.0, 40, at=range(10, 190, 6)) + 0.5 * steps(20.0, 150)
    grey = tones.round().astype(np.uint8)
    assert blur_width(grey, 20) < 8
    assert blur_width(grey, 400) > 50


def test_a_face_of_thirty_pixels_is_read_at_a_scale_of_two():
    """A scale is a fifteenth of the face at most; 31 pixels allow no other scale than 30."""
    grey = steps(3.0)
    assert blur_width(grey, 30) == blur_width(grey, 31)
    assert blur_width(grey, 30) != blur_width(grey, 29)


def test_24_pixels_of_a_ridge_are_enough_and_23_are_not():
    """The outermost rows have no neighbours, so they count for none."""
    assert blur_width(steps(3.0, shape=(26, 200)), 120) == pytest.approx(4 * (9 - 0.75**2) ** 0.5, rel=0.05)
    assert np.isnan(blur_width(steps(3.0, shape=(25, 200)), 120))


def test_twelve_pixels_a_side_are_enough_and_eleven_are_not():
    at = (50, 150, 250)
    assert blur_width(steps(3.0, shape=(12, 300), at=at), 120) == pytest.approx(11.6, rel=0.05)
    assert np.isnan(blur_width(steps(3.0, shape=(11, 300), at=at), 120))


@pytest.mark.parametrize("face_px", [0.0, -5.0, float("nan")])
def test_a_face_without_a_length_has_no_blur(face_px):
    assert np.isnan(blur_width(steps(3.0), face_px))


def test_of_a_large_face_the_middle_400_pixels_are_read():
    grey = steps(2.0, shape=(450, 600), at=(300,))
    grey[:, :90] = steps(12.0, shape=(450, 90), at=(45,))
    assert blur_width(grey, 400) == blur_width(grey[25:425, 100:500], 400) == pytest.approx(7.4, rel=0.05)


def test_a_reading_tells_its_blur_from_two_floors_on():
    blur, low, high = blur_interval(np.array([0.048]), np.array([0.024]))
    assert blur[0] == 0.048
    assert low[0] * high[0] == pytest.approx(0.048**2)


def test_the_median_counts_by_weights():
    """Half of the weight lies at or below it, in whatever order the values come."""
    assert weighted_median(np.array([9.0, 1.0, 2.0]), np.array([3.0, 1.0, 1.0])) == 9.0
    assert weighted_median(np.array([5.0, 1.0, 3.0]), np.array([1.0, 2.0, 1.0])) == 1.0
    assert weighted_median(np.array([5.0, 1.0, 3.0, 4.0]), np.array([1.0, 1.0, 1.0, 2.0])) == 4.0
