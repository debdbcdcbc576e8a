"""Blur read from faces that were blurred by a known amount, in linear light."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.intake.people.blurwidth import FLOOR_PX, blur_interval, blur_width
from tests.intake.people.scenes import blurred_face, disc

CAMERAS = {
    "clean": {"noise": 0.5, "quality": 95},
    "noisy": {"noise": 10.0, "quality": 82},
    "flat light": {"noise": 4.0, "quality": 92, "contrast": 0.4},
}


@pytest.mark.slow
@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("face_px", [60, 120, 180])
def test_a_known_disc_is_read_within_a_quarter(face_px, camera):
    for c in (6, 9, 13, 18, 25, 36, 50, 60):
        if c <= face_px / 3:
            read = blur_width(blurred_face(face_px, disc(c), **CAMERAS[camera]), face_px)
            assert read == pytest.approx(c, rel=0.25), f"disc of {c} px"


@pytest.mark.slow
@pytest.mark.parametrize("camera", ["clean", "noisy"])
@pytest.mark.parametrize("face_px", [60, 120, 180])
def test_more_blur_reads_as_more(face_px, camera):
    steps = [c for c in (4, 6, 9, 13, 18, 25, 36, 50, 72, 100) if c <= 0.6 * face_px]
    read = [blur_width(blurred_face(face_px, disc(c), **CAMERAS[camera]), face_px) for c in steps]
    assert np.all(np.diff(read) > 0), read


@pytest.mark.parametrize("c", [25, 30, 36])
@pytest.mark.parametrize("noise", [10, 20])
def test_strong_blur_with_noise_is_not_sharp(c, noise):
    """A reading at one fine scale takes the noise for sharp edges."""
    for seed in range(3):
        grey = blurred_face(120, disc(c), noise=noise, quality=82, seed=seed)
        assert blur_width(grey, 120) > 0.6 * c


@pytest.mark.parametrize("face_px", [60, 120])
@pytest.mark.parametrize("noise", [0.5, 10])
def test_a_sharp_face_reads_below_the_floor(face_px, noise):
    blur = blur_width(blurred_face(face_px, noise=noise), face_px)
    assert blur < FLOOR_PX


def test_the_interval_by_hand():
    """One reading scatters by 15 %, the gain of a session by 25 %: together 0.2915, times 1.96 is 0.5714."""
    blur, low, high = blur_interval(np.array([0.06, 0.047, np.nan]), np.full(3, 0.024))
    assert np.isnan(blur).tolist() == [False, True, True]
    assert low.tolist() == pytest.approx([0.06 / 1.7708, 0.0, np.nan], rel=1e-3, nan_ok=True)
    assert high.tolist() == pytest.approx([0.06 * 1.7708, 0.048 * 1.7708, np.nan], rel=1e-3, nan_ok=True)


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_interval_holds_the_blur_that_was_made(camera):
    for c in (9, 13, 18, 25, 36):
        read = blur_width(blurred_face(120, disc(c), **CAMERAS[camera]), 120)
        _, low, high = blur_interval(np.array([read]), np.array([FLOOR_PX]))
        assert low[0] < c < high[0]


@pytest.mark.parametrize("grey", [np.zeros((200, 200)), np.full((8, 8), 90), np.zeros((0, 40))])
def test_nothing_to_read_is_unknown(grey):
    assert np.isnan(blur_width(grey.astype(np.uint8), 120))


def test_an_edge_blurred_by_a_gaussian_gives_its_own_width():
    """The formula itself, on a step whose blur is exactly known: a Gaussian of sd s is a disc of 4 s."""
    from scipy.special import ndtr

    across = np.arange(-100, 100)
    for sd in (2.0, 4.0, 7.0):
        total = (sd**2 + 0.75**2) ** 0.5
        step = np.tile(40 + 150 * ndtr(across / total), (200, 1)).round().astype(np.uint8)
        assert blur_width(step, 400) == pytest.approx(4 * sd, rel=0.03)
