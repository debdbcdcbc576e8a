"""How wide the edges of a face are blurred, read from the picture.

At a ridge of the gradient the picture is taken for a step blurred with variance v across the edge. Smoothed
with a Gaussian of scale s the gradient there falls as 1/sqrt(v + s²), so its ratio R between the scales s
and 2s gives v = (4s² - R² s²)/(R² - 1). A coarse scale stands noise but cannot tell small blur; so the search
goes from coarse to fine and ends where the blur is wider than the scale. A simpler, fine-scaled reading takes
noise on a blurred face for sharpness. A disc of diameter c has the variance (c/4)² across an edge.

A reading is no verdict. It holds in full-size files with little noise and without sharpening; how others read
is a gain that the files of a session share and nobody knows. A smear reads a fifth to three fifths of its
length.
"""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.ndimage import correlate1d, gaussian_filter

Floats = npt.NDArray[np.float32]
Doubles = npt.NDArray[np.float64]

COARSEST_SCALE_PX = 8.0
FACE_PER_SCALE = 15.0  # a coarser scale would melt the parts of a face into one
SENSOR_VARIANCE_PX2: Final = 0.75**2  # of a sharp edge on a sensor with its usual processing
FLOOR_PX = 4.0  # below this a reading tells sharp faces of different pictures apart, not blur
LARGEST_REGION_PX = 400
READING_SD = 0.15  # of one reading, relative (8 to 19 faces blurred by known discs: 0.10 to 0.15)
GAIN_SD = 0.25  # of what all readings of a session share, in the logarithm (prior)
TELLS_FROM_FLOORS = 2.0  # below so many floors a reading only says: no more than that
_Z95 = 1.959964

_LEAST_OF_STRONGEST = 0.35
_STRONGEST_PERCENT = 97.0
_TIMES_NOISE = 5.0
_LEAST_RIDGE_PX = 24
# What a central difference smooths along its axis, that of a box two pixels wide.
_DIFFERENCE_VARIANCE = 1 / 3


def blur_width(grey: npt.NDArray[np.uint8], face_px: float) -> float:
    """Measure the blur of a face; 10 to 15 % right from 4 px to 0.6 of ``face_px``, on real blurred faces."""
    top, left = (max(0, (side - LARGEST_REGION_PX) // 2) for side in grey.shape)
    picture = grey[top : top + LARGEST_REGION_PX, left : left + LARGEST_REGION_PX].astype(np.float32)
    if min(picture.shape) < 12 or not face_px > 0:
        return float("nan")
    noise = noise_sd(picture)
    most = min(COARSEST_SCALE_PX, face_px / FACE_PER_SCALE)
    smoothed: dict[float, Floats] = {}
    found: tuple[Floats, Floats] | None = None
    for power in range(max(0, int(np.floor(2 * np.log2(most) + 1e-9))), -1, -1):
        scale = 2.0 ** (power / 2)
        ridges = _ridges(picture, scale, noise, smoothed)
        if ridges is None and found is not None:
            break  # noise hides the edges from here on
        found = ridges
        if ridges is not None and weighted_median(*ridges) > scale**2:
            break
    if found is None:
        return float("nan")
    return float(4.0 * max(0.0, weighted_median(*found) - SENSOR_VARIANCE_PX2) ** 0.5)


def blur_interval(reading: Doubles, floor: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """Say how much blur a reading stands for, with its 95 % interval.

    >>> blur, low, high = blur_interval(np.array([0.1, 0.03]), np.array([0.024, 0.024]))
    >>> blur.round(3), low.round(3), high.round(3)
    (array([0.1, nan]), array([0.056, 0.   ]), array([0.177, 0.085]))
    """
    times = float(np.exp(_Z95 * np.hypot(READING_SD, GAIN_SD)))
    least = TELLS_FROM_FLOORS * floor
    resolved = reading >= least
    known = np.isfinite(reading)
    high = np.where(known, np.maximum(reading, least) * times, np.nan)
    return (
        np.where(resolved, reading, np.nan),
        np.where(resolved, reading / times, np.where(known, 0.0, np.nan)),
        high,
    )


def noise_sd(picture: Floats) -> float:
    """Standard deviation of white noise, from what is left of the picture after two second differences.

    Immerkær, Fast noise variance estimation, Computer Vision and Image Understanding 64 (1996), with a median
    in place of the mean, so that edges count less.

    >>> white = np.random.default_rng(0).normal(100, 5, (200, 200)).astype("float32")
    >>> round(noise_sd(white))
    5
    """
    second = np.array([1.0, -2.0, 1.0])
    left = correlate1d(correlate1d(picture, second, axis=0), second, axis=1)[1:-1, 1:-1]
    return float(np.median(np.abs(left)) / 0.6745 / 6.0)


def _slopes(picture: Floats, scale: float, smoothed: dict[float, Floats]) -> tuple[Floats, Floats]:
    """Slopes down and along the rows of the smoothed picture."""
    key = round(scale, 3)
    if key not in smoothed:
        smoothed[key] = gaussian_filter(picture, scale, mode="nearest", truncate=3.0)
    slopes: list[Floats] = list(np.gradient(smoothed[key]))
    return slopes[0], slopes[1]


def _ridges(
    picture: Floats, scale: float, noise: float, smoothed: dict[float, Floats]
) -> tuple[Floats, Floats] | None:
    """Edge variance and gradient at the ridges of the gradient; None with too few of them."""
    down, along = _slopes(picture, scale, smoothed)
    gradient = np.hypot(down, along)
    # White noise smoothed by a Gaussian has slopes of standard deviation noise / (sqrt(8 pi) s²).
    of_noise = noise / ((8 * np.pi) ** 0.5 * scale**2)
    least = max(
        _LEAST_OF_STRONGEST * float(np.percentile(gradient, _STRONGEST_PERCENT)), _TIMES_NOISE * of_noise
    )
    at = _along_ridges(gradient, down, along) & (gradient > least)
    if np.count_nonzero(at) < _LEAST_RIDGE_PX:
        return None
    coarse_down, coarse_along = _slopes(picture, 2 * scale, smoothed)
    fine = gradient[at]
    coarse = np.hypot(coarse_down[at], coarse_along[at])
    ratio2 = np.maximum(fine / np.maximum(coarse, 1e-6), 1.01) ** 2
    narrow, wide = scale**2 + _DIFFERENCE_VARIANCE, 4 * scale**2 + _DIFFERENCE_VARIANCE
    return (wide - ratio2 * narrow) / (ratio2 - 1), fine


def _along_ridges(gradient: Floats, down: Floats, along: Floats) -> npt.NDArray[np.bool_]:
    """Pixels whose gradient is no smaller than that of both neighbours across the edge."""
    sector = np.round(np.arctan2(down, along) / (np.pi / 4)).astype(np.int8) % 4
    ridge = np.zeros(gradient.shape, dtype=bool)
    inner = gradient[1:-1, 1:-1]
    rows, columns = gradient.shape
    for number, (row, column) in enumerate(((0, 1), (1, 1), (1, 0), (1, -1))):
        ahead = gradient[1 + row : rows - 1 + row, 1 + column : columns - 1 + column]
        behind = gradient[1 - row : rows - 1 - row, 1 - column : columns - 1 - column]
        ridge[1:-1, 1:-1] |= (sector[1:-1, 1:-1] == number) & (inner >= ahead) & (inner > behind)
    return ridge


def weighted_median(values: Floats, weights: Floats) -> float:
    """Median of values that count by their weights.

    >>> weighted_median(np.array([1.0, 2.0, 9.0]), np.array([1.0, 1.0, 3.0]))
    9.0
    """
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(summed, summed[-1] / 2)]])
