"""Finds the faces of a picture: a look at the whole, reduced, then a second look at each.

Boxes of the first look are coarse and some are false. So each is looked at again at the sizes at which the
detector is surest: it must be found again there, and its length is read there. Where coarse grain hides it
from the second look, that is tried once more, softened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from auditor.intake.people.facemodel import SIDES_BY, find
from auditor.intake.people.faces import Box, Face, without_doubles

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

LONG_SIDE_PX = 1504  # of the first look: the time goes with its square
# Where nobody is (22 packaged pictures at three sizes) one place scored 0.27 at first and 0.09 again.
FIRST_SCORE, SECOND_SCORE = 0.3, 0.45
# Sides of the pieces for the second look, and what they span in box sides: the box is 64 px, where its height
# follows the face best.
SECOND_LOOKS: Final = ((128, 2.0), (160, 2.5), (192, 3.0))
# Gaussian. Of 198 faces under grain of sd 25, clumps of 2 and 3 px, half with a hard curve, it brings back 6; a
# softened first look at half the size brings back 1 more and was left out.
SOFTENED_BY_PX = 1.0
MOST_FACES = 20

# Over the length from chin to nose root: the box's width and height, and from the eyes to the mouth. Means of
# 11 faces at 64 to 300 px; each alone follows the length to 5.5, 3.4 and 4.3 %. Blur shrinks the height and
# stretches the last, by 2 to 4 % for a disc of 0.1 to 0.2 of the length, so that it cancels.
BOX_WIDTH, BOX_HEIGHT, EYES_TO_MOUTH = 1.198, 1.520, 0.539
NOSE_ROOT_ABOVE_EYES = 0.04  # of the length (from memory)

Floats = npt.NDArray[np.float64]


def find_faces(picture: Picture) -> list[Face]:
    """Find the faces of an upright RGB picture, in its full resolution; the surest first."""
    first = without_doubles(_first_look(picture))[: 2 * MOST_FACES]
    seen = [_second_look(picture, face) for face in first]
    return without_doubles([face for face in seen if face is not None])[:MOST_FACES]


def _first_look(picture: Picture) -> list[Box]:
    scale = max(1.0, max(picture.size) / LONG_SIDE_PX)
    size = max(round(picture.width / scale), 1), max(round(picture.height / scale), 1)
    small = picture.resize(size, Image.Resampling.BOX, reducing_gap=1.0) if scale > 1 else picture
    columns, rows = (-(-side // SIDES_BY) * SIDES_BY for side in size)
    canvas = np.zeros((rows, columns, 3), np.uint8)
    canvas[: size[1], : size[0]] = np.asarray(small)
    seen = find(canvas, FIRST_SCORE)
    boxes = zip(*(seen.box * scale).T.tolist(), seen.score.tolist(), strict=True)
    return [Box(left, top, width, height, score) for left, top, width, height, score in boxes]


def _second_look(picture: Picture, first: Box) -> Face | None:
    """Look again, and where grain still hides it once more, softened."""
    for softened_by in (0.0, SOFTENED_BY_PX):
        readings = [_look(picture, first, pixels, times, softened_by) for pixels, times in SECOND_LOOKS]
        sure = [reading for reading in readings if reading is not None]
        if len(sure) == len(readings):
            score, *places = np.mean(sure, axis=0)
            if score >= SECOND_SCORE:
                return measured_face(float(score), np.array(places[:4]), np.array(places[4:]).reshape(5, 2))
    return None


def _look(picture: Picture, first: Box, pixels: int, times: float, softened_by: float) -> Floats | None:
    """Score, box and points of the same face in a piece of the picture; None where it is not there."""
    side = max(round(times * max(first.width, first.height)), 1)
    left = round(first.left + first.width / 2 - side / 2)
    top = round(first.top + first.height / 2 - side / 2)
    piece = picture.crop((left, top, left + side, top + side))
    how = Image.Resampling.BOX if side > pixels else Image.Resampling.BICUBIC
    piece = piece.resize((pixels, pixels), how)
    if softened_by:
        piece = piece.filter(ImageFilter.GaussianBlur(softened_by))
    seen = find(np.asarray(piece), FIRST_SCORE / 2)
    off = np.abs(seen.box[:, :2] + seen.box[:, 2:] / 2 - pixels / 2).max(axis=1, initial=0)
    central = np.flatnonzero(off < pixels / times / 2)  # not its neighbour
    if not len(central):
        return None
    scale, corner = side / pixels, np.array([left, top])
    box = seen.box[central[0]] * scale
    box[:2] += corner
    return np.concatenate([[seen.score[central[0]]], box, (seen.points[central[0]] * scale + corner).ravel()])


def measured_face(score: float, box: Floats, points: Floats) -> Face:
    """Read a face's length and its two ends off its box and points (see :mod:`facemodel`)."""
    eyes, mouth = points[:2].mean(axis=0), points[3:].mean(axis=0)
    down = mouth - eyes
    apart = max(float(np.hypot(*down)), 1e-6)
    from_points = apart / EYES_TO_MOUTH
    by_width, by_height = box[2] / BOX_WIDTH, box[3] / BOX_HEIGHT
    length = float((by_width * by_height) ** 0.25 * from_points**0.5)
    nose = eyes - NOSE_ROOT_ABOVE_EYES * length * down / apart
    chin = nose + length * down / apart
    spread = abs(float(np.log(by_height / from_points)))
    left, top, width, height = map(float, box)
    return Face(left, top, width, height, score, length, spread, *nose.tolist(), *chin.tolist())
