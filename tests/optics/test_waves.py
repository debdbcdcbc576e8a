"""Fourth side: waves. A pupil function and its Fourier transform, against the closed forms of diffraction.

The pupil is sampled on a grid with soft edges; the squared transform is the image of a point, its transform
the contrast at each spatial frequency (MTF). An even disc of diameter d has the contrast
2 J1(pi d v) / (pi d v), so every MTF50 has a disc that halves contrast at the same frequency: the common
measure of all comparisons here.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j1

from auditor.optics.blur import WAVELENGTH_MM, airy_mm, combined_mm, defocus_mm, mtf50_disc_mm

SIDE = 256  # samples across the pupil
PADDING = 32  # steps of the image in one lambda N
HALF_CONTRAST = brentq(lambda y: 2 * j1(y) / y - 0.5, 1, 3)  # pi d v at which an even disc has half contrast


def _soft_circle():
    x = (np.arange(SIDE) - SIDE / 2 + 0.5) / (SIDE / 2)
    offsets = (np.arange(4) - 1.5) / 2 / SIDE
    inside = [(x[:, None] + a) ** 2 + (x[None, :] + b) ** 2 <= 1 for a in offsets for b in offsets]
    return np.mean(inside, axis=0), x[:, None] ** 2 + x[None, :] ** 2


PUPIL, RADIUS_SQUARED = _soft_circle()


@cache
def dark_ring():
    """Diameter, in lambda N, of the first dark ring in the image of a point."""
    across = np.abs(np.fft.fft(PUPIL.sum(axis=1), PADDING * SIDE)) ** 2  # one axis of the whole transform
    dark = int(np.argmax(np.diff(across) > 0))
    a, b, c = across[dark - 1 : dark + 2]
    return 2 * (dark + 0.5 * (a - c) / (a - 2 * b + c)) / PADDING


@cache
def equivalent_disc(defocus_waves=0.0):
    """Diameter, in lambda N, of the disc with the MTF50 of a lens so many waves out of focus at its rim."""
    field = PUPIL * np.exp(2j * np.pi * defocus_waves * RADIUS_SQUARED)
    contrast = np.fft.ifft2(np.abs(np.fft.fft2(field, (2 * SIDE, 2 * SIDE))) ** 2).real[0, :SIDE]
    contrast = contrast / contrast[0]
    after = int(np.argmax(contrast < 0.5))
    step = (contrast[after - 1] - 0.5) / (contrast[after - 1] - contrast[after])
    return HALF_CONTRAST / np.pi / ((after - 1 + step) / SIDE)


F_NUMBERS = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0]


@pytest.mark.parametrize("f_number", F_NUMBERS)
@pytest.mark.parametrize("magnification", [0.0, 0.1], ids=["far", "close"])
def test_diffraction_in_focus(f_number, magnification):
    focal = 50.0
    image_distance = focal * (1 + magnification)
    lambda_n = WAVELENGTH_MM * image_distance / (focal / f_number)  # from pupil and sensor, without N_eff
    assert dark_ring() * lambda_n == pytest.approx(
        float(airy_mm(f_number, magnification)), rel=0.005
    )  # sampled pupil
    disc = equivalent_disc() * lambda_n
    assert disc == pytest.approx(float(mtf50_disc_mm(f_number, magnification)), rel=0.005)  # sampled pupil


def test_waves_far_out_of_focus_agree_with_the_blur_disc():
    """A wavefront bent by W at the rim of the pupil spreads as a disc of 8 W lambda N."""
    for f_number, subject in ((2.8, 3.0), (4.0, 3.5)):
        focal, focus = 50.0, 2.0
        geometric = float(defocus_mm(focal, f_number, focus, subject, "lens"))
        image = 1 / (1 / focal - 1e-3 / focus)
        crossing = 1 / (1 / focal - 1e-3 / subject)
        # sag of the wave at the rim against the wave that would meet on the sensor, in waves
        rim = focal / f_number / 2
        waves = rim**2 / 2 * abs(1 / crossing - 1 / image) / WAVELENGTH_MM
        lambda_n = WAVELENGTH_MM * image / (2 * rim)
        assert waves > 5
        assert equivalent_disc(waves) * lambda_n == pytest.approx(
            geometric, rel=0.01
        )  # the rest is diffraction


def test_how_far_the_root_of_the_sum_of_squares_departs_from_waves():
    """The figures that the docstring of auditor.optics.blur states."""
    waves = np.concatenate([np.linspace(0, 1, 41), np.linspace(1.25, 8, 28)])
    truth = np.array([equivalent_disc(w) for w in waves])
    lambda_n = WAVELENGTH_MM * 8.0
    geometric = 8 * waves * lambda_n
    by_mtf50 = combined_mm(geometric, mtf50_disc_mm(8.0, 0.0)) / lambda_n / truth - 1
    by_airy = combined_mm(geometric, airy_mm(8.0, 0.0)) / lambda_n / truth - 1
    assert by_mtf50.min() > -0.005
    assert by_mtf50.max() == pytest.approx(0.14, abs=0.005)
    assert waves[by_mtf50.argmax()] == pytest.approx(0.28, abs=0.05)
    assert by_airy.min() > 0
    assert by_airy.max() == pytest.approx(0.41, abs=0.01)
    assert np.all(by_airy[geometric > 4 * lambda_n] < 0.18)
    assert np.all(by_airy[geometric > 8 * lambda_n] < 0.07)
    linear = (geometric + mtf50_disc_mm(8.0, 0.0)) / lambda_n / truth - 1
    assert linear.max() > 0.5  # adding the diameters outright is worse by far
