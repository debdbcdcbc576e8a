"""Blur read from faces that were blurred by a known amount, in linear light."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.intake.people.blurwidth import BLURRED_PX, FLOOR_PX, BlurWidth, blur_width, cause_of_blur
from tests.intake.people.scenes import blurred_face, disc, line

CAMERAS = {
    "clean": {"noise": 0.5, "quality": 95},
    "noisy": {"noise": 10.0, "quality": 82},
    "flat light": {"noise": 4.0, "quality": 92, "contrast": 0.4},
}


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("face_px", [60, 120, 180])
def test_a_known_disc_is_read_within_a_quarter(face_px, camera):
    for c in (6, 9, 13, 18, 25, 36, 50, 60):
        if c <= face_px / 3:
            read = blur_width(blurred_face(face_px, disc(c), **CAMERAS[camera]), face_px).diameter_px
            assert read == pytest.approx(c, rel=0.25), f"disc of {c} px"


@pytest.mark.parametrize("camera", ["clean", "noisy"])
@pytest.mark.parametrize("face_px", [60, 120, 180])
def test_more_blur_reads_as_more(face_px, camera):
    steps = [c for c in (4, 6, 9, 13, 18, 25, 36, 50, 72, 100) if c <= 0.6 * face_px]
    read = [blur_width(blurred_face(face_px, disc(c), **CAMERAS[camera]), face_px).diameter_px for c in steps]
    assert np.all(np.diff(read) > 0), read


@pytest.mark.parametrize("c", [25, 30, 36])
@pytest.mark.parametrize("noise", [10, 20])
def test_strong_blur_with_noise_is_not_sharp(c, noise):
    """A reading at one fine scale takes the noise for sharp edges."""
    for seed in range(3):
        grey = blurred_face(120, disc(c), noise=noise, quality=82, seed=seed)
        assert blur_width(grey, 120).diameter_px > 0.6 * c


@pytest.mark.parametrize("face_px", [60, 120])
@pytest.mark.parametrize("noise", [0.5, 10])
def test_a_sharp_face_reads_below_the_floor(face_px, noise):
    blur = blur_width(blurred_face(face_px, noise=noise), face_px)
    assert blur.diameter_px < FLOOR_PX
    assert cause_of_blur(blur, face_px) == "sharp"


@pytest.mark.parametrize("direction", [0, 45, 90, 135])
def test_movement_is_told_from_defocus(direction):
    moved = blur_width(blurred_face(180, line(16, direction), noise=4, quality=92), 180)
    assert cause_of_blur(moved, 180) == "moved"
    off = (moved.direction_deg - direction + 90) % 180 - 90
    assert abs(off) < 20
    defocused = blur_width(blurred_face(180, disc(18), noise=4, quality=92), 180)
    assert cause_of_blur(defocused, 180) == "missed focus"


def test_a_cause_is_named_only_within_its_limits():
    """The limits are those found on 8 to 19 faces: from 120 px, above 6.5 px of blur."""
    blurred = BLURRED_PX + 5
    assert cause_of_blur(BlurWidth(blurred, 0.9, 0.0), 119) == "cause not told apart"
    assert cause_of_blur(BlurWidth(blurred, 0.55, 0.0), 200) == "cause not told apart"
    assert cause_of_blur(BlurWidth(blurred, np.nan, np.nan), 200) == "cause not told apart"
    assert cause_of_blur(BlurWidth(0.8 * 130, 0.1, 0.0), 130) == "cause not told apart"
    assert cause_of_blur(BlurWidth(BLURRED_PX - 1, 0.9, 0.0), 200) == "sharp"
    assert cause_of_blur(BlurWidth(np.nan, np.nan, np.nan), 200) == "unknown"


@pytest.mark.parametrize("grey", [np.zeros((200, 200)), np.full((8, 8), 90), np.zeros((0, 40))])
def test_nothing_to_read_is_unknown(grey):
    assert np.isnan(blur_width(grey.astype(np.uint8), 120).diameter_px)


def test_an_edge_blurred_by_a_gaussian_gives_its_own_width():
    """The formula itself, on a step whose blur is exactly known: a Gaussian of sd s is a disc of 4 s."""
    from scipy.special import ndtr

    across = np.arange(-100, 100)
    for sd in (2.0, 4.0, 7.0):
        total = (sd**2 + 0.75**2) ** 0.5
        step = np.tile(40 + 150 * ndtr(across / total), (200, 1)).round().astype(np.uint8)
        assert blur_width(step, 400).diameter_px == pytest.approx(4 * sd, rel=0.03)
