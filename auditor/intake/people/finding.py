"""Finds the faces of a picture: a first look at all of it, then a second look at each place.

The first look goes over windows of the reduced picture, and over all of it reduced to one window for the
large faces. Its boxes are coarse and some are false. So each is looked at again at the sizes at which the
detector is surest: it must be found again there, and its length is read there. Where coarse grain hides it
from the second look, that is tried once more, softened. Every look is at arrays of one shape, so that one
network is enough: it takes most of the memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from auditor.intake.people.facemodel import Seen, find
from auditor.intake.people.measurements import Box, Face

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

LONG_SIDE_PX = 1504  # of the first look: the time goes with its square
WINDOW_PX, OVERLAP_PX = 576, 96  # a face longer than the overlap shows in the whole picture's window
# Where nobody is (22 packaged pictures at three sizes) one place scored 0.27 at first and 0.09 again.
FIRST_SCORE, SECOND_SCORE = 0.3, 0.45
# Sides of the pieces for the second look, and what they span in box sides: the box is 64 px, where its height
# follows the face best.
SECOND_LOOKS: Final = ((128, 2.0), (160, 2.5), (192, 3.0))
PIECES_AT_PX, PLACES_AT_PX = (0, 160, 352), (0, 288)  # where they lie in a window, along and down
# Gaussian. Of 198 faces under grain of sd 25 in clumps of 2 and 3 px, most with a hard curve, it brings back
# 3; a softened first look at half the size brings back 1 more for a fourth more time and was left out.
SOFTENED_BY_PX = 1.0
MOST_FACES = 20
_OVERLAP = 0.3

# Over the length from chin to nose root: the box's width and height, and from the eyes to the mouth. Means of
# 11 faces at 64 to 300 px; each alone follows the length to 5.5, 3.4 and 4.3 %. Blur shrinks the height and
# stretches the last, by 2 to 4 % for a disc of 0.1 to 0.2 of the length, so that it cancels.
BOX_WIDTH, BOX_HEIGHT, EYES_TO_MOUTH = 1.186, 1.505, 0.534
NOSE_ROOT_ABOVE_EYES = 0.04  # of the length (from memory)

Floats = npt.NDArray[np.float64]
AnyBox = TypeVar("AnyBox", bound=Box)


def find_faces(picture: Picture) -> list[Face]:
    """Find the faces of an upright RGB picture, in its full resolution; the surest first."""
    left = without_doubles(_first_look(picture))[: 2 * MOST_FACES]
    faces: list[Face] = []
    for softened_by in (0.0, SOFTENED_BY_PX):
        at_once = len(PLACES_AT_PX)
        parts = [left[at : at + at_once] for at in range(0, len(left), at_once)]
        seen = [face for part in parts for face in _second_look(picture, part, softened_by)]
        faces += [face for face in seen if face is not None]
        left = [place for place, face in zip(left, seen, strict=True) if face is None]
    return without_doubles(faces)[:MOST_FACES]


def _first_look(picture: Picture) -> list[Box]:
    scale = max(1.0, max(picture.size) / LONG_SIDE_PX)
    small = _reduced(picture, scale)
    found = [
        box
        for top in starts(small.height)
        for left in starts(small.width)
        for box in _boxes(small.crop((left, top, left + WINDOW_PX, top + WINDOW_PX)), (left, top), scale)
    ]
    if max(small.size) > WINDOW_PX:
        again = max(small.size) / WINDOW_PX
        found += _boxes(_reduced(small, again), (0, 0), scale * again)
    return found


def starts(length: int) -> list[int]:
    """Where windows begin that cover a length, each overlapping the next.

    >>> starts(1504), starts(1003), starts(40)
    ([0, 464, 928], [0, 427], [0])
    """
    steps = max(-(-(length - OVERLAP_PX) // (WINDOW_PX - OVERLAP_PX)) - 1, 0)
    return [round((length - WINDOW_PX) * step / steps) for step in range(steps + 1)] if steps else [0]


def _reduced(picture: Picture, scale: float) -> Picture:
    size = max(round(picture.width / scale), 1), max(round(picture.height / scale), 1)
    return picture if size == picture.size else picture.resize(size, Image.Resampling.BOX, reducing_gap=1.0)


def _boxes(window: Picture, corner: tuple[int, int], scale: float) -> list[Box]:
    canvas = np.zeros((WINDOW_PX, WINDOW_PX, 3), np.uint8)
    pixels = np.asarray(window)[:WINDOW_PX, :WINDOW_PX]
    canvas[: pixels.shape[0], : pixels.shape[1]] = pixels
    seen = find(canvas, FIRST_SCORE)
    boxes = (seen.box + np.array([*corner, 0, 0])) * scale
    each = zip(*boxes.T.tolist(), seen.score.tolist(), strict=True)
    return [Box(left, top, width, height, score) for left, top, width, height, score in each]


def _second_look(picture: Picture, places: list[Box], softened_by: float) -> list[Face | None]:
    """Look at as many places as one window holds; None for those where no face is."""
    canvas = np.zeros((WINDOW_PX, WINDOW_PX, 3), np.uint8)
    edges = []
    for down, place in zip(PLACES_AT_PX, places, strict=False):
        for along, (pixels, times) in zip(PIECES_AT_PX, SECOND_LOOKS, strict=True):
            side = max(round(times * max(place.width, place.height)), 1)
            left = round(place.left + place.width / 2 - side / 2)
            top = round(place.top + place.height / 2 - side / 2)
            piece = picture.crop((left, top, left + side, top + side))
            how = Image.Resampling.BOX if side > pixels else Image.Resampling.BICUBIC
            piece = piece.resize((pixels, pixels), how)
            if softened_by:
                piece = piece.filter(ImageFilter.GaussianBlur(softened_by))
            canvas[down : down + pixels, along : along + pixels] = np.asarray(piece)
            edges.append(np.array([left, top, along, down, side / pixels, pixels / times / 2, pixels / 2]))
    seen = find(canvas, FIRST_SCORE / 2)
    readings = [_read(seen, edge) for edge in edges]
    each = len(SECOND_LOOKS)
    return [_agreed(readings[at : at + each]) for at in range(0, len(readings), each)]


def _read(seen: Seen, edges: Floats) -> Floats | None:
    """Score, box and points of the face in the middle of a piece; None without one."""
    left, top, along, down, scale, reach, half = edges
    off = seen.box[:, :2] + seen.box[:, 2:] / 2 - (along + half, down + half)
    central = np.flatnonzero(np.abs(off).max(axis=1, initial=0) < reach)  # not its neighbour
    if not len(central):
        return None
    moved = np.array([left, top]) - scale * np.array([along, down])
    box = seen.box[central[0]] * scale
    box[:2] += moved
    return np.concatenate([[seen.score[central[0]]], box, (seen.points[central[0]] * scale + moved).ravel()])


def _agreed(readings: list[Floats | None]) -> Face | None:
    """The mean of the readings where every piece shows a face, and surely enough."""
    sure = [reading for reading in readings if reading is not None]
    if len(sure) < len(readings):
        return None
    mean = np.mean(sure, axis=0)
    return (
        None if mean[0] < SECOND_SCORE else measured_face(float(mean[0]), mean[1:5], mean[5:].reshape(5, 2))
    )


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


def without_doubles(faces: list[AnyBox]) -> list[AnyBox]:
    """Keep the surest of boxes that overlap."""
    kept: list[AnyBox] = []
    for face in sorted(faces, key=lambda face: -face.score):
        if all(overlap(face, other) < _OVERLAP for other in kept):
            kept.append(face)
    return kept


def overlap(a: Box, b: Box) -> float:
    """Part of the smaller box that lies in the other one."""
    wide = min(a.left + a.width, b.left + b.width) - max(a.left, b.left)
    high = min(a.top + a.height, b.top + b.height) - max(a.top, b.top)
    if wide <= 0 or high <= 0:
        return 0.0
    return wide * high / min(a.width * a.height, b.width * b.height)
