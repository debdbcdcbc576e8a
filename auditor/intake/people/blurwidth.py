"""How wide the edges of a face are blurred, read from the picture.

At a ridge of the gradient the picture is taken for a step blurred with variance v across the edge. Smoothed
with a Gaussian of scale s the gradient there falls as 1/sqrt(v + s²), so its ratio R between the scales s
and 2s gives v = (4s² - R² s²)/(R² - 1). A coarse scale stands noise but cannot tell small blur; so the search
goes from coarse to fine and ends where the blur is wider than the scale. A simpler, fine-scaled reading takes
noise on a blurred face for sharpness. A disc of diameter c has the variance (c/4)² across an edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.ndimage import correlate1d, gaussian_filter

Floats = npt.NDArray[np.float32]
Cause = Literal["sharp", "moved", "missed focus", "cause not told apart", "unknown"]

COARSEST_SCALE_PX = 8.0
FACE_PER_SCALE = 15.0  # a coarser scale would melt the parts of a face into one
SENSOR_VARIANCE_PX2: Final = 0.75**2  # of a sharp edge on a sensor with its usual processing
FLOOR_PX = 4.0  # below this a reading tells sharp faces of different pictures apart, not blur
LARGEST_SHARE = 0.6  # of the face: beyond it the reading no longer grows with the blur
LARGEST_REGION_PX = 400
BLURRED_PX = 6.5  # 708 crops with c up to 4 px: none above; 1,264 from 9 px: 0.7 % below
CAUSE_FACE_PX = 120.0
MOVED_ABOVE, DEFOCUS_BELOW = 0.7, 0.4

_LEAST_OF_STRONGEST = 0.35
_STRONGEST_PERCENT = 97.0
_TIMES_NOISE = 5.0
_LEAST_RIDGE_PX = 24
_DIFFERENCE_VARIANCE = (
    1 / 3
)  # what a central difference smooths along its axis, that of a box two pixels wide
_DIRECTIONS = 8


@dataclass(frozen=True, slots=True)
class BlurWidth:
    """Blur of one face, in pixels of the picture it was read from.

    Attributes
    ----------
    diameter_px : float
        Diameter of the disc that blurs edges as much [px]; NaN where there are too few edges. Readings below
        :data:`FLOOR_PX` mean sharp and nothing finer.
    anisotropy : float
        0 where edges of every direction are blurred alike, 1 for pure motion; NaN where not told.
    direction_deg : float
        Direction of the smear, 0 along the rows, 0 to 180; NaN where not told.
    """

    diameter_px: float
    anisotropy: float
    direction_deg: float


UNKNOWN_BLUR = BlurWidth(float("nan"), float("nan"), float("nan"))


def blur_width(grey: npt.NDArray[np.uint8], face_px: float) -> BlurWidth:
    """Measure the blur of a face.

    Parameters
    ----------
    grey : numpy.ndarray of uint8, shape (rows, columns)
        The face's box, in the picture's own resolution.
    face_px : float
        Length from chin to nose root [px].

    Returns
    -------
    BlurWidth

    Notes
    -----
    Accuracy on real faces blurred by a disc, with noise, compression, sharpening and low contrast: 10 to 15 %
    from 4 px to 0.6 of ``face_px``.
    """
    picture = _middle(grey).astype(np.float32)
    if min(picture.shape) < 12 or not face_px > 0:
        return UNKNOWN_BLUR
    noise = noise_sd(picture)
    scale = coarsest_scale_px(face_px)
    smoothed: dict[float, Floats] = {}
    found: tuple[Floats, Floats, Floats] | None = None
    while True:
        ridges = _ridges(picture, scale, noise, smoothed)
        if ridges is not None:
            found = ridges
            if weighted_median(ridges[0], ridges[1]) > scale**2:
                break
        elif found is not None:
            break  # noise hides the edges from here on
        if scale <= 1.0:
            break
        scale = max(scale / 2**0.5, 1.0)
    if found is None:
        return UNKNOWN_BLUR
    variance, weight, angle = found
    own = max(0.0, weighted_median(variance, weight) - SENSOR_VARIANCE_PX2)
    anisotropy, direction = _by_direction(variance, weight, angle)
    return BlurWidth(4.0 * own**0.5, anisotropy, direction)


def coarsest_scale_px(face_px: float) -> float:
    """Scale to begin with: 1 times a power of the root of 2, at most 8 and a fifteenth of the face.

    Examples
    --------
    >>> [round(coarsest_scale_px(face), 2) for face in (10, 30, 120, 500)]
    [1.0, 2.0, 8.0, 8.0]
    """
    most = min(COARSEST_SCALE_PX, face_px / FACE_PER_SCALE)
    return float(max(1.0, 2.0 ** (np.floor(2 * np.log2(most) + 1e-9) / 2)))


def cause_of_blur(blur: BlurWidth, face_px: float) -> Cause:
    """Say what blurred a face, where that can be told.

    Examples
    --------
    >>> cause_of_blur(BlurWidth(12.0, 0.2, 10.0), 150.0), cause_of_blur(BlurWidth(12.0, 0.2, 10.0), 80.0)
    ('missed focus', 'cause not told apart')
    """
    if not np.isfinite(blur.diameter_px):
        return "unknown"
    if blur.diameter_px < BLURRED_PX:
        return "sharp"
    if face_px >= CAUSE_FACE_PX and blur.diameter_px <= LARGEST_SHARE * face_px:
        if blur.anisotropy > MOVED_ABOVE:
            return "moved"
        if blur.anisotropy < DEFOCUS_BELOW:
            return "missed focus"
    return "cause not told apart"


def noise_sd(picture: Floats) -> float:
    """Standard deviation of white noise, from what is left of the picture after two second differences.

    Immerkær, Fast noise variance estimation, Computer Vision and Image Understanding 64 (1996), with a median
    in place of the mean, so that edges count less.

    Examples
    --------
    >>> white = np.random.default_rng(0).normal(100, 5, (200, 200)).astype("float32")
    >>> round(noise_sd(white))
    5
    """
    second = np.array([1.0, -2.0, 1.0])
    left = correlate1d(correlate1d(picture, second, axis=0), second, axis=1)[1:-1, 1:-1]
    return float(np.median(np.abs(left)) / 0.6745 / 6.0)


def _middle(grey: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    rows, columns = grey.shape
    top, left = max(0, (rows - LARGEST_REGION_PX) // 2), max(0, (columns - LARGEST_REGION_PX) // 2)
    return grey[top : top + LARGEST_REGION_PX, left : left + LARGEST_REGION_PX]


def _slopes(picture: Floats, scale: float, smoothed: dict[float, Floats]) -> tuple[Floats, Floats]:
    """Slopes down and along the rows of the smoothed picture."""
    key = round(scale, 3)
    if key not in smoothed:
        smoothed[key] = gaussian_filter(picture, scale, mode="nearest", truncate=3.0)
    slopes: list[Floats] = list(np.gradient(smoothed[key]))
    return slopes[0], slopes[1]


def _ridges(
    picture: Floats, scale: float, noise: float, smoothed: dict[float, Floats]
) -> tuple[Floats, Floats, Floats] | None:
    """Edge variance, gradient and direction at the ridges of the gradient; None with too few of them."""
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
    return (wide - ratio2 * narrow) / (ratio2 - 1), fine, np.arctan2(down[at], along[at])


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

    Examples
    --------
    >>> weighted_median(np.array([1.0, 2.0, 9.0]), np.array([1.0, 1.0, 3.0]))
    9.0
    """
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(summed, summed[-1] / 2)]])


def _by_direction(variance: Floats, weight: Floats, angle: Floats) -> tuple[float, float]:
    """Fit a + b cos 2t + c sin 2t to the variance by direction t: how uneven it is, and where it peaks."""
    number = np.round(angle / (np.pi / _DIRECTIONS)).astype(int) % _DIRECTIONS
    rows, values, counts = [], [], []
    for k in range(_DIRECTIONS):
        own = number == k
        if np.count_nonzero(own) >= _LEAST_RIDGE_PX // 3:
            turn = 2 * np.pi * k / _DIRECTIONS
            rows.append((1.0, np.cos(turn), np.sin(turn)))
            values.append(max(weighted_median(variance[own], weight[own]) - SENSOR_VARIANCE_PX2, 0.0))
            counts.append(float(weight[own].sum()) ** 0.5)
    if len(rows) < 5:
        return float("nan"), float("nan")
    times = np.asarray(counts)
    even, cosine, sine = np.linalg.lstsq(np.asarray(rows) * times[:, None], np.asarray(values) * times)[0]
    if not even > 0:
        return float("nan"), float("nan")
    return min(float(np.hypot(cosine, sine) / even), 1.0), float(
        np.degrees(np.arctan2(sine, cosine)) / 2 % 180
    )
