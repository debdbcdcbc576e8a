"""Finds dark frames, a palm over the lens at a change of setting, in small pictures. Offered, never assumed.

A dark frame is noise, perhaps with light leaking past the hand: smooth, fading from where it enters. A dark
photograph has edges. Two things are measured on the means of blocks of 8 x 8 pixels, each over what the noise
between neighbouring pixels accounts for: what a smooth surface leaves of the logarithm of the light, and the
sharpest bends. A leak is smooth in the first or weak in the second; a picture is neither.
"""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
from PIL import Image

BLOCK_PX = 8
LOOKED_AT_PX = 160  # longer side, as camera thumbnails have it
BRIGHTEST = 70.0  # median, of 255: whatever is brighter is a picture
# Dark frames made from noise and light leaks stay below 4.0, photographs darkened by 5 stops above 4.5
# (tests/intake/test_markers.py).
MOST_STRUCTURE = 4.2
_STEP = 0.5  # rounding to whole numbers and JPEG, of 255
_DEGREE = 5  # of the smooth surface
_BEND_OF_LEAK = 0.1  # how sharply a leak bends for its brightness

Floats = npt.NDArray[np.float64]


def is_dark_frame(picture: Image.Image) -> bool:
    """Whether a picture looks like a frame taken with the lens covered; a large one is reduced first."""
    small = picture.convert("L")
    small.thumbnail((LOOKED_AT_PX, LOOKED_AT_PX), reducing_gap=2.0)
    light = np.asarray(small, dtype="float64")
    if min(light.shape) < 4 * BLOCK_PX or np.median(light) > BRIGHTEST:
        return False
    return structure(light) < MOST_STRUCTURE


def structure(light: Floats) -> float:
    """How much more than noise and a smooth leak a dark picture holds; shape (height, width), 0 to 255."""
    height, width = (side // BLOCK_PX for side in light.shape)
    cut = light[: height * BLOCK_PX, : width * BLOCK_PX]
    blocks = cut.reshape(height, BLOCK_PX, width, BLOCK_PX).mean(axis=(1, 3))
    # Second differences of white noise have six times its variance; 1.4826 turns the MAD into an sd.
    noise = float(np.median(np.abs(np.diff(cut, 2, axis=1)))) * 1.4826 / 6**0.5
    accounted = _STEP + 1.1 * noise / BLOCK_PX
    inner = blocks[1:-1, 1:-1]
    around = (blocks[:-2, 1:-1] + blocks[2:, 1:-1] + blocks[1:-1, :-2] + blocks[1:-1, 2:]) / 4
    allowed = accounted + _BEND_OF_LEAK * np.clip(inner - np.percentile(blocks, 5), 0, None)
    bends = float(np.quantile(np.abs(inner - around) / allowed, 0.97))
    floors = (0.0, float(np.quantile(blocks, 0.1)))
    return bends * min(_left_by_surface(blocks, floor) for floor in floors) / accounted


def _left_by_surface(blocks: Floats, floor: float) -> float:
    """Standard deviation that a smooth surface leaves of the log light above a floor, in steps of light."""
    y, x = np.mgrid[-1 : 1 : blocks.shape[0] * 1j, -1 : 1 : blocks.shape[1] * 1j]
    powers = [(i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]
    surface = np.stack([(x**i * y**j).ravel() for i, j in powers], axis=1)
    logarithm = np.log(np.maximum(blocks - floor, -3) + 4).ravel()
    left = logarithm - surface @ np.linalg.lstsq(surface, logarithm, rcond=None)[0]
    return float(left.std() * (np.median(blocks) - floor + 4))


def runs_of(dark: Iterable[bool]) -> list[tuple[int, int]]:
    """Start and length of each run of dark frames.

    >>> runs_of([False, True, True, False, True])
    [(1, 2), (4, 1)]
    """
    runs: list[tuple[int, int]] = []
    for number, is_dark in enumerate(dark):
        if is_dark and runs and sum(runs[-1]) == number:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif is_dark:
            runs.append((number, 1))
    return runs
